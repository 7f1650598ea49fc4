"""Decisions in the graph: one row for each result and limit, from the limit to the code of the decision.

What is in words stands on the sheets; here are codes (`decision_equations.WORDS`, `comparisons.REASONS`, `MET`)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.assembly import Assembly
from ubudget.bench.building import Shared, TableBuilder, nan_where_none
from ubudget.bench.context import method_place
from ubudget.bench.result_table import STATUS
from ubudget.evaluation import comparisons as reasons
from ubudget.evaluation import decision_equations as equations
from ubudget.evaluation.comparisons import Comparison, main_unit
from ubudget.evaluation.coverage import EFFECTIVE_DOF, REPORTED
from ubudget.evaluation.decision_equations import LOWER, TIE, UPPER
from ubudget.evaluation.decision_sides import CENTRAL, LIMITS, DecisionRows, Side, outside_range
from ubudget.evaluation.level_tables import CONSTANT, DOF, RELATIVE, K
from ubudget.evaluation.low_levels import LOW_LEVELS, quantification_limit_rows
from ubudget.evaluation.low_levels import QUANTIFICATION as SCALED_LIMIT
from ubudget.quantity.expression import Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import DETAIL, INFINITE_DOF, Graph, Place, Table
from ubudget.records.amount import Amount
from ubudget.records.tolerance_limit import REJECTION, SIMPLE, ToleranceLimit
from ubudget.records.unit_comparison import in_unit

DECISIONS = "decisions"
VALUE, CODE, REASON, PROBABILITY, RISK = "y", "decision", "reason", "probability", "risk"
U_FOUND, U_MET, QUANTIFICATION, QUANTIFICATION_MET = "U at the limit", "U met", "LOQ", "LOQ met"
MET = ("", "met", "not met", "cannot be judged")
"""Words of a requirement, by code."""


def add_decisions(assembly: Assembly, graph: Graph, comparisons: Sequence[Comparison]) -> Graph:
    """The graph with the tables `tolerance limits` and `decisions`, where results are compared with limits."""
    if not comparisons:
        return graph
    shared = Shared()
    graph = graph.with_table(_limits(assembly, shared))
    return graph.with_table(_decisions(assembly, graph, comparisons, shared))


def _limits(assembly: Assembly, shared: Shared) -> Table:
    limits = assembly.records.method.tolerance_limits
    table = TableBuilder(LIMITS, "Tolerance limits and decision rules", len(limits), shared)
    table.label("name", "limit", [limit.name for limit in limits])
    table.label("for", "for", [selected_words(limit) for limit in limits])
    table.label("rule", "decision rule", [limit.rule for limit in limits])
    for name in ("lower", "upper"):
        _given(table, limits, name, f"{name} limit", [getattr(limit, name) for limit in limits], name)
    table.label("unit", "unit", [main_unit(limit) or "1" for limit in limits])
    for name, heading in (("guard multiple", "guard band, times U"), ("guard risk", "guard band, one-sided risk")):
        key = name.replace(" ", "_")
        values = [getattr(limit, key) for limit in limits]
        if all(value is None for value in values):
            continue
        places = [
            None if value is None else method_place("tolerance_limit", number, key)
            for number, value in enumerate(values)
        ]
        table.given(name, heading, "", nan_where_none(values), places)
    for name, heading, key in (
        ("required U", "largest U, % of the limit", "required_U"),
        ("required LOQ", "largest quantification limit, % of the limit", "required_quantification_limit"),
        ("prior mean", "prior mean", "prior_mean"),
        ("prior sd", "prior standard deviation", "prior_sd"),
    ):
        _given(table, limits, name, heading, [getattr(limit, key) for limit in limits], key)
    table.label("compares", "value compared", [limit.compares for limit in limits])
    table.label("uncertainty", "u", [limit.uncertainty for limit in limits])
    table.label("distribution", "distribution", [limit.distribution for limit in limits])
    return table.build()


def agreed_words(limit: ToleranceLimit) -> str:
    """Who agreed a rule, and when."""
    on = f"on {limit.agreed_on.isoformat()}" if limit.agreed_on else ""
    return " ".join(part for part in (limit.agreed_by, on) if part) or "not stated"


def selected_words(limit: ToleranceLimit) -> str:
    """For which results a limit is."""
    return ", ".join(part for part in (limit.analyte, limit.line, limit.matrix) if part) or "all"


def _given(
    table: TableBuilder,
    limits: Sequence[ToleranceLimit],
    name: str,
    heading: str,
    amounts: Sequence[Amount | None],
    key: str,
) -> None:
    """Figures of the limits in their own unit, percentages as they are; no column where no limit has one."""
    values: list[float | None] = []
    places: list[Place | None] = []
    if not any(amounts):
        return
    for number, (limit, amount) in enumerate(zip(limits, amounts, strict=True)):
        unit = "%" if name.startswith("required") else main_unit(limit)
        value = None if amount is None else in_unit(amount.value, amount.unit, unit)
        # A unit that nobody knows converts to itself alone.
        value = amount.value if amount is not None and value is None else value
        values.append(value)
        places.append(None if amount is None else method_place("tolerance_limit", number, key, unit=unit))
    table.given(name, heading, "", nan_where_none(values), places)


def _decisions(assembly: Assembly, graph: Graph, comparisons: Sequence[Comparison], shared: Shared) -> Table:
    table = TableBuilder(DECISIONS, "Decisions, step by step", len(comparisons), shared)
    keys = [assembly.keys[one.result] for one in comparisons]
    table.label("sample", "sample", [key.sample for key in keys])
    table.label("analyte", "analyte", [key.analyte for key in keys])
    table.label("line", "line", [key.line or "" for key in keys])
    rows = DecisionRows(table, assembly, comparisons)
    table.label("limit", "limit", [limit.name for limit in rows.limits])
    table.given("factor", "factor from the limit's unit to the result's", "", [one.factor for one in comparisons])
    reported = rows.where(lambda _, limit: limit.compares == "reported")
    every = np.ones(len(comparisons), dtype=bool)
    ways: list[tuple[np.ndarray, Operand]] = [
        (~reported, rows.of_result("value", assembly.value, every & ~reported)),
        (reported, rows.of_result("rounded value", REPORTED, every & reported)),
    ]
    value = rows.column(VALUE, "value compared", ways)
    dof = _dof(rows)
    by_risk = rows.comparable & rows.where(lambda _, limit: limit.guard_risk is not None)
    if by_risk.any():
        central = equations.central_part(rows.of_limit("risk of the limit", "guard risk", by_risk))
        rows.column(CENTRAL, "1 - 2·risk, for the factor", [(by_risk, central)], rank=DETAIL)
    sides = [side for side in (Side(rows, UPPER), Side(rows, LOWER)) if side.present.any()]
    prior = rows.where(lambda _, limit: bool(limit.prior))
    for side in sides:
        side.add_limits(dof)
    for side in sides:
        side.add_decision(value, dof, prior)
    results = rows.rows("result", rows.comparable)
    limited = np.where(results >= 0, quantification_limit_rows(graph)[results], -1)
    quantified = limited >= 0
    if quantified.any():
        table.pick("of low levels", LOW_LEVELS, SCALED_LIMIT, limited)
        table.formula(QUANTIFICATION, "quantification limit", "", Symbol("of low levels"))
    _add_reason(rows, sides, bool(quantified.any()))
    code = _over(sides, "code", "larger")
    table.formula(CODE, "decision (code)", "", apply("if_less", Symbol(REASON), 0.5, code, 0), "ILAC-G8, 4.2")
    beyond = apply("smaller", apply("add_all", *(side.symbols("tail") for side in sides)), 1) if sides else Number(1)
    table.formula("beyond", "probability outside the limits", "", beyond, rank=DETAIL)
    conforms = 1 - Symbol("beyond")
    table.formula(PROBABILITY, "conformance probability", "", conforms, "JCGM 106, 7")
    risk = apply("if_less", Symbol(CODE), equations.CONDITIONAL_PASS + 0.5, Symbol("beyond"), Symbol(PROBABILITY))
    table.formula(RISK, "specific risk of the decision", "", risk, "JCGM 106, 9.3")
    _add_requirements(rows, sides, quantified)
    return table.build()


def _dof(rows: DecisionRows) -> Symbol:
    """Degrees of freedom behind factor and probability; infinite under the normal distribution."""
    student = rows.comparable & rows.where(lambda _, limit: limit.distribution == "t")
    own, from_function = student & ~rows.at_limit, student & rows.at_limit
    ways: list[tuple[np.ndarray, Operand]] = [(~student, Number(INFINITE_DOF))]
    if own.any():
        ways.append((own, equations.whole_dof(rows.of_result("ν of the result", EFFECTIVE_DOF, own))))
    if from_function.any():
        ways.append((from_function, equations.whole_dof(rows.of_function("ν of the function", DOF, from_function))))
    return rows.column("ν", "degrees of freedom", ways)


def _over(sides: Sequence[Side], column: str, operation: str) -> Expression:
    """A column of both sides together; 0 where there is none."""
    found: Expression = Number(0)
    for number, side in enumerate(sides):
        found = apply(operation, found, side.symbols(column)) if number else side.symbols(column)
    return found


def _add_reason(rows: DecisionRows, sides: Sequence[Side], low_levels: bool) -> None:
    """Why nothing can be stated: the first of the reasons that applies."""
    codes = [one.reason for one in rows.comparisons]
    known = rows.table.given("known reason", "reason seen from the records (code)", "", codes, rank=DETAIL)
    status = rows.of_result("status of the result", STATUS, rows.comparable)
    empty = rows.where(lambda _, limit: limit.rule not in (SIMPLE, REJECTION)) & _both(sides)
    if empty.any():
        lower, upper = (Symbol(f"{name} acceptance") for name in ("lower", "upper"))
        sizes = apply("larger", apply("abs", Symbol("lower limit")), apply("abs", Symbol("upper limit")))
        tie = TIE * (sizes + apply("larger", Symbol("lower w"), Symbol("upper w")))
        ways: list[tuple[np.ndarray, Operand]] = [(empty, equations.zone_is_empty(lower, upper, tie))]
        rows.column("empty", "guard bands overlap (1 = so)", ways, rank=DETAIL)
    marks: list[tuple[int, Expression]] = [
        (reasons.NO_UNCERTAINTY, _over(sides, "without u", "add")),
        (reasons.NO_FUNCTION, _over([side for side in sides if side.from_function], "outside", "add")),
        (reasons.EMPTY_ZONE, Symbol("empty") if empty.any() else Number(0)),
    ]
    if low_levels:
        limit = _main(rows, sides)
        above = apply("if_less", limit + TIE * apply("abs", limit), Symbol(QUANTIFICATION), 1, 0)
        marks.append((reasons.NOT_QUANTIFIED, above))
    reason: Expression = Number(0)
    for code, mark in reversed(marks):
        if mark != Number(0):
            reason = apply("if_less", 0.5, mark, code, reason)
    reason = apply("if_less", 0.5, status, reasons.NOT_AVAILABLE, reason)
    ways = [(~rows.comparable, known), (rows.comparable, reason)]
    rows.column(REASON, "no statement possible (code of the reason)", ways)


def _both(sides: Sequence[Side]) -> np.ndarray:
    return sides[0].present & sides[1].present if len(sides) == 2 else np.zeros(1, dtype=bool)


def _main(rows: DecisionRows, sides: Sequence[Side]) -> Symbol:
    """The limit to which requirements refer: the upper, or the lower where there is no other."""
    if not rows.table.has("main limit"):
        taken = np.zeros(len(rows.comparisons), dtype=bool)
        ways: list[tuple[np.ndarray, Operand]] = []
        for side in sides:
            ways.append((side.present & ~taken, side.symbols("limit")))
            taken = taken | side.present
        rows.column("main limit", "limit of the requirements", ways, rank=DETAIL)
    return Symbol("main limit")


def _add_requirements(rows: DecisionRows, sides: Sequence[Side], quantified: np.ndarray) -> None:
    """Largest U and largest quantification limit, in % of the limit (Directives 2009/90/EC and (EU) 2020/2184)."""
    wanted = rows.where(lambda _, limit: limit.required_U is not None)
    if wanted.any():
        known = wanted & rows.comparable & rows.where(lambda one, _: one.function >= 0)
        outside: Expression = Number(1)
        if known.any():
            limit = _main(rows, sides)
            parts = [rows.of_function(f"required {part}", part, known) for part in (CONSTANT, RELATIVE)]
            k = rows.of_function("required k", K, known)
            relative = 100 * apply("ratio_or_zero", k * equations.u_at(limit, *parts), apply("abs", limit))
            rows.column(U_FOUND, "U at the limit, %", [(known, relative)], "from the level function")
            outside = outside_range(rows, "required", limit, known)
        _add_met(rows, U_MET, "required U", U_FOUND, "largest U", wanted, known, outside)
    wanted = rows.where(lambda _, limit: limit.required_quantification_limit is not None)
    if wanted.any():
        known = wanted & rows.comparable & quantified
        if known.any():
            limit = _main(rows, sides)
            relative = 100 * apply("ratio_or_zero", Symbol(QUANTIFICATION), apply("abs", limit))
            rows.column("LOQ at the limit", "quantification limit, % of the limit", [(known, relative)])
        heading = "largest quantification limit"
        _add_met(rows, QUANTIFICATION_MET, "required LOQ", "LOQ at the limit", heading, wanted, known, Number(0))


def _add_met(
    rows: DecisionRows,
    name: str,
    required: str,
    figure: str,
    heading: str,
    wanted: np.ndarray,
    known: np.ndarray,
    outside: Expression,
) -> None:
    ways: list[tuple[np.ndarray, Operand]] = [(wanted & ~known, Number(3))]
    if known.any():
        most = rows.of_limit(f"{required} of the limit", required, known)
        met = apply("if_less", most * (1 + TIE), Symbol(figure), 2, 1)
        ways.append((known, apply("if_less", 0.5, outside, 3, met)))
    rows.column(name, f"{heading} (1 = met, 2 = not met, 3 = cannot be judged)", ways)
