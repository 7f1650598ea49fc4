"""Rational curve y = (a + b x)/(1 + c x), fitted by a fixed number of steps that a sheet can hold.

Scaled as e = (A + B z)/(1 + C z) with z = (x - mean)/h and e = (y - mean)/k, a form closed under shifts of x and y. The
start is the linear regression of e on 1, z and -z e; two Gauss-Newton and four Newton steps follow, each a table of its
own. The last step must be small, or the curve is not used. Common practice, no source, for the form of the curve.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import USABLE
from ubudget.bench.fitting import (
    NO_SLOPE,
    ONE_LEVEL,
    TOO_FEW,
    Fit,
    add_ordinate_gradient,
    add_scatter,
    freeze_points,
    scatter_columns,
    scatter_estimate,
    with_scatter,
)
from ubudget.quantity.expression import Expression, Operand, Symbol, apply
from ubudget.quantity.graph import Joint, Trait

STEP = "fit step "
"""Beginning of the names of the tables of steps."""
GAUSS_NEWTON, NEWTON = 2, 4
IN_TRIALS = 2
"""Steps that a trial of a simulation takes, the last ones, from the fit at the estimates."""
SMALL = 1e-8
"""Largest last step, relative to the size of the scaled parameters, of a fit that has converged: the next Newton step
would then be below 1e-15."""
POLE, NOT_CONVERGED = 5, 6
NAMES = ("A", "B", "C")

Matrix = dict[tuple[int, int], Expression]


def build_rational(fit: Fit) -> None:
    """Columns of points and fits for the rational curve, and the tables of its steps."""
    _scale(fit)
    previous = _start(fit)
    for number in range(1, GAUSS_NEWTON + NEWTON + 1):
        previous = _step(fit, number, previous, newton=number > GAUSS_NEWTON)
    end = _end(fit, previous)
    _curve(fit, end)


def _scale(fit: Fit) -> None:
    points, fits = fit.points, fit.fits
    top, bottom = apply("largest", fit.span("dx")), apply("smallest", fit.span("dx"))
    fits.formula("h", "half range h", fit.unit_x, apply("larger", top, -bottom))
    points.formula("z", "z = (x - mean)/h", "", apply("ratio_or_zero", Symbol("dx"), fit.own("h")))
    points.formula("W dy", "W·(y - mean)", fit.unit_y, Symbol("W") * Symbol("dy"))
    square = apply("ratio_or_zero", fit.total("W dy", "dy"), Symbol("sum of weights"))
    fits.formula("k", "scale k of y", fit.unit_y, apply("sqrt", square))
    points.formula("e", "e = (y - mean)/k", "", apply("ratio_or_zero", Symbol("dy"), fit.own("k")))
    points.formula("W z", "W·z", "", Symbol("W") * Symbol("z"))
    fits.formula("S1", "sum of W·z²", "", fit.total("W z", "z"))


def _table(fit: Fit, name: str, title: str) -> tuple[TableBuilder, Callable[[str], Symbol]]:
    """A table with one row a fit, and its reader of the points."""
    table = TableBuilder(name, title, fit.fits.size, fit.context.shared)
    table.label("fit", "curve", list(fit.names))

    def span(column: str) -> Symbol:
        return table.span(f"all {column}", fit.points.name, column, fit.start, fit.stop)

    return table, span


def _start(fit: Fit) -> str:
    """Regression of e on 1, z and -z e."""
    name = f"{STEP}0"
    table, span = _table(fit, name, "Rational curve, start: regression of e on 1, z and -z·e")
    W, z, e = span("W"), span("z"), span("e")
    matrix = {(0, 0): W, (0, 1): W * z, (0, 2): -(W * z * e), (1, 1): W * z * z, (1, 2): -(W * z * z * e)}
    matrix[2, 2] = W * z * z * e * e
    right = (W * e, W * z * e, -(W * z * e * e))
    add_solution(table, matrix, right, (0, 0, 0))
    fit.context.tables[name] = table.build()
    return name


def _step(fit: Fit, number: int, previous: str, *, newton: bool) -> str:
    """One step from the parameters of the table before."""
    name = f"{STEP}{number}"
    kind = "Newton" if newton else "Gauss-Newton"
    table, span = _table(fit, name, f"Rational curve, {kind} step {number}")
    rows = np.arange(fit.fits.size)
    before = [table.pick(f"{parameter} before", previous, parameter, rows) for parameter in NAMES]
    matrix, right = _normal(span, before, newton=newton)
    add_solution(table, matrix, right, before)
    if number == GAUSS_NEWTON + NEWTON - IN_TRIALS:
        table.hold(*NAMES)
    fit.context.tables[name] = table.build()
    return name


def _normal(
    span: Callable[[str], Symbol], parameters: Sequence[Symbol], *, newton: bool
) -> tuple[Matrix, tuple[Expression, Expression, Expression]]:
    """Summands of the normal matrix (Gauss-Newton) or the full Hessian (Newton), and of its right side."""
    A, B, C = parameters
    W, z, e = span("W"), span("z"), span("e")
    t = 1 / (1 + C * z)
    f = (A + B * z) * t
    r = e - f
    matrix = {(0, 0): W * t**2, (0, 1): W * z * t**2, (1, 1): W * z**2 * t**2}
    if newton:
        matrix[0, 2] = -(W * z * t**2 * (f - r))
        matrix[1, 2] = -(W * z**2 * t**2 * (f - r))
        matrix[2, 2] = W * z**2 * t**2 * f * (f - 2 * r)
    else:
        matrix[0, 2] = -(W * z * t**2 * f)
        matrix[1, 2] = -(W * z**2 * t**2 * f)
        matrix[2, 2] = W * z**2 * t**2 * f**2
    return matrix, (W * t * r, W * z * t * r, -(W * z * f * t * r))


def _sums(table: TableBuilder, matrix: Matrix, letter: str) -> dict[tuple[int, int], Symbol]:
    return {
        (i, j): table.formula(f"{letter}{i + 1}{j + 1}", f"{letter}{i + 1}{j + 1}", "", apply("total_of", summand))
        for (i, j), summand in sorted(matrix.items())
    }


def _inverse(table: TableBuilder, M: dict[tuple[int, int], Symbol], letter: str) -> dict[tuple[int, int], Symbol]:
    """Inverse of a symmetric 3 by 3 matrix by cofactors; zero where it is singular."""

    def cofactor(name: str, expression: Expression) -> Symbol:
        return table.formula(f"{letter} cofactor {name}", f"{letter} cofactor {name}", "", expression)

    c = {
        (0, 0): cofactor("11", M[1, 1] * M[2, 2] - M[1, 2] ** 2),
        (0, 1): cofactor("12", M[0, 2] * M[1, 2] - M[0, 1] * M[2, 2]),
        (0, 2): cofactor("13", M[0, 1] * M[1, 2] - M[0, 2] * M[1, 1]),
        (1, 1): cofactor("22", M[0, 0] * M[2, 2] - M[0, 2] ** 2),
        (1, 2): cofactor("23", M[0, 1] * M[0, 2] - M[0, 0] * M[1, 2]),
        (2, 2): cofactor("33", M[0, 0] * M[1, 1] - M[0, 1] ** 2),
    }
    determinant = table.formula(
        f"{letter} determinant",
        f"{letter} determinant",
        "",
        M[0, 0] * c[0, 0] + M[0, 1] * c[0, 1] + M[0, 2] * c[0, 2],
    )
    return {
        (i, j): table.formula(
            f"{letter} inverse {i + 1}{j + 1}",
            f"{letter} inverse {i + 1}{j + 1}",
            "",
            apply("ratio_or_zero", value, determinant),
        )
        for (i, j), value in c.items()
    }


def add_solution(table: TableBuilder, matrix: Matrix, right: Sequence[Expression], before: Sequence[Operand]) -> None:
    """Columns A, B, C: the parameters before plus the solution of the normal equations."""
    inverse = _inverse(table, _sums(table, matrix, "N"), "N")
    g = [
        table.formula(f"g{number + 1}", f"g{number + 1}", "", apply("total_of", summand))
        for number, summand in enumerate(right)
    ]
    for row, name in enumerate(NAMES):
        parts = [inverse[min(row, column), max(row, column)] * g[column] for column in range(3)]
        change = table.formula(f"change of {name}", f"change of {name}", "", parts[0] + parts[1] + parts[2])
        table.formula(name, name, "", before[row] + change)


def _end(fit: Fit, last: str) -> str:
    """At the solution: inverse of the normal matrix (covariance) and of the full Hessian (gradients)."""
    name = f"{STEP}end"
    table, span = _table(fit, name, "Rational curve, at the solution")
    rows = np.arange(fit.fits.size)
    parameters = [table.pick(f"{parameter} found", last, parameter, rows) for parameter in NAMES]
    for parameter, found in zip(NAMES, parameters, strict=True):
        table.formula(parameter, parameter, "", found)
    _inverse(table, _sums(table, _normal(span, parameters, newton=False)[0], "N"), "N")
    _inverse(table, _sums(table, _normal(span, parameters, newton=True)[0], "H"), "H")
    changes = [apply("abs", table.pick(f"last change of {p}", last, f"change of {p}", rows)) for p in NAMES]
    size = apply("larger", apply("larger", apply("abs", parameters[0]), apply("abs", parameters[1])), 1)
    largest = apply("larger", apply("larger", changes[0], changes[1]), changes[2])
    table.formula("last step", "last step, relative", "", largest / size)
    table.freeze(*(f"{letter} inverse {i}{j}" for letter in "NH" for i, j in _PAIRS), "last step")
    fit.context.tables[name] = table.build()
    return name


_PAIRS = ((1, 1), (1, 2), (1, 3), (2, 2), (2, 3), (3, 3))


def _curve(fit: Fit, end: str) -> None:
    points, fits = fit.points, fit.fits
    rows = np.arange(fits.size)
    W, z, mark = Symbol("W"), Symbol("z"), Symbol("mark")
    found = {name: fits.pick(f"{name} at the end", end, name, rows) for name in NAMES}
    A, B, C = (fit.own(name) for name in NAMES)
    t = points.formula("t", "t = 1/(1 + C z)", "", apply("ratio_or_zero", 1, 1 + C * z))
    f = points.formula("f", "f = (A + B z) t", "", (A + B * z) * t)
    # Also where a point is left out, of which z is 0.
    at = apply("ratio_or_zero", Symbol("x") - fit.own("mean of x"), fit.own("h"))
    fitted = fit.own("mean of y") + fit.own("k") * apply("ratio_or_zero", A + B * at, 1 + C * at)
    points.formula("fitted", "fitted", fit.unit_y, fitted)
    points.formula("residual", "residual", fit.unit_y, mark * (Symbol("dy") - fit.own("k") * f))
    r = points.formula("r", "r = e - f", "", mark * (Symbol("e") - f))
    add_scatter(fit, 3)
    scatter = scatter_columns(fits.names, fit.known_scatter)
    dof = scatter.dof
    scaled = fits.formula("s scaled", "s/k", "", apply("ratio_or_zero", Symbol(scatter.s), Symbol("k")))

    def at_end(name: str) -> Symbol:
        return fits.pick(f"{name} at the end", end, name, rows)

    # Gradient dp/dx = H^-1 (W (r J' - f' J) + r J W')/h, J the derivatives of f by the parameters.
    turn = B - A * C
    rise = turn * t**2
    J = (t, z * t, -(z * f * t))
    J_rise = (-(C * t**2), t**2, -(t**2 * (f + z * t * turn)))
    per_x = apply("ratio_or_zero", 1, fit.own("h"))
    moved = []
    for number in range(3):
        term: Expression = W * (r * J_rise[number] - rise * J[number]) * per_x
        if points.has("dW/dx"):
            term = term + r * J[number] * Symbol("dW/dx")
        moved.append(points.formula(f"m{number + 1}", f"m{number + 1}", "", term))
    for number, name in enumerate(NAMES):
        fits.formula(name, name, "", found[name], "six steps from a linear start")
        own = at_end(f"N inverse {number + 1}{number + 1}")
        u = scaled * apply("sqrt", apply("larger", own, 0))
        fits.formula(f"u({name})", f"u({name})", "", u, "GUM 5.2, Gauss-Newton matrix")
        entries = [fit.own(_inverse_column(fits, end, rows, number, other)) for other in range(3)]
        gradient = entries[0] * moved[0] + entries[1] * moved[1] + entries[2] * moved[2]
        points.formula(f"∂{name}/∂x", f"∂{name}/∂x", "", gradient, "implicit differentiation")
        fits.implicit(name, points.name, "x", f"∂{name}/∂x", fit.start, fit.stop)
        if fit.uncertain_y:
            rise = W * (entries[0] * J[0] + entries[1] * J[1] + entries[2] * J[2])
            add_ordinate_gradient(fit, name, name, apply("ratio_or_zero", rise, fit.own("k")))
        words = f"parameter {name} of the calibration curve"
        trait = Trait(f"{fit.symbol}.{name}", words, fit.group, "A", "t", scatter.source)
        fits.leaf(
            name,
            f"u({name})",
            [trait] * fits.size,
            dof=dof,
            estimates=None if dof is None else [scatter_estimate(fits.name, fit_name) for fit_name in fit.names],
        )
    _correlations(fit, at_end)
    _shown(fit)
    _status(fit, at_end("last step"))
    freeze_points(fit, "z", "W dy", "e", "W z", "t", "f", "fitted", "residual", "r", "W residual", "m1", "m2", "m3")
    fits.freeze("h", "k", "S1", "s scaled")
    fits.hold("h", "k")


def _inverse_column(fits: TableBuilder, end: str, rows: np.ndarray, row: int, column: int) -> str:
    """The Hessian's inverse, as a column of the fits that points can read."""
    i, j = sorted((row + 1, column + 1))
    name = f"H inverse {i}{j}"
    if not fits.has(name):
        fits.formula(name, name, "", fits.pick(f"{name} at the end", end, name, rows))
        fits.freeze(name)
    return name


def _correlations(fit: Fit, at_end: Callable[[str], Symbol]) -> None:
    """The three parameters of one curve are correlated (GUM 5.2)."""
    fits = fit.fits
    for a, b in ((0, 1), (0, 2), (1, 2)):
        name = f"r({NAMES[a]}, {NAMES[b]})"
        own = at_end(f"N inverse {a + 1}{a + 1}") * at_end(f"N inverse {b + 1}{b + 1}")
        root = apply("sqrt", apply("larger", own, 0))
        fits.formula(name, name, "", apply("ratio_or_zero", at_end(f"N inverse {a + 1}{b + 1}"), root))
        for row in range(fits.size):
            sides = ((fits.name, NAMES[a], row), (fits.name, NAMES[b], row))
            fit.context.joints.append(Joint(sides[0], sides[1], fits.name, name, row))


def _shown(fit: Fit) -> None:
    """a, b and c of y = (a + b x)/(1 + c x), for reading only."""
    fits = fit.fits
    A, B, C, h, k = (Symbol(name) for name in ("A", "B", "C", "h", "k"))
    mean_x, mean_y = Symbol("mean of x"), Symbol("mean of y")
    base = fits.formula("1 - C·mean/h", "1 - C·mean/h", "", 1 - C * apply("ratio_or_zero", mean_x, h))
    per_h = apply("ratio_or_zero", 1, h * base)
    fits.formula("c raw", "c", f"1/({fit.unit_x or '1'})", C * per_h)
    fits.formula("b raw", "b", fit.slope_unit(), (mean_y * C + k * B) * per_h)
    offset = apply("ratio_or_zero", A - B * apply("ratio_or_zero", mean_x, h), base)
    fits.formula("a raw", "a", fit.unit_y, mean_y + k * offset)


def _status(fit: Fit, last_step: Symbol) -> None:
    mean, h, C = Symbol("mean of x"), Symbol("h"), Symbol("C")
    ends = [1 + C * apply("ratio_or_zero", Symbol(end) - mean, h) for end in ("x_low", "x_high")]
    # A pole needs a sign of the denominator that changes; a tenth of it at an end is too near.
    near = apply("smaller", ends[0], ends[1])
    pole = apply("if_less", near, 0.1, POLE, 0)
    converged = apply("if_less", SMALL, last_step, NOT_CONVERGED, pole)
    slope = apply("if_equal", Symbol("B") - Symbol("A") * C, 0, NO_SLOPE, converged)
    levels = apply("if_equal", Symbol("S1"), 0, ONE_LEVEL, slope)
    status = apply("if_less", Symbol("n"), 3.5, TOO_FEW, levels)
    fit.fits.formula("status", USABLE, "", with_scatter(fit, status))
    fit.fits.hold("status")


def inverse_rational(column: Callable[[str], Symbol], reading: Symbol) -> Expression:
    """z = (e - A)/(B - C e), exact also where C tends to 0."""
    e = apply("ratio_or_zero", reading - column("mean of y"), column("k"))
    z = apply("ratio_or_zero", e - column("A"), column("B") - column("C") * e)
    return column("mean of x") + column("h") * z


def lost_rational(column: Callable[[str], Symbol], reading: Symbol) -> Expression:
    """1 where the reading lies beyond the plateau: B - C e has not the sign of B - A C."""
    e = apply("ratio_or_zero", reading - column("mean of y"), column("k"))
    product = (column("B") - column("C") * e) * (column("B") - column("A") * column("C"))
    return apply("if_less", 0, product, 0, 1)
