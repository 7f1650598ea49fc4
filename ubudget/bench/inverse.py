"""Measured lines: mean of the readings kept, its scatter as declared, and the concentration by inverse prediction."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import COUNTED, USABLE, Context
from ubudget.bench.corrections import Corrections
from ubudget.bench.curve import CURVES, label_curves, residual_estimate, unknown_weight
from ubudget.bench.fitting import scatter_columns
from ubudget.bench.internal_standard import SOLUTIONS, InternalRows, read_at
from ubudget.bench.kinds import kind_of
from ubudget.bench.readings import READINGS, flatten
from ubudget.bench.structure import Measured, Structure
from ubudget.bench.weights import known_scatter
from ubudget.quantity.expression import Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import Place, Trait
from ubudget.records.calibration import Calibration

SIGNALS, POOLED = "measured lines", "pooled scatter"
EFFECT = "reading scatter"
NO_READING, NO_SOLUTION, NO_WEIGHT = 1, 2, 4
"""Status of a measured line; the status of its curve is added times ten. 0 = usable."""


def build_signals(
    context: Context,
    structure: Structure,
    symbol: str,
    calibration: Calibration,
    reading_unit: str,
    corrections: Corrections,
) -> None:
    """Tables `readings` and `measured lines` (and `pooled scatter`); concentration in column `c`."""
    items = structure.measured
    curve_rows = [structure.curves.index(item.curve) for item in items]
    counted = context.mark(EFFECT) == COUNTED
    table = TableBuilder(SIGNALS, "Measured lines", len(items), context.shared)
    table.label("solution", "solution", [item.solution for item in items])
    table.label("analyte", "analyte", [item.line[0] for item in items])
    table.label("line", "line", [item.line[1] for item in items])
    if any(item.reading.block for item in items):
        table.label("block", "calibration block", [item.reading.block for item in items])
        table.label("rerun", "read again because", [item.reading.rerun for item in items])
    single = all(item.reading.mean is None for item in items)
    n, s = (
        from_readings(context, structure, table, reading_unit, corrections)
        if single
        else from_summaries(table, structure, reading_unit)
    )
    u, dof, estimates = _scatter(context, structure, table, calibration, n, s, curve_rows, reading_unit, symbol)
    table.formula("reading", "reading, mean", reading_unit, Symbol("mean"))
    table.formula("u(reading)", "u of the mean", reading_unit, u if counted else Number(0))
    mark = f"{calibration.scatter} scatter of the readings" if counted else context.mark(EFFECT)
    table.leaf(
        "reading",
        "u(reading)",
        [Trait(f"{symbol}.reading", "readings of the solution", "reading", "A", "t", mark) for _ in items],
        dof=dof if counted else None,
        estimates=estimates if counted else None,
    )
    read = Symbol("reading")
    factor = corrections.factor(table, items)
    if factor is not None:
        read = table.formula("corrected", "mean, with the corrections' uncertainty", reading_unit, read * factor)
    if corrections.internal is not None:
        _internal_standard(table, corrections.internal, items)
    _concentration(table, curve_rows, symbol, calibration, read)
    context.tables[SIGNALS] = table.build()


def from_readings(
    context: Context, structure: Structure, table: TableBuilder, unit: str, corrections: Corrections
) -> tuple[Symbol, Symbol]:
    flat, segments = flatten(structure.measured)
    readings = TableBuilder(READINGS, "Readings", len(flat), context.shared)
    reading, include = corrections.add_readings(context, readings, structure.measured, flat, unit)
    mean_of_line = readings.pick("mean of the line", SIGNALS, "mean", [i for i, _, _ in flat])
    readings.formula("used", "reading used", unit, include * reading)
    readings.formula("deviation", "deviation from the mean", unit, include * (reading - mean_of_line))
    context.tables[READINGS] = readings.build()

    def span(column: str) -> Symbol:
        return table.span(f"all {column}", READINGS, column, segments.start, segments.stop)

    n = table.formula("n", "readings used", "", apply("total", span(include.name)))
    table.formula("mean", "mean", unit, apply("ratio_or_zero", apply("total", span("used")), n), "GUM 4.2.1 eq. 3")
    deviation = span("deviation")
    squares = table.formula("squares", "sum of squares", "", apply("total_product", deviation, deviation))
    s = table.formula(
        "s", "s of the readings", unit, apply("sqrt", squares / apply("larger", n - 1, 1)), "GUM 4.2.2 eq. 4"
    )
    return n, s


def from_summaries(table: TableBuilder, structure: Structure, unit: str) -> tuple[Symbol, Symbol]:
    readings = [item.reading for item in structure.measured]

    def column(name: str, heading: str, values: list[float | None], unit: str) -> Symbol:
        places = [Place("readings", (reading.row, name)) for reading in readings]
        return table.given(name, heading, unit, nan_where_none(values), places)

    column("mean", "mean", [reading.mean for reading in readings], unit)
    s = column("s", "s of the readings", [reading.s for reading in readings], unit)
    n = column("n", "readings", [float(reading.n or 0) for reading in readings], "")
    table.formula("squares", "sum of squares", "", s**2 * (n - 1))
    return n, s


def _scatter(
    context: Context,
    structure: Structure,
    table: TableBuilder,
    calibration: Calibration,
    n: Symbol,
    s: Symbol,
    curve_rows: list[int],
    unit: str,
    symbol: str,
) -> tuple[Operand, str | None, list[tuple[str, str, str]] | None]:
    """u of the mean, column of its degrees of freedom, and what it shares its variance estimate with."""
    names = [curve.name for curve in structure.curves]
    planned = context.planned.readings
    if planned is not None:
        # The mean of so many; s and its degrees of freedom stay those of the readings recorded.
        n = table.given("planned", "readings planned", "", [planned] * table.size)
    root: Expression = apply("sqrt", n)
    if calibration.scatter == "own":
        table.formula("dof", "degrees of freedom", "", apply("larger", Symbol("n") - 1, 1), "GUM 4.2.6")
        return apply("ratio_or_zero", s, root), "dof", None
    if calibration.scatter == "residual":
        scatter = scatter_columns(context.tables[CURVES].by_name, known_scatter(calibration))
        s_curve = table.pick("residual s", CURVES, scatter.s, curve_rows)
        table.pick("dof of the curve", CURVES, scatter.dof or "dof", curve_rows)
        table.formula("dof", "degrees of freedom", "", Symbol("dof of the curve"))
        lines = [item.line for item in structure.measured]
        own = unknown_weight(context, table, calibration, curve_rows, lines, unit)
        if own is not None:
            # S²/(p·w0): a reading of the unknown scatters as a point of its own weight would.
            largest = table.pick("w_max of the curve", CURVES, "w_max", curve_rows)
            relative = table.formula("w0", "own weight", "", apply("ratio_or_zero", own, largest))
            root = apply("sqrt", n * relative)
        u = apply("ratio_or_zero", s_curve, root)
        if scatter.dof is None:
            return u, None, None
        return u, "dof", [residual_estimate(names[row]) for row in curve_rows]
    build_pooled(context, structure, table, calibration.pooled_over, curve_rows, unit)
    s_pooled = table.pick("pooled s", POOLED, "s", curve_rows)
    table.pick("pooled dof", POOLED, "dof", curve_rows)
    table.formula("dof", "degrees of freedom", "", Symbol("pooled dof"))
    return (
        apply("ratio_or_zero", s_pooled, root),
        "dof",
        [("pooled", POOLED, names[row]) for row in curve_rows],
    )


def build_pooled(
    context: Context,
    structure: Structure,
    table: TableBuilder,
    pooled_over: Sequence[str],
    curve_rows: list[int],
    unit: str,
) -> None:
    """s pooled over the named solutions, or all but blanks and checks, by line (GUM H.3.6, ISO 5725-2)."""
    named = set(pooled_over)
    samples = set(structure.solutions) - structure.blank_solutions
    marks = [
        1.0 if (item.solution in named if named else item.solution in samples) else 0.0 for item in structure.measured
    ]
    mark = table.given("pooled", "in the pooled s", "", marks)
    table.formula("pooled squares", "squares pooled", "", mark * Symbol("squares"))
    table.formula("pooled n - 1", "n - 1 pooled", "", mark * apply("larger", Symbol("n") - 1, 0))
    counts = np.bincount(np.array(curve_rows, dtype=np.int64), minlength=len(structure.curves))
    stop = np.cumsum(counts)
    pooled = TableBuilder(POOLED, "Scatter of one reading, pooled", len(structure.curves), context.shared)
    label_curves(pooled, structure.curves)
    squares = pooled.span("all squares", SIGNALS, "pooled squares", stop - counts, stop)
    ones = pooled.span("all n - 1", SIGNALS, "pooled n - 1", stop - counts, stop)
    dof = pooled.formula("dof", "degrees of freedom", "", apply("larger", apply("total", ones), 1))
    pooled.formula("s", "pooled s", unit, apply("sqrt", apply("total", squares) / dof))
    context.tables[POOLED] = pooled.build()


def _internal_standard(table: TableBuilder, internal: InternalRows, items: Sequence[Measured]) -> None:
    """Recovery of the internal standard in the solution, and whether it is outside the limits."""
    rows = [internal.solution[read_at(item)] for item in items]
    recovery = table.pick("recovery of the solution", SOLUTIONS, "recovery", rows)
    table.formula("recovery", "recovery of the internal standard", "%", recovery)
    if internal.limited:
        outside = table.pick("outside in the solution", SOLUTIONS, "outside", rows)
        table.formula("outside", "recovery outside its limits (-1 below, 1 above)", "", outside)


def _concentration(
    table: TableBuilder, curve_rows: list[int], symbol: str, calibration: Calibration, reading: Symbol
) -> None:
    kind, unit = kind_of(calibration), calibration.unit

    def curve(column: str) -> Symbol:
        return table.pick(f"{column} of the curve", CURVES, column, curve_rows)

    inverse = kind.inverse(curve, reading)
    x = table.formula("x", "concentration on the curve", unit, inverse, "inverse prediction, QUAM E.4")
    table.formula("c", symbol, unit, curve("scale") * x)
    low, high = curve("x_low"), curve("x_high")
    above = apply("if_less", high, x, 1, 0)
    table.formula("range", "outside the calibrated range (-1 below, 1 above)", "", apply("if_less", x, low, -1, above))
    status: Expression = apply("if_less", Symbol("n"), 0.5, NO_READING, 0) + 10 * curve("status")
    lost = kind.lost(curve, reading)
    if lost is not None:
        status = status + apply("if_less", Symbol("n"), 0.5, 0, NO_SOLUTION * lost)
    if table.has("w0"):
        table.hold("w0")
        without = apply("if_less", 0, Symbol("w0"), 0, NO_WEIGHT)
        status = status + apply("if_less", Symbol("n"), 0.5, 0, without)
    table.formula("status", USABLE, "", status)
