"""The simulated results of a run as a table of the graph, and whether its inputs changed since.

What a simulation gives are values, since no cell can simulate. Beside them stands what the results were then: value, u,
effective degrees of freedom, and two weighted sums, of the contributions and of the inputs' standard uncertainties.
Formulas compare these with what they are, so that an edited workbook shows which simulated figures are out of date.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ubudget.bench.assembly import REPORTING
from ubudget.bench.building import Shared, TableBuilder
from ubudget.bench.result_table import STATUS
from ubudget.evaluation.coverage import EFFECTIVE_DOF, SAFE_TRUNCATION, STANDARD
from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.simulated import Simulation
from ubudget.evaluation.simulation_names import (
    ACCEPTED,
    ASYMMETRIC,
    CHANGED,
    ENDS,
    FACTOR_MADE,
    HALF,
    REMARK,
    SIMULATION,
    TOLERANCE,
    TRIALS,
    VALUE,
    U,
)
from ubudget.evaluation.trial_statistics import SHORTEST, SYMMETRIC
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import PROPAGATION, Formula, Graph, Label, Table
from ubudget.quantity.numbers import Numbers
from ubudget.records.method import Coverage

CONTRIBUTIONS, SCALES = "weighted sum of contributions", "weighted sum of scales"
"""Columns of the results that move with every contribution and every standard uncertainty of an input."""
SIMULATED = "simulated"
LIVE = "as it stands: "
THEN = "then: "
RELATIVE = 1e-9
LOPSIDED = 0.1
"""Part of U by which the middle of an interval may lie beside the value that is reported with ± U."""
CLAUSE = "JCGM 101:2008, 7.7"


@dataclass(frozen=True)
class _Watched:
    """What is compared: column of the results, heading, and what a change is measured against beside itself."""

    column: str
    heading: str
    beside: str = ""
    at_least: float = 0.0


def _watched(value: str) -> tuple[_Watched, ...]:
    return (
        _Watched(value, "value", beside=STANDARD),
        _Watched(STANDARD, "u"),
        _Watched(EFFECTIVE_DOF, "ν_eff"),
        _Watched(CONTRIBUTIONS, "weighted sum of (c·u)²"),
        _Watched(SCALES, "weighted sum of ln u(x)", at_least=1.0),
    )


def with_sums(propagated: Propagated, graph: Graph) -> Graph:
    """The graph with the two weighted sums in its results."""
    slots = propagated.slots
    squares = [Symbol(slot.contribution) ** 2 * (number + 1) for number, slot in enumerate(slots)]
    scales = [
        apply("ln", apply("larger", Symbol(f"u({slot.symbol})"), 1e-300)) * (number + 1)
        for number, slot in enumerate(slots)
    ]
    columns = [
        Formula(name, name, "", apply("add_all", *parts) if parts else Number(0.0), rank=PROPAGATION)
        for name, parts in ((CONTRIBUTIONS, squares), (SCALES, scales))
    ]
    return graph.with_table(graph.tables[propagated.table].with_columns(columns, {}))


def simulation_table(
    propagated: Propagated, numbers: Numbers, simulation: Simulation, coverage: Coverage, unit: str
) -> Table:
    """The table, one row a result; `numbers` are those of a graph with the weighted sums, u and degrees of freedom."""
    results = propagated.graph.tables[propagated.table]
    table = TableBuilder(SIMULATION, "Results by simulation", results.size, Shared())
    for column in results.columns:
        if isinstance(column, Label):
            table.label(column.name, column.heading, column.values)
    _figures(table, simulation, unit)
    watched = _watched(propagated.column)
    rows = np.arange(results.size)
    for name in (STATUS, *(one.column for one in watched)):
        table.pick(LIVE + name, results.name, name, rows)
    p: Expression = Number(coverage.probability)
    if coverage.rule != "fixed":
        p = table.pick("p of coverage", REPORTING, "p", np.zeros(results.size, dtype=np.int64))
    _judged(table, propagated.column, simulation.settings.interval, p, unit)
    had_value = np.isfinite(simulation.value) | (simulation.trials > 0)
    table.given(SIMULATED, "had a value then (1 = yes)", "", had_value.astype(float), rank=PROPAGATION)
    for one in watched:
        numbers_then = numbers.column(results.name, one.column)
        table.given(THEN + one.column, f"{one.heading} then", "", numbers_then, rank=PROPAGATION)
    if coverage.rule != "fixed":
        table.given(f"{THEN}p", "p then", "", coverage.probability, rank=PROPAGATION)
    _compared(table, watched, p if coverage.rule != "fixed" else None)
    table.label(REMARK, "remark", simulation.reasons)
    return table.build()


def _figures(table: TableBuilder, simulation: Simulation, unit: str) -> None:
    sound = np.isfinite(simulation.low) & np.isfinite(simulation.high)
    table.given(TRIALS, "trials (0 = no interval)", "", np.where(sound, simulation.trials, 0))
    table.given(VALUE, "simulated value", unit, simulation.value)
    table.given(U, "simulated u", unit, simulation.standard_uncertainty)
    for kind, interval in ((SYMMETRIC, simulation.symmetric), (SHORTEST, simulation.shortest)):
        for place, name in enumerate(ENDS[kind]):
            table.given(name, f"{kind} interval, {('from', 'to')[place]}", unit, interval[:, place])
    table.given(TOLERANCE, "numerical tolerance δ", unit, simulation.tolerance)


def _judged(table: TableBuilder, value: str, kind: str, p: Expression, unit: str) -> None:
    """The first-order interval as it stands, by the t factor, beside the simulated one (JCGM 101 8.1)."""

    def if_there(expression: Expression) -> Expression:
        return apply("if_less", 0, Symbol(TRIALS), expression, 0)

    low, high = (Symbol(name) for name in ENDS[kind])
    y = table.formula("first-order value", "value of first order", unit, Symbol(LIVE + value))
    u = table.formula("first-order u", "u of first order", unit, Symbol(LIVE + STANDARD))
    whole = apply("larger", apply("whole", Symbol(LIVE + EFFECTIVE_DOF) + SAFE_TRUNCATION), 1)
    expanded = apply("student", p, whole) * u
    first = table.formula("first-order low", "y - t u", unit, y - expanded, "GUM G.3.4")
    last = table.formula("first-order high", "y + t u", unit, y + expanded, "GUM G.3.4")
    distance = apply("larger", apply("abs", first - low), apply("abs", last - high))
    within = apply("if_less", Symbol(TOLERANCE), distance, 0, 1)
    table.formula(ACCEPTED, "first-order interval accepted (1 = yes)", "", if_there(within), "JCGM 101:2008, 8")
    half = table.formula(HALF, "half of the simulated interval", unit, if_there((high - low) / 2), rank=PROPAGATION)
    beside = apply("if_less", LOPSIDED * half, apply("abs", (low + high) / 2 - y), 1, 0)
    table.formula(ASYMMETRIC, "too uneven for value ± U (1 = yes)", "", if_there(beside), rank=PROPAGATION)
    made = apply("ratio_or_zero", half, Symbol(THEN + STANDARD))
    table.formula(FACTOR_MADE, "half of the interval over u then", "", if_there(made), CLAUSE, rank=PROPAGATION)


def _compared(table: TableBuilder, watched: tuple[_Watched, ...], p: Expression | None) -> None:
    parts = [
        _moved(
            Symbol(LIVE + one.column), Symbol(THEN + one.column), one.at_least, THEN + one.beside if one.beside else ""
        )
        for one in watched
    ]
    if p is not None:
        parts.append(_moved(p, Symbol(f"{THEN}p"), 0.0, ""))
    moved = table.formula("figures moved", "figures that moved since", "", apply("add_all", *parts), rank=PROPAGATION)
    # A result that is not available now, or was not then, is out of date where that is new.
    now = apply("if_less", 0, moved, 1, 0)
    available = apply("if_less", 0, Symbol(SIMULATED), now, 1)
    changed = apply("if_less", 0, Symbol(LIVE + STATUS), Symbol(SIMULATED), available)
    table.formula(CHANGED, "inputs changed since (1 = yes)", "", changed)


def _moved(live: Expression, then: Expression, at_least: float, beside: str) -> Expression:
    size: Expression = apply("abs", then)
    if beside:
        size = apply("larger", size, Symbol(beside))
    if at_least:
        size = apply("larger", size, at_least)
    return apply("if_less", RELATIVE * size, apply("abs", live - then), 1, 0)
