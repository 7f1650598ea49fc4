"""Combined standard uncertainty, effective degrees of freedom, coverage factor, expanded uncertainty and rounding.

All of it as formula columns beside the contributions: GUM 5.1.2 and 5.2.2 (combination), G.4.1 eq. G.2b (effective
degrees of freedom), G.3.4 (t factor), 7.2.6 (rounding).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ubudget.evaluation.dominance import CLAUSE, DOMINATING, OF_TERMS, dominance, factor_of_terms
from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.simulation_names import FACTOR_MADE, HALF, SIMULATION, TRIALS
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, PROPAGATION, Formula, Graph, Pick, Reference
from ubudget.records.method import Coverage, Rounding

STANDARD, EFFECTIVE_DOF = "standard uncertainty", "effective degrees of freedom"
FACTOR, EXPANDED = "coverage factor", "expanded uncertainty"
REPORTED, REPORTED_U, DECIMALS = "reported value", "reported uncertainty", "decimal places"
"""Columns of the results. Names with a space cannot meet a symbol of a method."""

SAFE_TRUNCATION = 1e-6
"""Added before truncation, so that 2.9999… from rounding in binary counts as 3."""


@dataclass
class _More:
    table: str
    size: int
    columns: list[Formula] = field(default_factory=list)
    references: dict[str, Reference] = field(default_factory=dict)

    def formula(self, name: str, heading: str, unit: str, expression: Expression, clause: str = "") -> Symbol:
        self.columns.append(Formula(name, heading, unit, expression, clause, rank=PROPAGATION))
        return Symbol(name)


def cover(propagated: Propagated, unit: str, coverage: Coverage, rounding: Rounding) -> Graph:
    """Adds u, the terms of the effective degrees of freedom, their sum, k, U, and the reported, rounded figures.

    The graph must hold a table `reporting` of one row with `k` (fixed rule) or `p` (the others)."""
    home = propagated.graph.tables[propagated.table]
    more = _More(home.name, home.size)
    contributions = [Symbol(slot.contribution) for slot in propagated.slots]
    variance: Expression = apply("sum_squares", *contributions) if contributions else Number(0.0)
    if propagated.covariances:
        # A correlation of -1 may leave a rounding residue below zero.
        terms = [Symbol(covariance.contribution) for covariance in propagated.covariances]
        variance = apply("larger", variance + apply("add_all", *terms), 0)
    u = more.formula(
        STANDARD, "standard uncertainty u", unit, apply("sqrt", variance), "GUM 5.1.2 eq. 10, 5.2.2 eq. 16"
    )
    terms_of_dof = _dof_terms(propagated, more, u)
    total = apply("add_all", *terms_of_dof) if terms_of_dof else Number(0.0)
    nu = more.formula(
        EFFECTIVE_DOF,
        "effective degrees of freedom",
        "",
        1 / apply("larger", total, 1 / INFINITE_DOF),
        "GUM G.4.1 eq. G.2b",
    )
    whole = apply("larger", apply("whole", nu + SAFE_TRUNCATION), 1)
    row = np.zeros(home.size, dtype=np.int64)
    if coverage.rule != "fixed":
        more.references["p of coverage"] = Pick("reporting", "p", row)
        factor: Expression = apply("student", Symbol("p of coverage"), whole)
        clause = "GUM G.3.4"
        if coverage.rule == "dominating term":
            added = dominance(propagated, unit, u)
            more.columns += added.columns
            more.references |= added.references
            of_t = more.formula("factor of t", "t factor", "", factor, clause)
            of_terms = more.formula(
                OF_TERMS, "factor of the trapezoid", "", factor_of_terms(Symbol("p of coverage")), CLAUSE
            )
            factor, clause = apply("if_equal", Symbol(DOMINATING), 0, of_t, of_terms), CLAUSE
        elif coverage.rule == "simulation":
            rows = np.arange(home.size)
            more.references |= {name: Pick(SIMULATION, name, rows) for name in (TRIALS, HALF, FACTOR_MADE)}
            of_t = more.formula("factor of t", "t factor", "", factor, clause)
            factor = apply("if_less", 0, Symbol(TRIALS), Symbol(FACTOR_MADE), of_t)
            clause = "JCGM 101:2008, 7.7"
        k = more.formula(FACTOR, "coverage factor k", "", factor, clause)
    else:
        more.references["k of coverage"] = Pick("reporting", "k", row)
        k = more.formula(FACTOR, "coverage factor k", "", Symbol("k of coverage"), "GUM 6.3")
    product: Expression = k * u
    if coverage.rule == "simulation":
        # Where u of first order is zero no factor makes U of it.
        product = apply("if_equal", k, 0, Symbol(HALF), product)
    expanded = more.formula(EXPANDED, "expanded uncertainty U", unit, product, "GUM 6.2.1 eq. 18")
    _reported(more, propagated.column, unit, expanded, rounding)
    return propagated.graph.with_table(home.with_columns(more.columns, more.references))


def _dof_terms(propagated: Propagated, more: _More, u: Symbol) -> list[Symbol]:
    """One term (share of the variance)^2 / degrees of freedom for each variance estimate with finite dof.

    Contributions that rest on one variance estimate are added first; correlated quantities form one group and take the
    smallest of their degrees of freedom."""
    leaders = _leaders(propagated)
    leaders_of = [set(np.unique(leader).tolist()) for leader in leaders]
    terms = []
    for number, slot in enumerate(propagated.slots):
        followers = [(other, leaders[other] == number) for other in range(len(leaders)) if number in leaders_of[other]]
        parts: list[Expression] = [
            _where(more, propagated.slots[other].contribution, follows, propagated.slots[other].rows >= 0)
            for other, follows in followers
        ]
        dofs = [
            dof
            for other, follows in followers
            if other >= number and (dof := _dof_of(propagated, more, other, follows)) is not None
        ]
        if not dofs or not parts:
            continue
        covariances: list[Expression] = [
            _where(more, c.contribution, (leaders[c.a] == number) & (c.rows >= 0), c.rows >= 0)
            for c in propagated.covariances
            if ((leaders[c.a] == number) & (c.rows >= 0)).any()
        ]
        variance: Expression = apply("sum_squares", *parts)
        if covariances:
            variance = variance + apply("add_all", *covariances)
        dof = dofs[0]
        for further in dofs[1:]:
            dof = apply("smaller", dof, further)
        share = apply("ratio_or_zero", variance, u**2)
        terms.append(
            more.formula(
                f"term({slot.symbol})",
                f"share²/ν of {slot.symbol}",
                "",
                share**2 / dof,
                "GUM G.4.1 eq. G.2b",
            )
        )
    return terms


def _leaders(propagated: Propagated) -> list[np.ndarray]:
    """For each slot and row the number of the first slot on the same variance estimate; -1 where it is absent."""
    slots = propagated.slots
    leaders: list[np.ndarray] = []
    shared = [number for number, slot in enumerate(slots) if (slot.estimates >= 0).any()]
    for number, slot in enumerate(slots):
        leader = np.where(slot.rows >= 0, number, -1)
        for earlier in reversed([other for other in shared if other < number and number in shared]):
            same = (slot.rows >= 0) & (slots[earlier].estimates >= 0) & (slots[earlier].estimates == slot.estimates)
            leader = np.where(same, leaders[earlier], leader)
        leaders.append(leader)
    for covariance in propagated.covariances:
        a, b = leaders[covariance.a], leaders[covariance.b]
        first, second = np.minimum(a, b), np.maximum(a, b)
        for number, leader in enumerate(leaders):
            leaders[number] = np.where((covariance.rows >= 0) & (leader == second), first, leader)
    return leaders


def _where(more: _More, column: str, wanted: np.ndarray, present: np.ndarray) -> Expression:
    """A column, or 0 in the rows where it belongs to another group."""
    if (wanted == present).all():
        return Symbol(column)
    name = f"{column} where {np.packbits(wanted).tobytes().hex()}"
    more.references[name] = Pick(more.table, column, np.where(wanted, np.arange(more.size), -1), 0.0)
    return Symbol(name)


def _dof_of(propagated: Propagated, more: _More, number: int, wanted: np.ndarray) -> Expression | None:
    slot = propagated.slots[number]
    leaf = propagated.graph.tables[slot.table].leaf_of[slot.column]
    if leaf.dof is None:
        return None
    name = f"dof({slot.symbol})"
    more.references[name] = Pick(slot.table, leaf.dof, np.where(wanted, slot.rows, -1), INFINITE_DOF)
    return Symbol(name)


def _reported(more: _More, value: str, unit: str, expanded: Symbol, rounding: Rounding) -> None:
    """U to two significant digits by ordinary rounding, or one by the 5 % rule of EA-4/02 6.3; value to its place."""
    digits = rounding.digits
    # The tiny addition keeps an exact power of ten on its own side.
    decade = apply("whole", apply("log10", apply("larger", expanded, 1e-300)) + 1e-12)
    places = more.formula("places of U", "places for rounding U", "", digits - 1 - decade, "GUM 7.2.6")
    rounded: Expression = apply("round", expanded, places)
    if digits == 1:
        step = apply("power", 10, -places)
        rounded = apply("if_less", rounded, 0.95 * expanded, apply("round", rounded + step, places), rounded)
    reported_u = more.formula(
        REPORTED_U,
        "reported U",
        unit,
        rounded,
        "GUM 7.2.6" if digits == 2 else "EA-4/02 6.3, 5 % rule",
    )
    decade_after = apply("whole", apply("log10", apply("larger", reported_u, 1e-300)) + 1e-12)
    shown: Expression = apply("if_equal", reported_u, 0, 6, digits - 1 - decade_after)
    decimals = more.formula(DECIMALS, "decimal places reported", "", shown)
    more.formula(REPORTED, "reported value", unit, apply("round", Symbol(value), decimals), "GUM 7.2.6")
