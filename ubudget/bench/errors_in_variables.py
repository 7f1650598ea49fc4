"""Straight line with uncertain standards: errors in both variables (York 1966; ISO/TS 28037 clause 7).

Weights W = 1/(u_y² + b² u_x²) depend on the slope, which is found by a fixed number of steps that a sheet can hold. u_x
are the standards' own independent errors as the method states them, taken at the estimates; u_y is the scatter of a
level's mean. Errors that all standards share (the stock) are no part of u_x: they are carried through the fit by
implicit differentiation.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import USABLE
from ubudget.bench.fitting import BEYOND, NO_SLOPE, ONE_LEVEL, TOO_FEW, WITHOUT_WEIGHT, Fit, add_ordinate_gradient
from ubudget.bench.rational import NOT_CONVERGED, SMALL, STEP
from ubudget.quantity.expression import Expression, Symbol, apply, as_expression
from ubudget.quantity.graph import Trait

STEPS = 8
"""Each step takes off more than a factor of ten while u_x is a few per cent of the range; the last is checked."""
IN_TRIALS = 3
"""Steps that a trial of a simulation takes, the last ones, from the slope at the estimates."""


def build_errors_in_variables(fit: Fit) -> None:
    """Columns of points (level means with `u_x` and `u_y`) and of fits, and the tables of the steps."""
    points, fits = fit.points, fit.fits
    mark = points.formula("mark", "used (1 = yes)", "", Symbol("level used"))
    fits.formula("n", "levels used n", "", fit.total("mark"))
    points.formula("u_x squared", "u_x²", "", Symbol("u_x") ** 2)
    # 1 keeps 0/0 away where a level has no readings (its mark is 0) or no scatter (the status tells).
    points.formula("u_y if used", "u_y if used, else 1", "", apply("if_equal", mark, 1, Symbol("u_y"), 1))
    fits.formula("u_y_min", "smallest u_y", fit.unit_y, apply("smallest", fit.span("u_y if used")))
    scatters = Symbol("u_y if used")
    points.formula("u_y squared", "u_y²", "", apply("if_equal", scatters, 0, 1, scatters**2))
    points.formula("first weight", "1/u_y²", "", mark * apply("ratio_or_zero", 1, Symbol("u_y squared")))
    if not points.has("y"):
        points.formula("y", "mean", fit.unit_y, Symbol("mean"))
    for name, sign in (("low", 1), ("high", -1)):
        points.formula(
            f"x if used, {name}",
            f"x for the {name} end",
            fit.unit_x,
            apply("if_equal", mark, 1, Symbol("x"), sign * BEYOND),
        )
    fits.formula("x_low", "lowest x used", fit.unit_x, apply("smallest", fit.span("x if used, low")))
    fits.formula("x_high", "highest x used", fit.unit_x, apply("largest", fit.span("x if used, high")))
    previous = _step(fit, 0, None)
    for number in range(1, STEPS + 1):
        previous = _step(fit, number, previous)
    _parameters(fit, previous)


def _step(fit: Fit, number: int, previous: str | None) -> str:
    """The slope anew from the weights at the slope before; step 0 is the line weighted by 1/u_y²."""
    name = f"{STEP}{number}"
    title = f"Line with uncertain standards, step {number}" if number else "Line with uncertain standards, start"
    table = TableBuilder(name, title, fit.fits.size, fit.context.shared)
    table.label("fit", "line", list(fit.names))
    rows = np.arange(fit.fits.size)

    def span(column: str) -> Symbol:
        return table.span(f"all {column}", fit.points.name, column, fit.start, fit.stop)

    x, y, ux2, uy2, mark = (span(c) for c in ("x", "y", "u_x squared", "u_y squared", "mark"))
    if previous is None:
        before: Expression | None = None
        W: Expression = span("first weight")
    else:
        before = table.pick("b before", previous, "b", rows)
        W = mark / (uy2 + before**2 * ux2)
    total = table.formula("sum of W", "sum of W", "", apply("total_of", W))
    x_mean = table.formula(
        "mean of x", "mean of x", fit.unit_x, apply("ratio_or_zero", apply("total_of", W * x), total)
    )
    y_mean = table.formula(
        "mean of y", "mean of y", fit.unit_y, apply("ratio_or_zero", apply("total_of", W * y), total)
    )
    U, V = x - x_mean, y - y_mean
    beta = U if before is None else W * (U * uy2 + before * V * ux2)
    above = table.formula("sum of W·β·V", "sum of W·β·V", "", apply("total_of", W * beta * V))
    below = table.formula("sum of W·β·U", "sum of W·β·U", "", apply("total_of", W * beta * U))
    b = table.formula("b", "slope b", fit.slope_unit(), apply("ratio_or_zero", above, below), "York 1966")
    change = b if before is None else b - before
    table.formula(
        "relative change", "relative change of b", "", apply("ratio_or_zero", apply("abs", change), apply("abs", b))
    )
    if number == STEPS - IN_TRIALS:
        table.hold("b")
    fit.context.tables[name] = table.build()
    return name


def _parameters(fit: Fit, last: str) -> None:
    """Slope, and ordinate at the weighted mean of the adjusted abscissas: uncorrelated there (York et al. 2004)."""
    points, fits = fit.points, fit.fits
    rows = np.arange(fits.size)

    def found(column: str) -> Symbol:
        return fits.pick(f"{column} of the last step", last, column, rows)

    mark, x, y = Symbol("mark"), Symbol("x"), Symbol("y")
    b = points.pick("b of the fit", last, "b", fit.owner)
    W = points.formula("W", "weight W", "", mark / (Symbol("u_y squared") + b**2 * Symbol("u_x squared")))
    x_mean, y_mean = (points.pick(f"mean of {v}", last, f"mean of {v}", fit.owner) for v in "xy")
    U = points.formula("U", "x - mean", fit.unit_x, mark * (x - x_mean))
    V = points.formula("V", "y - mean", fit.unit_y, mark * (y - y_mean))
    points.formula("fitted", "fitted", fit.unit_y, y_mean + b * (x - x_mean))
    r = points.formula("residual", "residual", fit.unit_y, V - b * U)
    beta = points.formula("β", "β", "", W * (U * Symbol("u_y squared") + b * V * Symbol("u_x squared")))
    points.formula("W β", "W·β", "", W * beta)
    total = fits.formula("sum of weights", "sum of W", "", fit.total("W"))
    shift = fits.formula("mean of β", "mean of β", fit.unit_x, apply("ratio_or_zero", fit.total("W β"), total))
    fits.formula("mean of x", "mean of x, adjusted", fit.unit_x, found("mean of x") + shift)
    about = points.pick("mean of β of the fit", fits.name, "mean of β", fit.owner)
    points.formula("about", "β - mean", fit.unit_x, mark * (beta - about))
    points.formula("W about", "W·(β - mean)", "", W * Symbol("about"))
    squares = fits.formula("Sxx", "sum of W·(β - mean)²", "", fit.total("W about", "about"))
    points.formula("W residual", "W·residual", "", W * r)
    chi = fits.formula("chi squared", "chi-squared", "", fit.total("W residual", "residual"), "ISO/TS 28037 clause 7")
    dof = fits.formula("dof", "degrees of freedom n - 2", "", apply("larger", Symbol("n") - 2, 1))
    fits.formula("p chi squared", "probability of such a chi-squared", "", apply("chi_upper", chi, dof))
    _gradients(fit, b, W, U, r)
    ordinate = found("mean of y") + found("b") * shift
    for column, heading, estimate, own, words in (
        ("y_mean", "ordinate at the adjusted mean", ordinate, total, "centroid"),
        ("slope", "slope b", found("b"), squares, "slope"),
    ):
        unit = fit.unit_y if column == "y_mean" else fit.slope_unit()
        fits.formula(column, heading, unit, estimate, "York 1966")
        fits.formula(
            f"u({column})", f"u({heading})", unit, apply("ratio_or_zero", 1, apply("sqrt", own)), "York et al. 2004"
        )
        fits.implicit(column, points.name, "x", f"∂{column}/∂x", fit.start, fit.stop)
        trait = Trait(
            f"{fit.symbol}.{words}", f"{words} of the calibration curve", fit.group, "B", "normal", "u of the points"
        )
        # Levels that scatter by their own pooled s lend its degrees of freedom to both parameters.
        pooled = fits.has("dof of s")
        estimates = [("levels", fits.name, name) for name in fit.names] if pooled else None
        fits.leaf(column, f"u({column})", [trait] * fits.size, dof="dof of s" if pooled else None, estimates=estimates)
    converged = apply("if_less", SMALL, found("relative change"), NOT_CONVERGED, 0)
    slope = apply("if_equal", Symbol("slope"), 0, NO_SLOPE, converged)
    levels = apply("if_equal", squares, 0, ONE_LEVEL, slope)
    status = apply("if_less", Symbol("n"), 2.5, TOO_FEW, levels)
    status = apply("if_less", 0, Symbol("u_y_min"), status, WITHOUT_WEIGHT)
    if fits.has("dof of s"):
        # No s of one reading where no level has two.
        status = apply("if_less", fit.total("readings") - fit.total("level used"), 0.5, TOO_FEW, status)
    fits.formula("status", USABLE, "", status)
    fits.hold("status")
    frozen = ("first weight", "W", "U", "V", "fitted", "residual", "β", "W β", "about", "W about", "W residual")
    points.freeze(*frozen, "x if used, low", "x if used, high", "u_x", "u_x squared", "u_y if used")
    points.hold("u_x squared", "u_y squared", "first weight")
    fits.freeze(
        "sum of weights", "mean of β", "mean of x", "Sxx", "chi squared", "p chi squared", "x_low", "x_high", "u_y_min"
    )


def _gradients(fit: Fit, b: Symbol, W: Symbol, U: Symbol, r: Symbol) -> None:
    """dp/dx = H^-1 g, g = (-bW, Wr - bWU - 2b²r u_x² W²), H the Hessian of half chi-squared by ordinate and slope."""
    points, fits = fit.points, fit.fits
    ux2 = Symbol("u_x squared")
    points.formula("W u_x²", "W²·u_x²", "", W**2 * ux2)
    moved = Symbol("W u_x²")
    summands = {
        "Hab": W * U + 2 * b * moved * r,
        "Hbb": W * U**2 + 4 * b * moved * r * U - moved * r**2 + 4 * b**2 * moved * W * ux2 * r**2,
    }
    for name, summand in summands.items():
        points.formula(f"{name} part", f"{name}, part", "", summand)
        fits.formula(name, name, "", fit.total(f"{name} part"))
    fits.formula("H determinant", "H determinant", "", Symbol("sum of weights") * Symbol("Hbb") - Symbol("Hab") ** 2)
    ga = -(b * W)
    gb = W * r - b * W * U - 2 * b**2 * r * moved
    determinant = fit.own("H determinant")
    at_x_mean = apply("ratio_or_zero", fit.own("Hbb") * ga - fit.own("Hab") * gb, determinant)
    slope = points.formula(
        "∂slope/∂x",
        "∂b/∂x",
        "",
        apply("ratio_or_zero", fit.own("sum of weights") * gb - fit.own("Hab") * ga, determinant),
    )
    # The ordinate is taken at the adjusted mean, the Hessian at the mean itself.
    points.formula("∂y_mean/∂x", "∂(ordinate)/∂x", "", at_x_mean + slope * fit.own("mean of β"))
    if fit.uncertain_y:
        # By y: g = (W, WU + 2 b r u_x² W²).
        ga, gb = as_expression(W), W * U + 2 * b * r * moved
        at_x_mean = apply("ratio_or_zero", fit.own("Hbb") * ga - fit.own("Hab") * gb, determinant)
        steeper = apply("ratio_or_zero", fit.own("sum of weights") * gb - fit.own("Hab") * ga, determinant)
        add_ordinate_gradient(fit, "slope", "b", steeper)
        add_ordinate_gradient(fit, "y_mean", "ordinate", at_x_mean + Symbol("∂slope/∂y") * fit.own("mean of β"))
    points.freeze("W u_x²", "Hab part", "Hbb part")
    fits.freeze("Hab", "Hbb", "H determinant")


def inverse_errors_in_variables(column: Callable[[str], Symbol], reading: Symbol) -> Expression:
    return column("mean of x") + apply("ratio_or_zero", reading - column("y_mean"), column("slope"))
