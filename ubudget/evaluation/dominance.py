"""Coverage where one or two rectangular contributions dominate the uncertainty (EA-4/02 M:2022, S9.14, S10.13).

A result is then not near normal: with one dominating contribution it is rectangular, with two it is a trapezoid, the
convolution of both. The rest counts as small where its root sum of squares is at most 0.3 of what dominates. k follows
from the distribution and the coverage probability; where nothing dominates it is the t factor.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ubudget.evaluation.propagation import Propagated, Slot
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, PROPAGATION, Array, Formula, Graph, Pick, Reference
from ubudget.quantity.numbers import evaluate

DOMINATING, EDGE = "dominating terms", "edge parameter"
"""Columns of the results: how many rectangular contributions dominate (0, 1, 2), and the edge parameter of the
distribution, top over base: 1 of a rectangle."""
FIRST, SECOND, OF_TERMS = "largest rectangular", "second rectangular", "factor of terms"
SMALL = 0.3
CLAUSE = "EA-4/02 S9.14, S10.13"


@dataclass
class Dominance:
    """Columns to be added to the results."""

    columns: list[Formula] = field(default_factory=list)
    references: dict[str, Reference] = field(default_factory=dict)

    def formula(self, name: str, heading: str, unit: str, expression: Expression, clause: str = "") -> Symbol:
        self.columns.append(Formula(name, heading, unit, expression, clause, rank=PROPAGATION))
        return Symbol(name)


def dominance(propagated: Propagated, unit: str, u: Symbol) -> Dominance:
    """The largest two rectangular contributions of each result, how many dominate u, and the edge parameter.

    Counted are contributions with limits taken as exact (infinite degrees of freedom) and no declared correlation."""
    added, none = Dominance(), Number(0.0)
    sizes = [
        added.formula(f"size({symbol})", f"rectangular: |c·u({symbol})|", unit, apply("abs", part))
        for symbol, part in _rectangular(propagated, added)
    ]
    largest = apply("largest_of", *sizes) if sizes else none
    first = added.formula(FIRST, "largest rectangular contribution", unit, largest)
    others = [
        added.formula(
            f"{size.name} but largest", f"{size.name}, 0 if largest", unit, apply("if_equal", size, first, 0, size)
        )
        for size in sizes
    ]
    # Of several equal ones the second is as large as the first.
    ties = apply("add_all", *(apply("if_equal", size, first, 1, 0) for size in sizes)) if sizes else none
    below = apply("largest_of", *others) if sizes else none
    second = added.formula(SECOND, "second rectangular contribution", unit, apply("if_less", ties, 2, below, first))
    square, pair = first**2, first**2 + second**2
    alone, both = (apply("larger", u**2 - part, 0) for part in (square, pair))
    with_two = apply("if_less", SMALL**2 * pair, both, 0, 2)
    count = apply("if_equal", first, 0, 0, apply("if_less", SMALL**2 * square, alone, with_two, 1))
    number = added.formula(DOMINATING, "dominating rectangular contributions", "", count, CLAUSE)
    ratio = apply("ratio_or_zero", first - second, first + second)
    added.formula(EDGE, "edge parameter β", "", apply("if_equal", number, 2, ratio, 1), CLAUSE)
    return added


def dominating_factor(edge: Array, p: float) -> Array:
    """k of trapezoids with these edge parameters at probability p."""
    return evaluate(factor_of_terms(Number(p)), lambda _: edge)


def factor_of_terms(p: Expression) -> Expression:
    """k of a trapezoid with the edge parameter: of the interval about its middle that holds p.

    The interval ends on the slopes, or, where p is small, on the top."""
    edge = Symbol(EDGE)
    deviation = apply("sqrt", (1 + edge**2) / 6)
    on_slope = 1 - apply("sqrt", (1 - p) * (1 - edge**2))
    on_top = p * (1 + edge) / 2
    return apply("if_less", p, 2 * edge / (1 + edge), on_top, on_slope) / deviation


def with_dominance(propagated: Propagated, graph: Graph, u: str) -> Graph:
    """The graph with the columns, for one that is covered by another rule."""
    added = dominance(propagated, "", Symbol(u))
    return graph.with_table(graph.tables[propagated.table].with_columns(added.columns, added.references))


def _rectangular(propagated: Propagated, added: Dominance) -> list[tuple[str, Expression]]:
    """Contributions of rectangular quantities by symbol; 0 in results where the quantity is of another kind."""
    correlated = np.zeros((len(propagated.slots), propagated.graph.tables[propagated.table].size), dtype=np.bool_)
    for covariance in propagated.covariances:
        correlated[[covariance.a, covariance.b]] |= covariance.rows >= 0
    found: list[tuple[str, Expression]] = []
    for slot, joined in zip(propagated.slots, correlated, strict=True):
        leaf = propagated.graph.tables[slot.table].leaf_of[slot.column]
        by_leaf = np.array([trait.distribution == "rectangular" for trait in leaf.traits])
        wanted = (slot.rows >= 0) & by_leaf[slot.rows] & ~joined
        if wanted.any():
            part = _exact(added, slot, leaf.dof, _where(propagated, added, slot, wanted))
            found.append((slot.symbol, part))
    return found


def _where(propagated: Propagated, added: Dominance, slot: Slot, wanted: np.ndarray) -> Expression:
    if (wanted == (slot.rows >= 0)).all():
        return Symbol(slot.contribution)
    name = f"{slot.contribution} where {np.packbits(wanted).tobytes().hex()}"
    rows = np.where(wanted, np.arange(wanted.size), -1)
    added.references[name] = Pick(propagated.table, slot.contribution, rows, 0.0)
    return Symbol(name)


def _exact(added: Dominance, slot: Slot, dof: str | None, part: Expression) -> Expression:
    if dof is None:
        return part
    name = f"dof({slot.symbol})"
    added.references[name] = Pick(slot.table, dof, slot.rows, INFINITE_DOF)
    return apply("if_less", Symbol(name), INFINITE_DOF / 10, 0, part)
