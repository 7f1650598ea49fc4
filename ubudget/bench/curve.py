"""Calibration by an unweighted straight line on individual readings, and inverse prediction.

Written about the centroid: x0 = x_mean + (y0 - y_mean)/b. Centroid and slope are uncorrelated, so that the classical
u(x0) = (s/|b|) sqrt(1/p + 1/n + (x0 - x_mean)^2/Sxx) (QUAM E.4) follows from the law of propagation, and neither slope
nor intercept shows as a large contribution that the other takes back.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.equipment import STOCKS
from ubudget.bench.readings import POINTS, add_single_readings, flatten
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.structure import Line, Structure
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Place, Trait

STANDARDS, CURVES = "standards", "curves"
GROUP = "curve"
BEYOND = 1e99

TOO_FEW, ONE_LEVEL, NO_SLOPE = 1, 2, 3
"""Status of a curve; 0 = usable."""


def build_curves(
    context: Context,
    structure: Structure,
    symbol: str,
    unit: str,
    reading_unit: str,
    stock_rows: dict[str, int],
    preparation: dict[str, int],
) -> None:
    """Tables `standards`, `standard readings` and `curves`. `preparation` holds rows of relative uncertainty (in %)."""
    _build_standards(context, structure, unit)
    flat, _ = flatten(structure.standard_readings)
    owner = [structure.lines.index(structure.standard_readings[i].line) for i, _, _ in flat]
    points = TableBuilder(POINTS, "Readings of the standards", len(flat), context.shared)
    reading, include = add_single_readings(context, points, structure.standard_readings, flat, reading_unit)
    x = points.pick("x of the standard", STANDARDS, "x", _standard_rows(context, structure, [i for i, _, _ in flat]))
    points.formula("x", "concentration", unit, x)
    add_line_points(points, Symbol("x"), reading, include, CURVES, owner, unit, reading_unit)
    context.tables[POINTS] = points.build()

    curves = TableBuilder(CURVES, "Calibration lines", len(structure.lines), context.shared)
    curves.label("analyte", "analyte", [analyte for analyte, _ in structure.lines])
    curves.label("line", "line", [line for _, line in structure.lines])
    counts = np.bincount(np.array(owner, dtype=np.int64), minlength=len(structure.lines))
    stop = np.cumsum(counts)
    add_line_fit(
        curves,
        POINTS,
        stop - counts,
        stop,
        symbol,
        unit,
        reading_unit,
        [f"{analyte} {line}".strip() for analyte, line in structure.lines],
    )
    _add_scale(context, curves, structure.lines, symbol, unit, stock_rows, preparation)
    context.tables[CURVES] = curves.build()


def _build_standards(context: Context, structure: Structure, unit: str) -> None:
    run = context.records.run
    assert run is not None
    analytes = list(dict.fromkeys(analyte for analyte, _ in structure.lines))
    rows = [
        (number, standard, analyte)
        for analyte in analytes
        for number, standard in enumerate(run.file.standards)
        if analyte in standard.concentration
    ]
    table = TableBuilder(STANDARDS, "Standards", len(rows), context.shared)
    table.label("standard", "standard", [standard.label for _, standard, _ in rows])
    table.label("analyte", "analyte", [analyte for _, _, analyte in rows])
    values = [
        context.in_unit(
            standard.concentration[analyte],
            unit,
            "run",
            f"standard {number + 1} ({standard.label}), {analyte}",
        )
        for number, standard, analyte in rows
    ]
    table.given(
        "x",
        "concentration as calculated",
        unit,
        [np.nan if value is None else value for value in values],
        [Place("run", ("standard", number, "concentration", analyte), unit) for number, _, analyte in rows],
    )
    context.tables[STANDARDS] = table.build()


def _standard_rows(context: Context, structure: Structure, items: Sequence[int]) -> list[int]:
    table = context.tables[STANDARDS]
    pairs = zip(table.texts("standard"), table.texts("analyte"), strict=True)
    row_of = {pair: row for row, pair in enumerate(pairs)}
    return [row_of[structure.standard_readings[i].solution, structure.standard_readings[i].line[0]] for i in items]


def add_line_points(
    points: TableBuilder,
    x: Symbol,
    y: Symbol,
    include: Symbol,
    fits: str,
    owner: Sequence[int],
    unit_x: str,
    unit_y: str,
) -> None:
    """Columns of a table of points for a line: deviations from the centroid, fitted value, residual."""
    points.formula("x used", "x used", unit_x, include * x)
    points.formula("y used", "y used", unit_y, include * y)
    x_mean = points.pick("x_mean", fits, "x_mean", owner)
    y_mean = points.pick("y_mean", fits, "mean of y", owner)
    slope = points.pick("b", fits, "slope", owner)
    dx = points.formula("dx", "x - x_mean", unit_x, include * (x - x_mean))
    dy = points.formula("dy", "y - y_mean", unit_y, include * (y - y_mean))
    points.formula("fitted", "fitted", unit_y, y_mean + slope * (x - x_mean))
    points.formula("residual", "residual", unit_y, dy - slope * dx)
    points.formula("x if used, low", "x for the lower end", unit_x, apply("if_equal", include, 1, x, BEYOND))
    points.formula("x if used, high", "x for the upper end", unit_x, apply("if_equal", include, 1, x, -BEYOND))


def add_line_fit(
    fits: TableBuilder,
    points: str,
    start: np.ndarray,
    stop: np.ndarray,
    symbol: str,
    unit_x: str,
    unit_y: str,
    names: Sequence[str],
) -> None:
    """Columns of a table of straight lines: sums, centroid, slope, residual s, u and covariance, status.

    Leaves: the centroid's ordinate and the slope, both resting on the residual s with n - 2 degrees of freedom."""

    def span(column: str) -> Symbol:
        return fits.span(f"all {column}", points, column, start, stop)

    slope_unit = f"({unit_y or '1'})/({unit_x})" if unit_x else unit_y
    n = fits.formula("n", "readings used n", "", apply("total", span("include")))
    x_mean = fits.formula("x_mean", "mean of x", unit_x, apply("ratio_or_zero", apply("total", span("x used")), n))
    fits.formula("mean of y", "mean of y", unit_y, apply("ratio_or_zero", apply("total", span("y used")), n))
    dx, dy, residual = span("dx"), span("dy"), span("residual")
    sxx = fits.formula("Sxx", "Sxx", "", apply("total_product", dx, dx), "QUAM E.4")
    sxy = fits.formula("Sxy", "Sxy", "", apply("total_product", dx, dy))
    fits.formula("slope", "slope b", slope_unit, apply("ratio_or_zero", sxy, sxx), "least squares")
    # Ordinate at the centroid and slope are the input quantities; their estimates are the formulas above.
    fits.formula("y_mean", "ordinate at the centroid", unit_y, Symbol("mean of y"))
    dof = fits.formula("dof", "degrees of freedom n - 2", "", apply("larger", n - 2, 1))
    square = apply("total_product", residual, residual) / dof
    s = fits.formula("s", "residual s", unit_y, apply("sqrt", square), "QUAM E.4")
    fits.formula("u(y_mean)", "u of the ordinate", unit_y, apply("ratio_or_zero", s, apply("sqrt", n)))
    u_slope = fits.formula("u(slope)", "u(b)", slope_unit, apply("ratio_or_zero", s, apply("sqrt", sxx)))
    intercept = Symbol("y_mean") - Symbol("slope") * x_mean
    fits.formula("intercept", "intercept a", unit_y, intercept)
    fits.formula(
        "u(intercept)",
        "u(a)",
        unit_y,
        apply("sqrt", Symbol("u(y_mean)") ** 2 + x_mean**2 * u_slope**2),
        "GUM H.3.3",
    )
    fits.formula("cov(a, b)", "cov(a, b)", "", -(x_mean * u_slope**2), "GUM H.3.3")
    fits.formula("x_low", "lowest x used", unit_x, apply("smallest", span("x if used, low")))
    fits.formula("x_high", "highest x used", unit_x, apply("largest", span("x if used, high")))
    slope_status = apply("if_equal", Symbol("slope"), 0, NO_SLOPE, 0)
    level_status = apply("if_equal", sxx, 0, ONE_LEVEL, slope_status)
    fits.formula("status", "status (0 = usable)", "", apply("if_less", n, 2.5, TOO_FEW, level_status))
    estimates = [("residual", fits.name, name) for name in names]
    for column, u, part in (("y_mean", "u(y_mean)", "centroid"), ("slope", "u(slope)", "slope")):
        fits.leaf(
            column,
            u,
            [
                Trait(
                    f"{symbol}.{part}",
                    f"{part} of the calibration line",
                    GROUP,
                    "A",
                    "t",
                    "residuals of the straight line",
                )
                for name in names
            ],
            dof="dof",
            estimates=estimates,
        )


def residual_estimate(name: str) -> tuple[str, str, str]:
    """Key of the variance estimate that is the residual s of a calibration line."""
    return ("residual", CURVES, name)


def _add_scale(
    context: Context,
    curves: TableBuilder,
    lines: Sequence[Line],
    symbol: str,
    unit: str,
    stock_rows: dict[str, int],
    preparation: dict[str, int],
) -> None:
    """Factor on the concentration scale: certified over assumed stock concentration, and preparation."""
    scale: Expression = Number(1)
    rows = [stock_rows.get(analyte, -1) for analyte, _ in lines]
    if any(row >= 0 for row in rows):
        value = curves.pick("c_stock", STOCKS, "value", rows, absent=1.0)
        assumed = curves.pick("c_assumed", STOCKS, "calculated with", rows, absent=1.0)
        scale = value / assumed
    prepared = [preparation.get(line, preparation.get("", -1)) for _, line in lines]
    if any(row >= 0 for row in prepared):
        name = f"{symbol}.preparation"
        u = curves.pick(f"u% of {name}", INPUTS, "u", prepared)
        entries = context.records.method.symbols[symbol]
        source = getattr(getattr(entries, "preparation", None), "source", "")
        deviation = curves.deviation(
            name,
            name,
            "",
            u / 100,
            [Trait(name, "preparation of the standards", "stock", "B", "normal", source) for _ in lines],
            # The lines of one element are read on the same standards.
            members=[("preparation", analyte) for analyte, _ in lines],
        )
        scale = scale * (1 + deviation)
    curves.formula("scale", "factor on the concentration scale", "", scale)
