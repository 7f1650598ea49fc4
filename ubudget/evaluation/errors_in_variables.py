"""A straight line through points that are uncertain in both coordinates (generalised distance regression).

Minimises Σ W (y − a − b·x)² with W = 1/(u_y² + b²·u_x²); no correlation between x and y. ISO/TS 28037:2010 clause 7;
York et al., Am. J. Phys. 72 (2004) 367, eqs. 13a to 13d. The covariance is that of York 2004, taken at the adjusted
points: the one a regression on adjusted points has, 1/ΣW and 1/ΣW·u² about their mean.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ubudget.evaluation.centred_data import CentredData, points, total
from ubudget.evaluation.curve_kinds import Line
from ubudget.quantity.gauss_newton import NotConverged

Array = npt.NDArray[np.float64]

MOST_STEPS = 2000
GOOD_ENOUGH = 1e-13


def line_through_uncertain_points(data: CentredData, u_x: Array, u_y: Array) -> tuple[Line, Array]:
    """The line with known scatter, and the effective weights W (..., n) in the data's units.

    Raises `NotConverged` (a ValueError)."""
    scaled_x, scaled_y = u_x / points(data.half), u_y / points(data.height)
    slope = total(data.w * data.z * data.e) / total(data.w * data.z**2)
    before = np.full(slope.shape, np.inf)
    settled = np.zeros(slope.shape, bool)
    for _ in range(MOST_STEPS):
        new = _york_step(data, scaled_x, scaled_y, slope)
        change = np.abs(new - slope)
        near = change <= GOOD_ENOUGH * np.abs(new)
        # Rounding keeps the last digit moving: near the end a curve stays where its steps stop shrinking.
        settled |= (change == 0) | (near & (change >= before))
        slope, before = np.where(settled, slope, new), change
        if settled.all():
            break
    if not (settled | near).all():
        raise NotConverged(f"the line through uncertain points did not settle within {MOST_STEPS} steps")
    return _described(data, scaled_x, scaled_y, slope)


def _weights_and_adjustment(data: CentredData, u_x: Array, u_y: Array, slope: Array) -> tuple[Array, ...]:
    """W; deviations U, V from the W-weighted means; x of the adjusted points as a deviation from that mean (β)."""
    b = points(slope)
    w = 1.0 / (u_y**2 + (b * u_x) ** 2)
    x_mean, y_mean = total(w * data.z) / total(w), total(w * data.e) / total(w)
    from_x, from_y = data.z - points(x_mean), data.e - points(y_mean)
    return w, from_x, from_y, w * (from_x * u_y**2 + b * from_y * u_x**2), x_mean, y_mean


def _york_step(data: CentredData, u_x: Array, u_y: Array, slope: Array) -> Array:
    w, from_x, from_y, adjusted, _, _ = _weights_and_adjustment(data, u_x, u_y, slope)
    return total(w * adjusted * from_y) / total(w * adjusted * from_x)


def _described(data: CentredData, u_x: Array, u_y: Array, slope: Array) -> tuple[Line, Array]:
    w, _, _, adjusted, x_mean, y_mean = _weights_and_adjustment(data, u_x, u_y, slope)
    sum_w = total(w)
    shift = total(w * adjusted) / sum_w
    sum_u2 = total(w * (adjusted - points(shift)) ** 2)
    line = Line(
        data.x_mean + data.half * (x_mean + shift),
        data.y_mean + data.height * (y_mean + slope * shift),
        slope * (data.height / data.half),
        data.height**2 / sum_w,
        (data.height / data.half) ** 2 / sum_u2,
    )
    return line, w / points(data.height**2)
