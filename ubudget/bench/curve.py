"""Calibration of a run: points of every line, their fit by the method's kind of curve, and the concentration scale.

The classical u(x0) = (s/|b|) sqrt(1/p + 1/n + (x0 - x_mean)^2/Sxx) (QUAM E.4) follows from the law of propagation, and
neither slope nor intercept shows as a large contribution that the other takes back.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.corrections import Corrections
from ubudget.bench.drawn import add_drawn
from ubudget.bench.fitting import Fit, add_common
from ubudget.bench.kinds import ERRORS_IN_VARIABLES, Kind, kind_of
from ubudget.bench.level_scatter import add_dof, add_s_at, build_level_scatter
from ubudget.bench.linearity import build_linearity
from ubudget.bench.preliminary import LOWEST, ORDINATE, add_preliminary
from ubudget.bench.readings import POINTS, flatten
from ubudget.bench.standards import STANDARDS
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.structure import Curve, Line, Structure
from ubudget.bench.weights import WEIGHTING, build_weighting, known_scatter, rule_in, weight, weighted
from ubudget.bench.within_levels import add_lack_of_fit, add_pure_error
from ubudget.quantity.expression import Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import Rows, Trait
from ubudget.records.calibration import BY_LEVEL, Calibration

CURVES, LEVELS = "curves", "levels"
GROUP = "curve"


def build_curves(
    context: Context,
    structure: Structure,
    symbol: str,
    calibration: Calibration,
    reading_unit: str,
    standard_row: dict[tuple[str, str], int],
    preparation: dict[str, int],
    corrections: Corrections,
) -> None:
    """Tables `standard readings`, `levels` and `curves`. `preparation` holds rows of relative uncertainty (in %)."""
    unit = calibration.unit
    items = structure.standard_readings
    flat, segments = flatten(items)
    curve_of_item = np.array([structure.curves.index(item.curve) for item in items], dtype=np.int64)
    x_row = [standard_row[item.solution, item.line[0]] for item in items]
    readings = TableBuilder(POINTS, "Readings of the standards", len(flat), context.shared)
    reading, include = corrections.add_readings(context, readings, items, flat, reading_unit)
    item_of = [item for item, _, _ in flat]
    between = calibration.between_levels is not None
    x_of_reading = (
        readings.pick("x of the level", LEVELS, "x", item_of)
        if between
        else readings.pick("x of the standard", STANDARDS, "x", [x_row[i] for i in item_of])
    )
    readings.formula("x", "concentration", unit, x_of_reading)
    readings.formula("reading used", "reading used", reading_unit, include * reading)
    level_mean = readings.pick("mean of the level", LEVELS, "mean", item_of)
    readings.formula(
        "from level mean", "deviation from the level's mean", reading_unit, include * (reading - level_mean)
    )

    levels = TableBuilder(LEVELS, "Levels of the calibration", len(items), context.shared)
    build_weighting(context, symbol, calibration, reading_unit)
    _add_levels(
        levels,
        structure,
        items,
        segments.start,
        segments.stop,
        reading_unit,
        x_row,
        unit,
        include.name,
        between=between,
    )
    if between:
        _add_between(levels, structure, symbol, calibration)

    curves = TableBuilder(CURVES, "Calibration curves", len(structure.curves), context.shared)
    lines = label_curves(curves, structure.curves)
    kind = kind_of(calibration)
    on_means = calibration.fit_on == "means" or kind.of_levels
    points = levels if on_means else readings
    owner = curve_of_item if on_means else curve_of_item[item_of]
    counts = np.bincount(owner, minlength=len(structure.curves))
    stop = np.cumsum(counts)
    names = [curve.name for curve in structure.curves]
    fit = Fit(
        context,
        points,
        curves,
        list(owner),
        stop - counts,
        stop,
        unit,
        reading_unit,
        names,
        symbol,
        GROUP,
        known_scatter(calibration),
        uncertain_y=bool(corrections),
    )
    if on_means:
        mark: Symbol = Symbol("level used")
        y = Symbol("mean")
        level_s: Operand = Symbol("s")
        level_y: Operand = Symbol("mean")
    else:
        mark, y = include, reading
        level_s = readings.pick("s of the level", LEVELS, "s", item_of)
        level_y = level_mean
    factor = corrections.factor(points, items if on_means else [items[item] for item in item_of])
    if factor is not None:
        own = points.formula("correction factor", "factor with the corrections' uncertainty", "", factor)
        y = points.formula("y", "corrected, with that uncertainty", reading_unit, y * own)
    own_weight: Expression | None = None
    if weighted(calibration) and not kind.of_levels:
        own_weight = _own_weight(fit, calibration, kind, lines, symbol, level_y, level_s)
        if on_means:
            # The rule is of one reading; a mean of n weighs n times as much.
            own_weight = Symbol("readings") * own_weight
    if kind.name == ERRORS_IN_VARIABLES:
        _add_u_of_points(context, fit, calibration, reading_unit)
    if not kind.of_levels:
        add_common(fit, Symbol("x"), y, mark, own_weight)
    if not kind.of_levels and not points.has("y"):
        points.formula("y", "mean" if on_means else "reading", reading_unit, y)
    if not on_means and (between or not weighted(calibration)):
        add_pure_error(fit, LEVELS, curve_of_item, shown_as_s=between and not fit.known_scatter)
    kind.build(fit)
    if calibration.standards == "exact" or calibration.standards_exact:
        home, exact = (levels, "x prepared") if between else (points, "x")
        home.freeze(exact)
        home.hold(exact)
    drawn = items if on_means else [items[item] for item in item_of]
    add_drawn(fit, [structure.positions[item.solution, item.reading.block] for item in drawn])
    if not on_means and not weighted(calibration):
        add_lack_of_fit(fit, kind.parameters)
    _add_scale(context, curves, lines, symbol, preparation)
    context.tables[POINTS] = readings.build()
    context.tables[LEVELS] = levels.build()
    context.tables[CURVES] = curves.build()
    if calibration.curve in ("line", "quadratic"):
        build_linearity(context, LEVELS, list(curve_of_item), names, unit, reading_unit)


def label_curves(table: TableBuilder, curves: Sequence[Curve]) -> list[Line]:
    """Columns analyte, line and, where the run has several, block; gives the line of each curve."""
    table.label("analyte", "analyte", [curve.analyte for curve in curves])
    table.label("line", "line", [curve.line for curve in curves])
    if any(curve.block for curve in curves):
        table.label("block", "calibration block", [curve.block for curve in curves])
    return [(curve.analyte, curve.line) for curve in curves]


def _own_weight(
    fit: Fit, calibration: Calibration, kind: Kind, lines: Sequence[Line], symbol: str, y: Operand, level_s: Operand
) -> Expression:
    """The weight of one reading at each point, with the columns and tables that its rule needs."""
    context, points = fit.context, fit.points
    rule = rule_in(context, points, calibration)
    if calibration.weights == "1/y":
        floor = rule_in(context, fit.fits, calibration).floor
        add_preliminary(fit, kind.name, floor if calibration.weight_floor is not None else None)
        fitted, lowest = Symbol(ORDINATE), fit.own(LOWEST)
        return weight(rule, x=Symbol("x"), y=y, level_s=level_s, fitted=fitted, lowest=lowest)
    if calibration.weights == BY_LEVEL:
        build_level_scatter(context, symbol, calibration, fit.unit_y)
        level_s = add_s_at(points, calibration, [lines[row] for row in fit.owner], Symbol("x"), fit.unit_y)
        if fit.known_scatter:
            add_dof(fit.fits, calibration, lines)
    return weight(rule, x=Symbol("x"), y=y, level_s=level_s)


def unknown_weight(
    context: Context,
    table: TableBuilder,
    calibration: Calibration,
    line_rows: Sequence[int],
    lines: Sequence[Line],
    reading_unit: str,
) -> Expression | None:
    """The unknown's own weight by the same rule, in columns of the measured lines: x, mean and s."""
    if not weighted(calibration):
        return None
    rule = rule_in(context, table, calibration)
    lowest: Operand = 0
    if calibration.weights == BY_LEVEL:
        stated = add_s_at(table, calibration, lines, Symbol("x"), reading_unit)
        return weight(rule, x=Symbol("x"), y=Symbol("mean"), level_s=stated)
    if calibration.weights == "1/y":
        lowest = table.pick(f"{LOWEST} of the curve", CURVES, LOWEST, line_rows)
    return weight(rule, x=Symbol("x"), y=Symbol("mean"), level_s=Symbol("s"), lowest=lowest)


def _add_levels(
    levels: TableBuilder,
    structure: Structure,
    items: Sequence[object],
    start: Rows,
    stop: Rows,
    unit: str,
    x_row: list[int],
    unit_x: str,
    mark: str,
    *,
    between: bool,
) -> None:
    """Mean, s and n of each standard on each line (Type A, GUM 4.2)."""
    measured = structure.standard_readings
    assert len(measured) == len(items)
    levels.label("standard", "standard", [item.solution for item in measured])
    levels.label("analyte", "analyte", [item.line[0] for item in measured])
    levels.label("line", "line", [item.line[1] for item in measured])
    if any(item.reading.block for item in measured):
        levels.label("block", "calibration block", [item.reading.block for item in measured])
    x = levels.pick("x of the standard", STANDARDS, "x", x_row)
    levels.formula("x prepared" if between else "x", "concentration", unit_x, x)

    def span(column: str) -> Symbol:
        return levels.span(f"all {column}", POINTS, column, start, stop)

    n = levels.formula("readings", "readings used", "", apply("total", span(mark)))
    levels.formula("level used", "level used (1 = yes)", "", apply("if_less", n, 0.5, 0, 1))
    levels.formula(
        "mean", "mean", unit, apply("ratio_or_zero", apply("total", span("reading used")), n), "GUM 4.2.1 eq. 3"
    )
    deviation = span("from level mean")
    levels.formula("squares", "sum of squares", "", apply("total_product", deviation, deviation))
    variance = Symbol("squares") / apply("larger", n - 1, 1)
    levels.formula("s", "s of the readings", unit, apply("sqrt", variance), "GUM 4.2.2 eq. 4")


def _add_between(levels: TableBuilder, structure: Structure, symbol: str, calibration: Calibration) -> None:
    """One deviation of each standard on each line beside what its preparation explains: the method's term between
    levels, in its share of the concentration or in its unit."""
    prepared = Symbol("x prepared")
    stated = levels.pick("between_levels", WEIGHTING, "between_levels", [0] * levels.size)
    assert calibration.between_levels is not None
    u = stated / 100 * apply("abs", prepared) if calibration.between_levels.relative else stated
    name = f"{symbol}.between levels"
    words = "deviation of a standard beyond its preparation, between levels"
    traits = [
        Trait(name, words, "standards", "B", "normal", f"stated by the method; {item.solution} on {item.curve.name}")
        for item in structure.standard_readings
    ]
    deviation = levels.deviation(name, "deviation between levels", calibration.unit, u, traits)
    levels.formula("x", "concentration, with its deviation", calibration.unit, prepared + deviation)


def _add_u_of_points(context: Context, fit: Fit, calibration: Calibration, reading_unit: str) -> None:
    """u_x as stated, u_y of a level's mean: from the noise model, or from s pooled over the levels of the line."""
    points, fits = fit.points, fit.fits
    stated = points.pick("standard_u", WEIGHTING, "standard_u", [0] * points.size)
    relative = calibration.standard_u is not None and calibration.standard_u.relative
    points.formula("u_x", "u_x", fit.unit_x, stated / 100 * apply("abs", Symbol("x")) if relative else stated)
    if calibration.weights == "noise model":
        rule = rule_in(context, points, calibration)
        single: Expression = apply("sqrt", 1 / weight(rule, x=Symbol("x"), y=Symbol("mean"), level_s=Symbol("s")))
    else:
        squares, readings = fit.total("squares"), fit.total("readings")
        levels = fit.total("level used")
        pooled = apply("sqrt", squares / apply("larger", readings - levels, 1))
        fits.formula("s", "s of one reading, pooled", reading_unit, pooled, "GUM H.3.6")
        fits.formula("dof of s", "degrees of freedom of s", "", apply("larger", readings - levels, 1))
        single = fit.own("s")
    points.formula(
        "u_y", "u_y of the mean", reading_unit, apply("ratio_or_zero", single, apply("sqrt", Symbol("readings")))
    )


def residual_estimate(name: str) -> tuple[str, str, str]:
    """Key of the variance estimate that is the residual s of a calibration curve."""
    return ("residual", CURVES, name)


def _add_scale(
    context: Context, curves: TableBuilder, lines: Sequence[Line], symbol: str, preparation: dict[str, int]
) -> None:
    """Factor on the concentration scale: what the method states of the preparation as a whole."""
    scale: Expression = Number(1)
    prepared = [preparation.get(line, preparation.get("", -1)) for _, line in lines]
    if any(row >= 0 for row in prepared):
        name = f"{symbol}.preparation"
        u = curves.pick(f"u% of {name}", INPUTS, "u", prepared)
        calibration = context.records.method.symbols[symbol]
        source = getattr(getattr(calibration, "preparation", None), "source", "")
        deviation = curves.deviation(
            name,
            name,
            "",
            u / 100,
            [Trait(name, "preparation of the standards", "standards", "B", "normal", source) for _ in lines],
            # The lines of one element are read on the same standards.
            members=[("preparation", analyte) for analyte, _ in lines],
        )
        scale = 1 + deviation
    curves.formula("scale", "factor on the concentration scale", "", scale)
