"""From centred data to a curve: closed forms for line and quadratic, Gauss-Newton for the rational curve.

Each function returns the curves of a whole batch at once. It asks the caller for the variance of a y, which is
estimated from the residuals or known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ubudget.evaluation.centred_data import CentredData, points, total
from ubudget.evaluation.curve_kinds import Curve, Line, Quadratic, Rational
from ubudget.quantity.gauss_newton import NonlinearFit, NotConverged, gauss_newton
from ubudget.quantity.least_squares import NoUniqueFit, least_squares

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Orthogonal:
    """Least squares on the orthogonal polynomials 1, z and q = z(z − skew) − spread_of_z."""

    linear: Array
    curvature: Array
    sum_z2: Array
    sum_q2: Array
    skew: Array
    spread_of_z: Array
    q: Array


def orthogonal(data: CentredData) -> Orthogonal:
    """Coefficients of z and q (that of 1 is zero about the mean); two polynomials of Forsythe, J. SIAM 5 (1957) 74."""
    wz = data.w * data.z
    wz2 = wz * data.z
    sum_z2 = total(wz2)
    skew = total(wz2 * data.z) / sum_z2
    spread_of_z = sum_z2 / data.sum_w
    q = (data.z - points(skew)) * data.z
    q -= points(spread_of_z)
    wq = data.w * q
    sum_q2 = total(wq * q)
    curvature = total(wq * data.e) / np.where(sum_q2 > 0, sum_q2, 1.0)
    return Orthogonal(total(wz * data.e) / sum_z2, curvature, sum_z2, sum_q2, skew, spread_of_z, q)


Unit = Callable[[Array], Array]
"""Residuals in units of `height` -> variance of a y of the largest weight, in the data's units squared."""


def line(data: CentredData, unit: Unit, *, through_zero: bool) -> Line:
    """y = a + b·x about the mean, or y = b·x. Weighted sums as in QUAM Appendix E.4."""
    wz = data.w * data.z
    sum_z2 = total(wz * data.z)
    slope = total(wz * data.e) / sum_z2
    residuals = data.e - points(slope) * data.z
    correction = total(wz * residuals) / sum_z2
    slope, residuals = slope + correction, residuals - points(correction) * data.z
    variance = unit(residuals)
    return Line(
        data.x_mean,
        data.y_mean,
        slope * (data.height / data.half),
        np.zeros_like(variance) if through_zero else variance / data.sum_w,
        variance / (sum_z2 * data.half**2),
        through_zero,
    )


def quadratic(data: CentredData, unit: Unit) -> Quadratic:
    """y = a + b·x + c·x² by orthogonal polynomials about the mean."""
    fit = orthogonal(data)
    residuals = data.e - points(fit.linear) * data.z - points(fit.curvature) * fit.q
    variance = unit(residuals)
    return Quadratic(
        data.x_mean,
        data.half,
        data.y_mean,
        data.height * (fit.linear - fit.curvature * fit.skew),
        data.height * fit.curvature,
        fit.skew,
        fit.spread_of_z,
        (variance / data.sum_w, variance / fit.sum_z2, variance / fit.sum_q2),
    )


def rational(data: CentredData, unit: Unit) -> Rational:
    """y = (a + b·x)/(1 + c·x) about the mean. Raises `NotConverged` or `NoUniqueFit` (ValueErrors)."""
    batch = data.z.shape[:-1]
    z, e, w = (part.reshape(-1, part.shape[-1]) for part in (data.z, data.e, data.w))
    fits = [_rational_of_one(*one) for one in zip(z, e, w, strict=True)]
    shaped = np.array([fit.parameters for fit in fits]).reshape(*batch, 3)
    residuals = np.array([fit.residuals for fit in fits]).reshape(data.e.shape)
    variance = unit(residuals)
    factor = np.linalg.cholesky(np.array([fit.covariance_unscaled for fit in fits])).reshape(*batch, 3, 3)
    in_y = np.stack([data.height, data.height, np.ones_like(data.height)], axis=-1)
    # unit() answers in squared units of y; the factor is per unit of e, hence the height under the root.
    factor = in_y[..., :, None] * factor * np.sqrt(variance / data.height**2)[..., None, None]
    level, linear, bend = np.moveaxis(shaped * in_y, -1, 0)
    return Rational(data.x_mean, data.half, data.y_mean, level, linear, bend, factor)


def _rational_of_one(z: Array, e: Array, w: Array) -> NonlinearFit:
    """From e·(1 + C·z) = A + B·z taken as linear; where that fails or has its pole among the points, the better of it
    and the fit from a straight line. A pole that the data ask for stays, to be refused."""
    found, reasons = [], []
    for start in _rational_starts(z, e, w):
        try:
            fit = gauss_newton(lambda p: _rational_values(z, p), lambda p: _rational_slopes(z, p), start, e, weights=w)
        except (NotConverged, NoUniqueFit) as reason:
            reasons.append(reason)
            continue
        found.append(fit)
        if (1.0 + fit.parameters[2] * z > 0).all():
            break
    if not found:
        raise reasons[0]
    return min(found, key=lambda fit: fit.residual_sd)


def _rational_starts(z: Array, e: Array, w: Array) -> list[Array]:
    one = np.ones_like(z)
    straight = least_squares(np.stack([one, z], axis=-1), e, weights=w).parameters
    starts = [np.append(straight, 0.0)]
    try:
        bent = least_squares(np.stack([one, z, -z * e], axis=-1), e, weights=w).parameters
    except NoUniqueFit:
        # The points lie on a straight line: z·e repeats what is there.
        return starts
    return [bent, *starts]


def _rational_values(z: Array, p: Array) -> Array:
    values: Array = (p[0] + p[1] * z) / (1.0 + p[2] * z)
    return values


def _rational_slopes(z: Array, p: Array) -> Array:
    t = 1.0 / (1.0 + p[2] * z)
    return np.stack([t, z * t, -z * t * (p[0] + p[1] * z) * t], axis=-1)


_SOLVERS: dict[str, Callable[[CentredData, Unit], Curve]] = {
    "line": lambda data, unit: line(data, unit, through_zero=False),
    "line-through-zero": lambda data, unit: line(data, unit, through_zero=True),
    "quadratic": quadratic,
    "rational": rational,
}


def solver(kind: str) -> Callable[[CentredData, Unit], Curve]:
    """The function that fits a kind of curve."""
    return _SOLVERS[kind]
