"""The part of a device's curve from exported standards: what the device reads back, against their nominal values.

The residuals of recalculated against nominal concentrations hold the scatter and the lack of fit of the curve:
s² = sum of squares / (n - p), p parameters of the fitted curve: the residual standard deviation of a regression, on the
axis of concentrations (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.bench.readings import POINTS, add_single_readings, flatten
from ubudget.bench.structure import Structure
from ubudget.quantity.expression import Symbol, apply
from ubudget.quantity.graph import Place
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.run import Standard

EXPORTED, NOMINAL = "exported standards", "nominal values"


def add_from_standards(
    context: Context, curves: TableBuilder, structure: Structure, operation: DeviceConcentration
) -> Symbol:
    """Table `exported standards` (and their readings), and its sums in the table of curves; gives the absolute u."""
    run = context.records.run
    assert run is not None
    unit, items = operation.unit, structure.standard_readings
    number = {standard.label: row for row, standard in enumerate(run.file.standards)}
    values = list(dict.fromkeys((number[item.solution], item.line[0]) for item in items))
    _build_nominal(context, run.file.standards, values, unit)
    place = {key: row for row, key in enumerate(values)}
    table = TableBuilder(EXPORTED, "Exported standards, as the device read them back", len(items), context.shared)
    table.label("solution", "standard", [item.solution for item in items])
    table.label("analyte", "analyte", [item.line[0] for item in items])
    table.label("line", "line", [item.line[1] for item in items])
    x = table.pick("nominal value", NOMINAL, "nominal", [place[number[item.solution], item.line[0]] for item in items])
    if all(item.reading.mean is None for item in items):
        mean, n = _of_readings(context, table, structure, unit)
    else:
        means = [item.reading.mean for item in items]
        where = [Place("readings", (item.reading.row, "mean")) for item in items]
        mean = table.given("mean", "value read back", unit, nan_where_none(means), where)
        n = table.given("n", "readings", "", [float(item.reading.n or 0) for item in items])
    used = table.formula("used", "used (1 = yes)", "", apply("if_less", n, 0.5, 0, 1))
    table.formula("residual", "read back less nominal", unit, used * (mean - x))
    context.tables[EXPORTED] = table.build()
    owner = np.array([structure.lines.index(item.line) for item in items], dtype=np.int64)
    counts = np.bincount(owner, minlength=len(structure.lines))
    stop = np.cumsum(counts)
    residual = curves.span("all residual", EXPORTED, "residual", stop - counts, stop)
    total = apply("total", curves.span("all used", EXPORTED, "used", stop - counts, stop))
    count = curves.formula("standards", "standards used", "", total)
    dof = curves.formula("dof", "degrees of freedom", "", apply("larger", count - operation.curve_parameters, 1))
    squares = apply("total_product", residual, residual)
    return curves.formula(
        "u absolute", "s of the residuals", unit, apply("sqrt", squares / dof), "common practice, no source"
    )


def _build_nominal(
    context: Context, standards: Sequence[Standard], values: Sequence[tuple[int, str]], unit: str
) -> None:
    table = TableBuilder(NOMINAL, "Nominal values of the exported standards", len(values), context.shared)
    table.label("solution", "standard", [standards[number].label for number, _ in values])
    table.label("analyte", "analyte", [analyte for _, analyte in values])
    nominal = [
        context.in_unit(standards[number].concentration.get(analyte), unit, "run", f"standard {number + 1}, {analyte}")
        for number, analyte in values
    ]
    places = [Place("run", ("standard", number, "concentration", analyte), unit) for number, analyte in values]
    table.given("nominal", "nominal value", unit, nan_where_none(nominal), places)
    context.tables[NOMINAL] = table.build()


def _of_readings(context: Context, table: TableBuilder, structure: Structure, unit: str) -> tuple[Symbol, Symbol]:
    flat, segments = flatten(structure.standard_readings)
    readings = TableBuilder(POINTS, "Readings of the exported standards", len(flat), context.shared)
    reading, include = add_single_readings(context, readings, structure.standard_readings, flat, unit)
    readings.formula("used", "reading used", unit, include * reading)
    context.tables[POINTS] = readings.build()

    def total(column: str) -> Symbol:
        return table.span(f"all {column}", POINTS, column, segments.start, segments.stop)

    n = table.formula("n", "readings used", "", apply("total", total(include.name)))
    mean = apply("ratio_or_zero", apply("total", total("used")), n)
    return table.formula("mean", "value read back", unit, mean, "GUM 4.2.1 eq. 3"), n
