"""Kinds of calibration curve: each one basis, its columns, its inverse. Line, line through zero, quadratic; rational.

Written in orthogonal polynomials about the weighted mean: 1, d, and q = z(z - β) - γ with z = d/h. Scatter of the
parameters is then uncorrelated, no digit is lost on badly scaled data, and no matrix is needed in cells.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ubudget.bench.errors_in_variables import build_errors_in_variables, inverse_errors_in_variables
from ubudget.bench.fitting import (
    NOT_MONOTONIC,
    Fit,
    Parameter,
    add_parameter,
    add_scatter,
    add_status,
    freeze_points,
)
from ubudget.bench.rational import build_rational, inverse_rational, lost_rational
from ubudget.bench.two_points import build_two_points, inverse_two_points
from ubudget.quantity.expression import Expression, Symbol, apply
from ubudget.records.calibration import Calibration

CENTROID = "ordinate at the centroid"
ERRORS_IN_VARIABLES = "errors in variables"
"""The straight line where the standards are treated so; `curve` itself stays `line`."""
Column = Callable[[str], Symbol]
"""Reads a column of the fit from another table."""


@dataclass(frozen=True)
class Kind:
    """`build` adds columns to points and fits, `inverse` gives x for a reading, `lost` is 1 where no x exists."""

    name: str
    parameters: int
    build: Callable[[Fit], None]
    inverse: Callable[[Column, Symbol], Expression]
    lost: Callable[[Column, Symbol], Expression | None]
    of_levels: bool = False
    """Goes through the means of the standards whatever the method says of readings and means; no least squares."""


def _build_line(fit: Fit) -> None:
    points, fits = fit.points, fit.fits
    W, dx, dy = Symbol("W"), Symbol("dx"), Symbol("dy")
    points.formula("W dx", "W·d", fit.unit_x, W * dx)
    fits.formula("Sxx", "Sxx", "", fit.total("W dx", "dx"), "QUAM E.4")
    fits.formula("Sxy", "Sxy", "", fit.total("W dx", "dy"))
    slope, Sxx = Symbol("slope"), Symbol("Sxx")
    b = fit.own("slope")
    points.formula("fitted", "fitted", fit.unit_y, fit.own("y_mean") + b * (Symbol("x") - fit.own("mean of x")))
    points.formula("residual", "residual", fit.unit_y, Symbol("mark") * (dy - b * dx))
    add_scatter(fit, 2)
    centroid = Parameter("y_mean", CENTROID, "centroid", fit.unit_y, Symbol("mean of y"), "sum of weights", 1, 0)
    estimate = apply("ratio_or_zero", Symbol("Sxy"), Sxx)
    add_parameter(fit, centroid, b)
    add_parameter(fit, Parameter("slope", "slope b", "slope", fit.slope_unit(), estimate, "Sxx", dx, 1), b)
    mean, u_mean, u_slope = Symbol("mean of x"), Symbol("u(y_mean)"), Symbol("u(slope)")
    fits.formula("intercept", "intercept a", fit.unit_y, Symbol("y_mean") - slope * mean)
    u_intercept = apply("sqrt", u_mean**2 + mean**2 * u_slope**2)
    fits.formula("u(intercept)", "u(a)", fit.unit_y, u_intercept, "GUM H.3.3")
    fits.formula("cov(a, b)", "cov(a, b)", "", -(mean * u_slope**2), "GUM H.3.3")
    add_status(fit, 2, Sxx, slope)
    freeze_points(fit, "W dx", "fitted", "residual", "W residual")
    fits.freeze("Sxx", "Sxy")


def _inverse_line(column: Column, reading: Symbol) -> Expression:
    return column("mean of x") + apply("ratio_or_zero", reading - column("y_mean"), column("slope"))


def _build_through_zero(fit: Fit) -> None:
    points, fits = fit.points, fit.fits
    x, mark = Symbol("x"), Symbol("mark")
    points.formula("x if used", "x if used", fit.unit_x, mark * x)
    points.formula("y if used", "y if used", fit.unit_y, mark * Symbol("y"))
    fits.formula("Sxx", "sum of W·x²", "", fit.total("Wx", "x if used"))
    fits.formula("Sxy", "sum of W·x·y", "", fit.total("Wx", "y if used"))
    b = fit.own("slope")
    points.formula("fitted", "fitted", fit.unit_y, b * x)
    points.formula("residual", "residual", fit.unit_y, mark * (Symbol("y") - b * x))
    add_scatter(fit, 1)
    estimate = apply("ratio_or_zero", Symbol("Sxy"), Symbol("Sxx"))
    add_parameter(fit, Parameter("slope", "slope b", "slope", fit.slope_unit(), estimate, "Sxx", x, 1), b)
    add_status(fit, 1, Symbol("Sxx"), Symbol("slope"))
    freeze_points(fit, "x if used", "fitted", "residual", "W residual")
    fits.freeze("Sxx", "Sxy")


def _inverse_through_zero(column: Column, reading: Symbol) -> Expression:
    return apply("ratio_or_zero", reading, column("slope"))


def _build_quadratic(fit: Fit) -> None:
    points, fits = fit.points, fit.fits
    W, dx, dy, mark = Symbol("W"), Symbol("dx"), Symbol("dy"), Symbol("mark")
    top, bottom = apply("largest", fit.span("dx")), apply("smallest", fit.span("dx"))
    h = fits.formula("h", "half range h", fit.unit_x, apply("larger", top, -bottom))
    z = points.formula("z", "z = d/h", "", apply("ratio_or_zero", dx, fit.own("h")))
    points.formula("W z", "W·z", "", W * z)
    points.formula("z²", "z²", "", z**2)
    fits.formula("S1", "sum of W·z²", "", fit.total("W z", "z"))
    S1, S2 = Symbol("S1"), Symbol("S2")
    beta = fits.formula("β", "β", "", apply("ratio_or_zero", fit.total("W z", "z²"), S1))
    gamma = fits.formula("γ", "γ", "", apply("ratio_or_zero", S1, Symbol("sum of weights")))
    q = points.formula("q", "q = z(z - β) - γ", "", mark * (z * (z - fit.own("β")) - fit.own("γ")))
    points.formula("W q", "W·q", "", W * q)
    fits.formula("S2", "sum of W·q²", "", fit.total("W q", "q"))
    c1, c2 = fit.own("c1"), fit.own("c2")
    # Also where a point is left out, of which z and q are 0.
    at = apply("ratio_or_zero", Symbol("x") - fit.own("mean of x"), fit.own("h"))
    at_q = at * (at - fit.own("β")) - fit.own("γ")
    points.formula("fitted", "fitted", fit.unit_y, fit.own("y_mean") + c1 * at + c2 * at_q)
    points.formula("residual", "residual", fit.unit_y, mark * (dy - c1 * z - c2 * q))
    add_scatter(fit, 3)
    h_here = fit.own("h")
    per_x = apply("ratio_or_zero", 1, h_here)
    rise = c1 + c2 * (2 * z - fit.own("β"))
    steepness = points.formula("slope at the point", "df/dx", fit.slope_unit(), rise * per_x)
    estimate1 = apply("ratio_or_zero", fit.total("W z", "dy"), S1)
    estimate2 = apply("ratio_or_zero", fit.total("W q", "dy"), S2)
    turn = (2 * z - fit.own("β")) * per_x
    for parameter in (
        Parameter("y_mean", CENTROID, "centroid", fit.unit_y, Symbol("mean of y"), "sum of weights", 1, 0),
        Parameter("c1", "coefficient of z", "slope", fit.unit_y, estimate1, "S1", z, per_x),
        Parameter("c2", "coefficient of q", "curvature", fit.unit_y, estimate2, "S2", q, turn),
    ):
        add_parameter(fit, parameter, steepness)
    _raw_quadratic(fit, h, beta, gamma)
    # One branch: the slope keeps its sign from the lowest to the highest point used.
    ends = [Symbol("c1") + Symbol("c2") * (2 * end - beta) for end in _ends(fit, h)]
    falls = apply("if_less", ends[0] * ends[1], 0, NOT_MONOTONIC, 0)
    add_status(fit, 3, S2, Symbol("c1"), falls)
    freeze_points(fit, "z", "W z", "z²", "q", "W q", "fitted", "residual", "W residual", "slope at the point")
    fits.freeze("h", "S1", "S2", "β", "γ")
    fits.hold("h")


def _ends(fit: Fit, h: Symbol) -> tuple[Expression, Expression]:
    mean = Symbol("mean of x")
    low = apply("ratio_or_zero", Symbol("x_low") - mean, h)
    high = apply("ratio_or_zero", Symbol("x_high") - mean, h)
    return low, high


def _raw_quadratic(fit: Fit, h: Symbol, beta: Symbol, gamma: Symbol) -> None:
    """a, b and c of y = a + b x + c x², for reading only."""
    fits, mean = fit.fits, Symbol("mean of x")
    c = fits.formula("c of x²", "c of x²", fit.slope_unit(2), apply("ratio_or_zero", Symbol("c2"), h**2))
    at_mean = apply("ratio_or_zero", Symbol("c1") - Symbol("c2") * beta, h)
    fits.formula("b of x", "b of x", fit.slope_unit(), at_mean - 2 * c * mean)
    fits.formula("a", "a", fit.unit_y, Symbol("y_mean") - Symbol("c2") * gamma - at_mean * mean + c * mean**2)


def _quadratic_parts(column: Column, reading: Symbol) -> tuple[Expression, Expression, Expression]:
    c1, c2 = column("c1"), column("c2")
    B = c1 - c2 * column("β")
    C = -(reading - column("y_mean")) - c2 * column("γ")
    return B, C, B**2 - 4 * c2 * C


def _inverse_quadratic(column: Column, reading: Symbol) -> Expression:
    """The root that the straight line has when the curvature tends to zero: z = -2C/(B + sign(B) sqrt(D))."""
    B, C, D = _quadratic_parts(column, reading)
    root = apply("sqrt", apply("larger", D, 0))
    z = apply("ratio_or_zero", -2 * C, B + apply("sign", B) * root)
    return column("mean of x") + column("h") * z


def _lost_quadratic(column: Column, reading: Symbol) -> Expression:
    return apply("if_less", _quadratic_parts(column, reading)[2], 0, 1, 0)


def kind_of(calibration: Calibration) -> Kind:
    """The kind of a calibration: its curve, or the line with uncertain standards."""
    uncertain = calibration.standards == ERRORS_IN_VARIABLES
    return KINDS[ERRORS_IN_VARIABLES if uncertain else calibration.curve]


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("line", 2, _build_line, _inverse_line, lambda column, reading: None),
        Kind("line through zero", 1, _build_through_zero, _inverse_through_zero, lambda column, reading: None),
        Kind("two points", 2, build_two_points, inverse_two_points, lambda column, reading: None, of_levels=True),
        Kind(
            ERRORS_IN_VARIABLES,
            2,
            build_errors_in_variables,
            inverse_errors_in_variables,
            lambda column, reading: None,
            of_levels=True,
        ),
        Kind("rational", 3, build_rational, inverse_rational, lost_rational),
        Kind("quadratic", 3, _build_quadratic, _inverse_quadratic, _lost_quadratic),
    )
}
