"""Columns for the charts of residuals: a point that is left out is drawn on top of one that is used.

A cell has no number that every spreadsheet program leaves out of a chart, and an error value would show in print. So
the residual of a point that is left out stands where the last point used of its curve stands, and is not seen.
"""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.bench.fitting import Fit
from ubudget.quantity.expression import Symbol, apply

POSITION = "position read"
DRAWN = {"x": "x drawn", "residual": "residual drawn", POSITION: "position drawn"}
"""Column of the points → the same for a chart."""


def add_drawn(fit: Fit, positions: Sequence[int]) -> None:
    """The columns of points that have `mark`, `x` and `residual`; `positions` of their solutions in the run."""
    points, fits = fit.points, fit.fits
    points.given(POSITION, "position in the run", "", [float(position) for position in positions])
    points.given("number", "number of the point", "", [float(row + 1) for row in range(points.size)])
    points.formula("number if used", "number if used", "", Symbol("mark") * Symbol("number"))
    last = fits.formula("last used", "last point used", "", apply("largest", fit.span("number if used")))
    for column, drawn in DRAWN.items():
        unit = {"x": fit.unit_x, "residual": fit.unit_y}.get(column, "")
        at_last = apply("total_where", fit.span("number"), last, fit.span(column))
        fits.formula(f"{column} of it", f"{column} of the last point used", unit, at_last)
        used = apply("if_equal", Symbol("mark"), 1, Symbol(column), fit.own(f"{column} of it"))
        points.formula(drawn, f"{column}, for the chart", unit, used)
    points.freeze(*DRAWN.values())
    fits.freeze(*(f"{column} of it" for column in DRAWN))
    points.demote(POSITION, "number", "number if used", *DRAWN.values())
    fits.demote("last used", *(f"{column} of it" for column in DRAWN))
