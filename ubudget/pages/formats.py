"""Number formats: about five significant digits for calculated columns, as typed for inputs."""

from __future__ import annotations

import numpy as np

from ubudget.quantity.graph import INFINITE_DOF, Array

AS_TYPED = "General"
DEGREES_OF_FREEDOM = '[>=1E+90]"∞";0.0'
SHARE = "0.0%"


def format_for(values: Array, digits: int = 5) -> str:
    """A fixed number of decimals fit for most of a column's values, or powers of ten where they are far from 1."""
    sizes = np.abs(values[np.isfinite(values) & (values != 0)])
    if not sizes.size:
        return "0"
    if (sizes >= INFINITE_DOF / 10).any():
        return DEGREES_OF_FREEDOM
    if (sizes == np.rint(sizes)).all() and sizes.max() < 1e6:
        return "0"
    typical = float(np.median(sizes))
    if typical < 1e-4 or typical >= 1e7:
        powers = "0." + "0" * (digits - 1) + "E+00"
        return f"{powers};-{powers};0"
    decimals = max(0, digits - 1 - int(np.floor(np.log10(typical))))
    return "0." + "0" * decimals if decimals else "0"


def shown_figure(value: float, number_format: str) -> str:
    """About how a spreadsheet shows a number, to tell how wide it is."""
    if number_format == DEGREES_OF_FREEDOM:
        return "∞" if value >= INFINITE_DOF / 10 else f"{value:.1f}"
    decimals = number_format.split(";")[0].partition(".")[2]
    if "E" in decimals:
        return f"{value:.{decimals.index('E')}E}"
    return f"{value:.{len(decimals)}f}"
