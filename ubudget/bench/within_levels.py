"""Pure error of a fit on single readings: their scatter within the levels, and the F test of lack of fit against it.

Where the method states a term between the levels, the misfit is that term's, and pure error is what the parameters and
the readings of unknowns scatter by.
"""

from __future__ import annotations

import numpy as np

from ubudget.bench.fitting import Fit
from ubudget.quantity.expression import Symbol, apply
from ubudget.quantity.graph import Rows


def add_pure_error(fit: Fit, levels: str, line_of_level: Rows, *, shown_as_s: bool) -> None:
    """Columns of the fits: levels used, pure error and its degrees of freedom; `s within` where it is the scatter.

    Within a level all weights are equal, so that the level's plain mean is its weighted mean."""
    points, fits = fit.points, fit.fits
    counts = np.bincount(line_of_level, minlength=fits.size)
    stop = np.cumsum(counts)
    levels_used = fits.span("levels' mark", levels, "level used", stop - counts, stop)
    used = fits.formula("levels used", "levels used", "", apply("total", levels_used))
    points.formula("W within", "W·deviation from the level's mean", fit.unit_y, Symbol("W") * Symbol("from level mean"))
    pure = fits.formula(
        "pure error", "sum of squares within levels", "", fit.total("W within", "from level mean"), "GUM H.3.6"
    )
    dof = fits.formula("dof pure", "degrees of freedom within levels", "", apply("larger", Symbol("n") - used, 0))
    points.freeze("W within")
    points.demote("W within")
    fits.freeze("pure error", "dof pure")
    if shown_as_s:
        fits.formula("dof within", "degrees of freedom of s within levels", "", apply("larger", dof, 1))
        s = apply("sqrt", pure / Symbol("dof within"))
        fits.formula("s within", "s within levels", fit.unit_y, s, "pure error")
        fits.freeze("s within")


def add_lack_of_fit(fit: Fit, parameters: int) -> None:
    """F of lack of fit: scatter of the levels about the curve against scatter within levels."""
    fits = fit.fits
    used, pure, dof_pure = Symbol("levels used"), Symbol("pure error"), Symbol("dof pure")
    dof_lack = fits.formula("dof lack", "degrees of freedom of the misfit", "", apply("larger", used - parameters, 0))
    misfit = apply("ratio_or_zero", apply("larger", Symbol("sum of squares") - pure, 0), dof_lack)
    within = apply("ratio_or_zero", pure, dof_pure)
    F = fits.formula(
        "F lack of fit", "F, lack of fit", "", apply("ratio_or_zero", misfit, within), "ISO 11095 lack of fit"
    )
    p = apply("f_upper", F, apply("larger", dof_lack, 1), apply("larger", dof_pure, 1))
    fits.formula("p lack of fit", "probability of such a misfit", "", p)
    fits.freeze("F lack of fit", "p lack of fit")
