"""Bracketing between two standards: the straight line through their mean readings, exactly.

No least squares: nothing is left over to estimate a scatter from, so the variance of each mean comes from its own
replicate readings, pooled over the two standards (n1 + n2 - 2 degrees of freedom). A blank and one standard are the
same case with x1 = 0.
"""

from __future__ import annotations

from collections.abc import Callable

from ubudget.bench.context import USABLE
from ubudget.bench.fitting import NO_SLOPE, ONE_LEVEL, TOO_FEW, Fit
from ubudget.quantity.expression import Expression, Symbol, apply
from ubudget.quantity.graph import Trait


def build_two_points(fit: Fit) -> None:
    """Columns of points (the two levels of each curve) and of fits."""
    points, fits = fit.points, fit.fits
    points.formula("mark", "used (1 = yes)", "", Symbol("level used"))
    points.formula("fitted", "fitted", fit.unit_y, Symbol("mean"))
    points.formula("residual", "residual", fit.unit_y, 0)
    fits.formula("n", "levels used", "", fit.total("mark"))
    level = fit.points.name
    ends = []
    for number in (1, 2):
        rows = fit.start + (number - 1)
        x = fits.formula(f"x{number}", f"x{number}", fit.unit_x, fits.pick(f"x of level {number}", level, "x", rows))
        n = fits.pick(f"readings of level {number}", level, "readings", rows)
        squares = fits.pick(f"squares of level {number}", level, "squares", rows)
        mean = fits.pick(f"mean of level {number}", level, "mean", rows)
        ends.append((x, mean, n, squares))
    (x1, _, n1, squares1), (x2, _, n2, squares2) = ends
    dof = fits.formula("dof", "degrees of freedom n1 + n2 - 2", "", apply("larger", n1 + n2 - 2, 1))
    s = fits.formula(
        "s", "s of one reading, pooled", fit.unit_y, apply("sqrt", (squares1 + squares2) / dof), "GUM H.3.6"
    )
    for number, (_, mean, n, _) in enumerate(ends, start=1):
        column = f"y{number} read" if fit.uncertain_y else f"y{number}"
        fits.formula(column, column, fit.unit_y, mean)
        u = apply("ratio_or_zero", s, apply("sqrt", n))
        fits.formula(f"u({column})", f"u({column})", fit.unit_y, u, "GUM 4.2.3")
        name, words = f"{fit.symbol}.standard {number}", f"mean reading of bracketing standard {number}"
        fits.leaf(
            column,
            f"u({column})",
            [Trait(name, words, fit.group, "A", "t", "replicate readings of the two standards")] * fits.size,
            dof="dof",
            estimates=[("residual", fits.name, fit_name) for fit_name in fit.names],
        )
        if fit.uncertain_y:
            correction = fits.pick(
                f"correction of level {number}", level, "correction factor", fit.start + (number - 1)
            )
            fits.formula(f"y{number}", f"y{number}", fit.unit_y, Symbol(column) * correction)
    fits.formula("x_low", "lower standard", fit.unit_x, apply("smaller", x1, x2))
    fits.formula("x_high", "upper standard", fit.unit_x, apply("larger", x1, x2))
    slope = apply("if_equal", Symbol("y1"), Symbol("y2"), NO_SLOPE, 0)
    levels = apply("if_equal", x1, x2, ONE_LEVEL, slope)
    both = apply("if_less", Symbol("n"), 1.5, TOO_FEW, levels)
    fits.formula("status", USABLE, "", apply("if_less", n1 + n2, 2.5, TOO_FEW, both))
    fits.freeze("x_low", "x_high")
    fits.hold("status")


def inverse_two_points(column: Callable[[str], Symbol], reading: Symbol) -> Expression:
    """x = x1 + (y - y1)(x2 - x1)/(y2 - y1)."""
    share = apply("ratio_or_zero", reading - column("y1"), column("y2") - column("y1"))
    return column("x1") + (column("x2") - column("x1")) * share
