"""Least squares through the points of a table, one fit for each row of another: what all kinds of curve share.

Abscissa and ordinate are taken from their weighted means: a rounding of a mean enters slope and curvature in second
order only. Weights are relative to the largest of their fit. A kind adds its own columns.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import COUNTED, USABLE, Context
from ubudget.quantity.derivative import derivative
from ubudget.quantity.expression import ZERO, Expression, Number, Operand, Symbol, apply, as_expression
from ubudget.quantity.graph import Rows, Trait
from ubudget.quantity.units import per

BEYOND = 1e99
TOO_FEW, ONE_LEVEL, NO_SLOPE, NOT_MONOTONIC, WITHOUT_WEIGHT = 1, 2, 3, 4, 8
"""Status of a fit; 0 = usable."""


@dataclass(frozen=True, eq=False)
class Fit:
    """Builders of both tables, which points belong to which fit, and what is declared about the scatter."""

    context: Context
    points: TableBuilder
    fits: TableBuilder
    owner: Sequence[int]
    start: Rows
    stop: Rows
    unit_x: str
    unit_y: str
    names: Sequence[str]
    symbol: str
    group: str
    known_scatter: bool = False
    what: str = "the calibration curve"
    uncertain_y: bool = False
    """Whether ordinates rest on input quantities as well, as readings corrected by volumes do. Weights that depend on
    the ordinate have no part in their derivatives."""
    mark: str = COUNTED
    """What the method says of the scatter about the fit."""

    def span(self, column: str) -> Symbol:
        """A column of the points, as a range of each fit."""
        return self.fits.span(f"all {column}", self.points.name, column, self.start, self.stop)

    def own(self, column: str) -> Symbol:
        """A column of the fit, as each of its points reads it."""
        return self.points.pick(f"{column} of the fit", self.fits.name, column, self.owner)

    def total(self, *columns: str) -> Expression:
        """Sum over the points of a column, or of the product of two."""
        if len(columns) == 1:
            return apply("total", self.span(columns[0]))
        return apply("total_product", self.span(columns[0]), self.span(columns[1]))

    def slope_unit(self, power: int = 1) -> str:
        return per(self.unit_y, self.unit_x, power)


def add_common(fit: Fit, x: Symbol, y: Symbol, mark: Symbol, weight: Operand | None) -> None:
    """Of the points: mark, weight W, deviations from the weighted means. Of the fits: n, sum of weights, means."""
    points, fits = fit.points, fit.fits
    if weight is None:
        points.formula("W", "weight W", "", mark)
    else:
        points.formula("w", "weight by the rule", "", weight)
        points.formula("w used", "weight of a point used", "", mark * Symbol("w"))
        fits.formula("w_max", "largest weight", "", apply("largest", fit.span("w used")))
        points.formula("W", "weight W", "", apply("ratio_or_zero", Symbol("w used"), fit.own("w_max")))
        points.formula("W if used", "W if used, else 1", "", apply("if_equal", mark, 1, Symbol("W"), 1))
        fits.formula("W_min", "smallest weight W", "", apply("smallest", fit.span("W if used")))
        rise = derivative(as_expression(weight), "x")
        if rise != ZERO:
            points.formula("dW/dx", "dW/dx", "", apply("ratio_or_zero", mark * rise, fit.own("w_max")))
            points.freeze("dW/dx")
    W = Symbol("W")
    fits.formula("n", "points used n", "", fit.total("mark"))
    fits.formula("sum of weights", "sum of W", "", fit.total("W"))
    total = Symbol("sum of weights")
    points.formula("mark", "used (1 = yes)", "", mark)
    for name, variable, unit in (("x", x, fit.unit_x), ("y", y, fit.unit_y)):
        points.formula(f"W{name}", f"W·{name}", unit, W * variable)
        mean = apply("ratio_or_zero", fit.total(f"W{name}"), total)
        fits.formula(f"mean of {name}", f"mean of {name}", unit, mean)
        points.formula(f"d{name}", f"{name} - mean", unit, mark * (variable - fit.own(f"mean of {name}")))
    points.formula("x if used, low", "x for the lower end", fit.unit_x, apply("if_equal", mark, 1, x, BEYOND))
    points.formula("x if used, high", "x for the upper end", fit.unit_x, apply("if_equal", mark, 1, x, -BEYOND))
    fits.formula("x_low", "lowest x used", fit.unit_x, apply("smallest", fit.span("x if used, low")))
    fits.formula("x_high", "highest x used", fit.unit_x, apply("largest", fit.span("x if used, high")))


def add_scatter(fit: Fit, parameters: int) -> Symbol:
    """Residual standard deviation s of a point of weight 1, from the column `residual`; gives s.

    Known scatter: weights are 1/s^2 of each point, so s is 1/sqrt(largest weight) (ISO/TS 28037 clause 6)."""
    points, fits = fit.points, fit.fits
    points.formula("W residual", "W·residual", fit.unit_y, Symbol("W") * Symbol("residual"))
    sets = fit.context.planned.standard_sets
    n: Expression = Symbol("n") if sets == 1 else Symbol("n") / sets
    fits.formula("dof", f"degrees of freedom n - {parameters}", "", apply("larger", n - parameters, 1))
    squares = fits.formula("sum of squares", "sum of W·residual²", "", fit.total("W residual", "residual"))
    # A plan with several equal sets of standards keeps s and degrees of freedom of the one recorded.
    of_one: Expression = squares if sets == 1 else squares / sets
    s = fits.formula("s", "residual s", fit.unit_y, apply("sqrt", of_one / Symbol("dof")), "QUAM E.4")
    if not fit.known_scatter:
        return s
    chi = fits.formula("chi squared", "chi-squared", "", Symbol("w_max") * squares, "ISO/TS 28037 clause 6")
    fits.formula("p chi squared", "probability of such a chi-squared", "", apply("chi_upper", chi, Symbol("dof")))
    fits.freeze("chi squared", "p chi squared")
    return fits.formula(
        "s known", "s of a point of weight 1", fit.unit_y, 1 / apply("sqrt", Symbol("w_max")), "ISO/TS 28037 clause 6"
    )


@dataclass(frozen=True)
class Scatter:
    """The s of a point of weight 1 that the uncertainty of the parameters rests on: columns of the fits. Infinitely
    many degrees of freedom where `dof` is None."""

    s: str
    dof: str | None
    source: str = "residuals of the fit"


def scatter_columns(names: Container[str], known: bool) -> Scatter:
    """What the parameters of a fit and readings of unknowns scatter by, from the names of the fits' columns."""
    if known:
        return Scatter("s known", "dof known" if "dof known" in names else None, "weights of the fit")
    if "s within" in names:
        return Scatter("s within", "dof within", "scatter within levels")
    return Scatter("s", "dof")


@dataclass(frozen=True)
class Parameter:
    """A parameter of a fit in an orthogonal basis: its column, heading, words for the budget, unit and estimate.

    `squares` is the weighted sum of squares of its basis function, `basis` that function at a point, `basis_slope` its
    derivative with respect to x."""

    column: str
    heading: str
    words: str
    unit: str
    estimate: Operand
    squares: str
    basis: Operand
    basis_slope: Operand


def add_parameter(fit: Fit, parameter: Parameter, steepness: Operand) -> None:
    """The parameter with u = s/sqrt(squares): an input quantity of its own. The bases are orthogonal, so parameters of
    one fit are uncorrelated as to scatter.

    Its derivative with respect to the x of a point, by differentiating the normal equations at the solution:
    (W (r g' - f' g) + r g W')/squares, g the basis function, f' the curve's slope (`steepness`), W' the derivative of
    a weight that depends on x. With respect to y it is W g/squares.
    """
    fits, points = fit.fits, fit.points
    column, heading = parameter.column, parameter.heading
    fits.formula(column, heading, parameter.unit, parameter.estimate, "least squares")
    scatter = scatter_columns(fits.names, fit.known_scatter)
    squares: Expression = Symbol(parameter.squares)
    if fit.context.planned.standard_readings != 1:
        squares = squares * fit.context.planned.standard_readings
    counted = fit.mark == COUNTED
    u = apply("ratio_or_zero", Symbol(scatter.s), apply("sqrt", squares)) if counted else Number(0)
    fits.formula(f"u({column})", f"u({heading})", parameter.unit, u, "QUAM E.4")
    moved = Symbol("W") * (Symbol("residual") * parameter.basis_slope - steepness * parameter.basis)
    if points.has("dW/dx"):
        moved = moved + Symbol("residual") * parameter.basis * Symbol("dW/dx")
    gradient = apply("ratio_or_zero", moved, fit.own(parameter.squares))
    points.formula(f"∂{column}/∂x", f"∂({heading})/∂x", "", gradient, "implicit differentiation")
    fits.implicit(column, points.name, "x", f"∂{column}/∂x", fit.start, fit.stop)
    if fit.uncertain_y:
        lifted = apply("ratio_or_zero", Symbol("W") * parameter.basis, fit.own(parameter.squares))
        add_ordinate_gradient(fit, column, heading, lifted)
    name, words = f"{fit.symbol}.{parameter.words}", f"{parameter.words} of {fit.what}"
    trait = Trait(name, words, fit.group, "A", "t", scatter.source if counted else fit.mark)
    dof = scatter.dof if counted else None
    fits.leaf(
        column,
        f"u({column})",
        [trait] * fits.size,
        dof=dof,
        estimates=None if dof is None else [scatter_estimate(fits.name, name) for name in fit.names],
    )


def scatter_estimate(fits: str, name: str) -> tuple[str, str, str]:
    """Key of the variance estimate that is the residual s of one fit."""
    return ("residual", fits, name)


def add_ordinate_gradient(fit: Fit, column: str, heading: str, gradient: Expression) -> None:
    """Column of the derivative of a parameter with respect to the y of a point; weights do not depend on y."""
    name = f"∂{column}/∂y"
    fit.points.formula(name, f"∂({heading})/∂y", "", gradient, "implicit differentiation")
    fit.fits.implicit(column, fit.points.name, "y", name, fit.start, fit.stop)


def add_status(fit: Fit, parameters: int, spread: Operand, slope: Operand, monotonic: Operand | None = None) -> None:
    """Status of each fit: enough points, more than one level, a slope, and one branch in the range."""
    branch: Operand = 0 if monotonic is None else monotonic
    with_slope = apply("if_equal", slope, 0, NO_SLOPE, branch)
    with_levels = apply("if_equal", spread, 0, ONE_LEVEL, with_slope)
    status = apply("if_less", Symbol("n"), parameters + 0.5, TOO_FEW, with_levels)
    fit.fits.formula("status", USABLE, "", with_scatter(fit, status))
    fit.fits.hold("status")


def with_scatter(fit: Fit, status: Expression) -> Expression:
    """A status, and what the scatter needs as well: a weight above zero for each point used of a weighted fit, and a
    level with two readings where the scatter is that within levels."""
    if fit.fits.has("W_min"):
        status = apply("if_less", 0, Symbol("W_min"), status, WITHOUT_WEIGHT)
    if fit.fits.has("s within"):
        status = apply("if_less", Symbol("dof pure"), 0.5, TOO_FEW, status)
    return status


BASIS = ("sum of weights", "mean of x", "mean of y")
"""Columns of every fit that are constants of propagation; gradients hold their part."""


POINT_DETAILS = (
    "w",
    "w used",
    "W if used",
    "dW/dx",
    "Wx",
    "Wy",
    "dx",
    "dy",
    "x if used, low",
    "x if used, high",
    "W residual",
    "reading used",
    "from level mean",
)
FIT_DETAILS = (*BASIS, "w_max", "W_min", "sum of squares", "pure error", "dof lack", "dof pure")


def freeze_points(fit: Fit, *columns: str) -> None:
    """Columns of the points and of the fit that depend on x only as the basis of the fit."""
    fit.points.freeze(
        "Wx",
        "dx",
        "Wy",
        "dy",
        "x if used, low",
        "x if used, high",
        "w",
        "w used",
        "W if used",
        "W",
        *columns,
    )
    fit.fits.freeze(*BASIS, "x_low", "x_high", "w_max", "W_min", "s", "s known", "sum of squares")
    fit.fits.hold("x_low", "x_high")
    shown = {"fitted", "residual", "W"}
    gradients = [name for name in fit.points.names if name.startswith("∂")]
    fit.points.demote(*POINT_DETAILS, *(name for name in columns if name not in shown), *gradients)
    fit.fits.demote(*FIT_DETAILS, "Sxx", "Sxy", "h", "k", "S1", "S2", "β", "γ")
