"""Standard additions: one straight line for each sample solution and line of the method, extended to reading zero.

c = -x at reading zero = ȳ/b - x̄, about the centroid, where ordinate and slope are uncorrelated as to scatter. The law
of propagation then gives the usual s(c)² = (s/b)²(1/n + ȳ²/(b² Sxx)) of chemometrics; the form with 1 + 1/n takes the
extrapolated point as one new reading, which is an input quantity of its own here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.added_volumes import ADDED_VOLUMES, ADDITIONS, build_additions_table, changes_volume
from ubudget.bench.building import TableBuilder
from ubudget.bench.context import COUNTED, Context
from ubudget.bench.drawn import add_drawn
from ubudget.bench.fitting import NO_SLOPE, Fit, add_common, scatter_estimate
from ubudget.bench.kinds import KINDS
from ubudget.bench.readings import add_single_readings, flatten
from ubudget.bench.structure import Line, Measured, Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Graph, Trait
from ubudget.quantity.numbers import Numbers
from ubudget.records.additions import StandardAdditions
from ubudget.records.run import Run

ADDITION_LINES, ADDITION_READINGS = "addition lines", "addition readings"
EFFECT = "reading scatter"
NOT_RISING = 70
"""Status of a result whose line does not rise; else it is the status of the fit times ten."""
ROUNDING = 1e-12
_FORMS = {
    "line": "c = ȳ/b - x̄ with s(c)² = (s/b)²·(1/n + ȳ²/(b²·Sxx)), the scatter of the line alone",
    "line and one reading": "c = ȳ/b - x̄ with s(c)² = (s/b)²·(1 + 1/n + ȳ²/(b²·Sxx)), the extrapolated point as a new "
    "single reading",
}


@dataclass(frozen=True)
class Series:
    """A sample solution on one line: the zero addition and the additions in the order of the run."""

    solution: str
    line: Line
    items: tuple[Measured, ...]

    @property
    def name(self) -> str:
        return " ".join(part for part in (self.solution, *self.line) if part)


def build_additions(rows: SymbolRows, structure: Structure) -> None:
    """Tables of the standard additions of a method; `addition lines` has the column `c`."""
    run = rows.context.records.run
    assert run is not None
    for symbol, operation in rows.each(StandardAdditions)[:1]:
        measured = sorted({result.measured for result in structure.results})
        series = [_series(run, structure.measured[row]) for row in measured]
        rows.addition_rows |= {row: number for number, row in enumerate(measured)}
        places = build_additions_table(rows, structure, symbol, operation)
        positions = structure.positions
        _build_lines(rows.context, series, symbol, operation, run.file.run.reading_unit, positions, *places)
        _refuse_falling_lines(rows.context, series)


def _series(run: Run, zero: Measured) -> Series:
    read = {reading.solution: reading for reading in run.readings if (reading.analyte, reading.line) == zero.line}
    added = [a.solution for a in run.file.additions if a.added_to == zero.solution and a.solution in read]
    spiked = tuple(Measured(label, zero.line, read[label]) for label in added)
    return Series(zero.solution, zero.line, (zero, *spiked))


def _build_lines(
    context: Context,
    series: Sequence[Series],
    symbol: str,
    operation: StandardAdditions,
    reading_unit: str,
    positions: Mapping[tuple[str, str], int],
    addition_row: dict[tuple[str, str], int],
    volume_row: dict[str, int],
) -> None:
    items = [item for one in series for item in one.items]
    flat, _ = flatten(items)
    counts = [sum(len(item.reading.values) or 1 for item in one.items) for one in series]
    stop = np.cumsum(np.array(counts, dtype=np.int64))
    start = stop - np.array(counts, dtype=np.int64)
    points = TableBuilder(ADDITION_READINGS, "Readings with additions", len(flat), context.shared)
    reading, include = add_single_readings(context, points, items, flat, reading_unit)
    of_point = [items[item] for item, _, _ in flat]
    x_rows = [addition_row.get((item.solution, item.line[0]), -1) for item in of_point]
    x = points.formula("x", "added", operation.unit, points.pick("x of the addition", ADDITIONS, "x", x_rows))
    ordinate: Expression = reading
    if changes_volume(operation):
        y_rows = [volume_row.get(item.solution, -1) for item in of_point]
        ordinate = reading * points.pick("(V0 + V)/V0", ADDED_VOLUMES, "correction", y_rows, absent=1.0)
    y = points.formula("y", "reading at V0" if changes_volume(operation) else "reading", reading_unit, ordinate)

    lines = TableBuilder(ADDITION_LINES, "Lines of the standard additions", len(series), context.shared)
    lines.label("solution", "sample solution", [one.solution for one in series])
    lines.label("analyte", "analyte", [one.line[0] for one in series])
    lines.label("line", "line", [one.line[1] for one in series])
    fit = Fit(
        context,
        points,
        lines,
        [number for number, count in enumerate(counts) for _ in range(count)],
        start,
        stop,
        operation.unit,
        reading_unit,
        [one.name for one in series],
        symbol,
        "curve",
        what="the line of additions",
        uncertain_y=changes_volume(operation),
        mark=context.mark(EFFECT),
    )
    add_common(fit, x, y, include, None)
    KINDS["line"].build(fit)
    add_drawn(fit, [positions[item.solution, ""] for item in of_point])
    if operation.additions_exact:
        points.freeze("x", "y")
        points.hold("x", "y")
    _add_extrapolation(fit, operation)
    context.tables[ADDITION_READINGS] = points.build()
    context.tables[ADDITION_LINES] = lines.build()


def _add_extrapolation(fit: Fit, operation: StandardAdditions) -> None:
    """Column `c` = -x at reading zero, the s(c) of its published form, and the status of the result."""
    lines, unit = fit.fits, operation.unit
    b, ordinate, squares = Symbol("slope"), Symbol("y_mean"), Symbol("Sxx")
    anew = operation.variance == "line and one reading"
    extended: Expression = ordinate
    if anew:
        extended = ordinate + _new_reading(fit)
    clause = _FORMS[operation.variance]
    lines.formula("c", fit.symbol, unit, apply("ratio_or_zero", extended, b) - Symbol("mean of x"), clause)
    lines.formula("x0", "x at reading zero", unit, -Symbol("c"))
    lines.given("y0", "reading zero", fit.unit_y, 0.0)
    inside = apply("ratio_or_zero", 1, Symbol("n")) + apply("ratio_or_zero", ordinate**2, b**2 * squares)
    root = apply("sqrt", 1 + inside if anew else inside)
    lines.formula("s(c)", f"s({fit.symbol}) of the line", unit, apply("ratio_or_zero", Symbol("s"), b) * root, clause)
    # Equal readings leave a slope that is zero but for rounding.
    rise, rounding = b * (Symbol("x_high") - Symbol("x_low")), ROUNDING * apply("abs", ordinate)
    falls = apply("if_less", rounding, rise, 0, NOT_RISING)
    flat = apply("if_equal", Symbol("status"), NO_SLOPE, NOT_RISING, 10 * Symbol("status"))
    status = apply("if_equal", Symbol("status"), 0, falls, flat)
    lines.formula("status of c", "status of c (0 = usable)", "", status)


def _new_reading(fit: Fit) -> Symbol:
    """The extrapolated point as a reading of its own: deviation zero, u = residual s, on the variance of the line."""
    counted = fit.mark == COUNTED
    name = f"{fit.symbol}.reading"
    source = "residuals of the fit" if counted else fit.mark
    trait = Trait(name, "extrapolated point taken as a new reading", "reading", "A", "t", source)
    return fit.fits.deviation(
        name,
        name,
        fit.unit_y,
        Symbol("s") if counted else Number(0),
        [trait] * fit.fits.size,
        dof="dof" if counted else None,
        estimates=[scatter_estimate(fit.fits.name, one) for one in fit.names] if counted else None,
    )


def _refuse_falling_lines(context: Context, series: Sequence[Series]) -> None:
    """A line that does not rise with the addition gives no concentration."""
    numbers = Numbers(Graph(dict(context.tables)))
    status = numbers.column(ADDITION_LINES, "status of c")
    for one, code, slope in zip(series, status, numbers.column(ADDITION_LINES, "slope"), strict=True):
        if code == NOT_RISING:
            context.find(
                "stop",
                "readings",
                f"additions to {one.name}",
                f"a slope of {slope:.4g}: readings that do not rise with the addition",
                "a slope above zero",
                "check the readings and which solution is which",
            )
