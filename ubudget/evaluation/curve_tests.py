"""Tests of a fitted curve: lack of fit against repeated readings, linearity, chi-squared against known scatter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri, fdtri

from ubudget.evaluation.centred_data import CentredData
from ubudget.evaluation.curve_solving import orthogonal

Array = npt.NDArray[np.float64]
Numbers = float | Array

LACK_OF_FIT_PROBABILITY = 0.95
LINEARITY_PROBABILITY = 0.99
"""ISO 8466-1 takes 99 %."""
CHI_SQUARED_PROBABILITY = 0.95
"""ISO/TS 28037 takes 95 %."""


@dataclass(frozen=True, eq=False)
class VarianceRatio:
    """A test value F and the limit it is held against; one number per curve."""

    value: Numbers
    limit: Numbers
    degrees_of_freedom: tuple[Numbers, Numbers]
    """Of the numerator and of the denominator."""
    denominator_sd: Numbers
    """Root of the denominator: pure-error SD (lack of fit), residual SD of the quadratic (linearity)."""

    @property
    def passed(self) -> bool | npt.NDArray[np.bool_]:
        """The value does not exceed the limit: nothing speaks against the curve."""
        within: bool | npt.NDArray[np.bool_] = np.less_equal(self.value, self.limit)
        return within


def _ratio(numerator: Array, first: Array, denominator: Array, second: Array, probability: float) -> VarianceRatio:
    with np.errstate(divide="ignore", invalid="ignore"):
        # Repeated readings without any scatter make it infinite; 0/0, nothing to tell, NaN.
        value = (numerator / first) / (denominator / second)
    limit = np.asarray(fdtri(first, second, probability), np.float64)
    sd = np.sqrt(denominator / second)
    return VarianceRatio(value[()], limit[()], (first[()], second[()]), sd[()])


def lack_of_fit(x: Array, y: Array, fitted: Array, weights: Array, parameters: int) -> VarianceRatio | None:
    """F of the level means about the curve against the readings about their level mean (weighted).

    NIST/SEMATECH e-Handbook 4.6.1.5. None unless every curve has a repeated level and more levels than parameters."""
    shape = y.shape[:-1]
    x, y, fitted, weights = (a.reshape(-1, y.shape[-1]) for a in (x, y, fitted, weights))
    order = np.argsort(x, axis=-1, kind="stable")
    x, y, fitted, weights = (np.take_along_axis(a, order, axis=-1) for a in (x, y, fitted, weights))
    level = np.concatenate([np.zeros((len(x), 1), int), np.cumsum(np.diff(x, axis=-1) > 0, axis=-1)], axis=-1)
    levels = level[:, -1] + 1
    count = y.shape[-1]
    first, second = levels - parameters, count - levels
    if (first < 1).any() or (second < 1).any():
        return None
    place = (level + count * np.arange(len(x))[:, None]).ravel()

    def per_level(a: Array) -> Array:
        summed = np.bincount(place, a.ravel(), minlength=count * len(x)).astype(float)
        return summed.reshape(len(x), count)

    sum_w = per_level(weights)
    # Means of residuals, not of y: what is compared is small already.
    residuals = y - fitted
    mean = per_level(weights * residuals) / np.where(sum_w > 0, sum_w, 1.0)
    within = residuals - np.take_along_axis(mean, level, axis=-1)
    between_squares = np.sum(sum_w * mean**2, axis=-1)
    within_squares = np.sum(weights * within**2, axis=-1)
    return _ratio(
        between_squares.reshape(shape),
        first.astype(float).reshape(shape),
        within_squares.reshape(shape),
        second.astype(float).reshape(shape),
        LACK_OF_FIT_PROBABILITY,
    )


def linearity(data: CentredData) -> VarianceRatio | None:
    """Test value DS²/s² of the line against the quadratic, and F(0.99; 1, n − 3). ISO 8466-1:1990 (Mandel's test).

    DS² = (n − 2)·s₁² − (n − 3)·s₂² is the square that the quadratic term takes up, computed as such. None for fewer
    than four points."""
    second = data.z.shape[-1] - 3
    if second < 1:
        return None
    fit = orthogonal(data)
    residuals = data.e - fit.linear[..., None] * data.z - fit.curvature[..., None] * fit.q
    scale = data.largest_weight * data.height**2
    taken = scale * fit.curvature**2 * fit.sum_q2
    left = scale * np.sum(data.w * residuals**2, axis=-1)
    return _ratio(taken, np.ones_like(left), left, np.full_like(left, second), LINEARITY_PROBABILITY)


def chi_squared_limit(degrees_of_freedom: int) -> float:
    """95 % point of chi-squared. ISO/TS 28037:2010 (consistency of the data with the line)."""
    return float(chdtri(degrees_of_freedom, 1.0 - CHI_SQUARED_PROBABILITY))
