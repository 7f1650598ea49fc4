"""Fitted ordinates of a preliminary fit without weights, for the weights 1/y.

They are defined at every level, the zero standard included, and do not follow the scatter of one level, as its mean
reading would. One step suffices for weights: a line or quadratic by least squares; for the rational curve the linear
regression of e on 1, z and -z e from which its own steps start. Weights by this fit are constants of propagation.
"""

from __future__ import annotations

from collections.abc import Callable

from ubudget.bench.building import TableBuilder
from ubudget.bench.fitting import Fit
from ubudget.bench.rational import NAMES, STEP, add_solution
from ubudget.quantity.expression import Expression, Operand, Symbol, apply, as_expression

ORDINATE, LOWEST = "y first", "y_floor"
"""Column of the points: fitted without weights. Column of the fits: the same at the smallest concentration that
counts; 0 where the method states none."""
_MEAN_X, _MEAN_Y, _SLOPE, _HALF, _SCALE = "mean x first", "mean y first", "slope first", "h first", "k first"
Read = Callable[[str], Symbol]


def add_preliminary(fit: Fit, kind: str, floor: Operand | None) -> None:
    """Columns `y first` of the points and `y_floor` of the fits; `floor` is a concentration, as the fits read it."""
    points, fits = fit.points, fit.fits
    before_points, before_fits = set(points.names), set(fits.names)
    n, mark, x, y = Symbol("n"), fit.span("mark"), fit.span("x"), fit.span("y")
    if kind == "line through zero":
        rise = apply("ratio_or_zero", apply("total_of", mark * x * y), apply("total_of", mark * x * x))
        fits.formula(_SLOPE, "slope without weights", fit.slope_unit(), rise)
    else:
        fits.formula(
            _MEAN_X, "mean of x without weights", fit.unit_x, apply("ratio_or_zero", fit.total("mark", "x"), n)
        )
        fits.formula(
            _MEAN_Y, "mean of y without weights", fit.unit_y, apply("ratio_or_zero", fit.total("mark", "y"), n)
        )
    if kind == "line":
        dx, dy = x - Symbol(_MEAN_X), y - Symbol(_MEAN_Y)
        rise = apply("ratio_or_zero", apply("total_of", mark * dx * dy), apply("total_of", mark * dx * dx))
        fits.formula(_SLOPE, "slope without weights", fit.slope_unit(), rise)
    elif kind != "line through zero":
        _solve(fit, rational=kind == "rational")
    points.formula(
        ORDINATE,
        "fitted without weights",
        fit.unit_y,
        _curve(kind, Symbol("x"), fit.own),
        "one step, for the weight 1/y",
    )
    low: Operand = 0 if floor is None else apply("larger", _curve(kind, floor, Symbol), 0)
    fits.formula(LOWEST, "smallest y that counts", fit.unit_y, low)
    for table, before in ((points, before_points), (fits, before_fits)):
        added = [name for name in table.names if name not in before]
        table.freeze(*added)
        table.hold(*added)
        table.demote(*added)


def _solve(fit: Fit, *, rational: bool) -> None:
    """Normal equations of e on 1, z and z², or on 1, z and -z e, in a table of steps."""
    points, fits = fit.points, fit.fits
    fits.formula(_HALF, "half range", fit.unit_x, (Symbol("x_high") - Symbol("x_low")) / 2)
    square = apply("total_of", fit.span("mark") * (fit.span("y") - Symbol(_MEAN_Y)) ** 2)
    fits.formula(
        _SCALE, "scale of y without weights", fit.unit_y, apply("sqrt", apply("ratio_or_zero", square, Symbol("n")))
    )
    own = fit.own
    points.formula("z first", "z without weights", "", apply("ratio_or_zero", Symbol("x") - own(_MEAN_X), own(_HALF)))
    points.formula("e first", "e without weights", "", apply("ratio_or_zero", Symbol("y") - own(_MEAN_Y), own(_SCALE)))
    name = f"{STEP}weights"
    table = TableBuilder(name, "Curve without weights, for the weights 1/y", fits.size, fit.context.shared)
    table.label("fit", "curve", list(fit.names))
    M, z, e = (
        table.span(f"all {column}", points.name, column, fit.start, fit.stop)
        for column in ("mark", "z first", "e first")
    )
    third: Expression = -(z * e) if rational else z**2
    basis: tuple[Operand, ...] = (1, z, third)
    matrix = {(i, j): M * basis[i] * basis[j] for i in range(3) for j in range(i, 3)}
    add_solution(table, matrix, [M * function * e for function in basis], (0, 0, 0))
    fit.context.tables[name] = table.build()
    for parameter in NAMES:
        found = fits.pick(f"{parameter} without weights", name, parameter, range(fits.size))
        fits.formula(f"{parameter} first", f"{parameter} without weights", "", found)


def _curve(kind: str, x: Operand, read: Read) -> Expression:
    """The preliminary curve at x."""
    if kind == "line through zero":
        return read(_SLOPE) * x
    d = as_expression(x) - read(_MEAN_X)
    if kind == "line":
        return read(_MEAN_Y) + read(_SLOPE) * d
    z = apply("ratio_or_zero", d, read(_HALF))
    A, B, C = (read(f"{parameter} first") for parameter in NAMES)
    e = apply("ratio_or_zero", A + B * z, 1 + C * z) if kind == "rational" else A + z * (B + C * z)
    return read(_MEAN_Y) + read(_SCALE) * e
