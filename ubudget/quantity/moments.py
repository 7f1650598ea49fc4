"""Mean, standard deviation and lag-1 autocorrelation of a series, exact to the last digits of its numbers."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt


class MeanAndSd(NamedTuple):
    """Arithmetic mean and experimental standard deviation (GUM 4.2.1, 4.2.2)."""

    mean: float
    sd: float


def mean_and_sd(values: npt.ArrayLike) -> MeanAndSd:
    """Arithmetic mean and experimental standard deviation with n − 1 (GUM 4.2.1 eq. 3, 4.2.2 eq. 4).

    `values`: shape (n,), n ≥ 2, any unit; both results in that unit. Raises ValueError for fewer than two values or
    values that are not finite."""
    mean, deviations = _deviations(values)
    squares = _sum_of_squares(deviations)
    return MeanAndSd(mean, math.sqrt(squares / (len(deviations) - 1)))


def lag_1_autocorrelation(values: npt.ArrayLike) -> float:
    """r₁ = Σ (v_i − m)(v_{i+1} − m)/Σ (v_i − m)², which tells whether successive readings are independent.

    `values`: shape (n,), in the order they were read. Defined as in NIST/SEMATECH e-Handbook 1.3.5.12. Raises
    ValueError for fewer than two values, values that are not finite, or all equal."""
    _, deviations = _deviations(values)
    squares = _sum_of_squares(deviations)
    if squares == 0:
        raise ValueError("all values are equal: their autocorrelation is not defined")
    return math.fsum(a * b for a, b in pairwise(deviations)) / squares


def _deviations(values: npt.ArrayLike) -> tuple[float, list[float]]:
    """The mean, and deviations from it freed from the rounding of the mean itself."""
    series: list[float] = np.asarray(values, float).ravel().tolist()
    if len(series) < 2:
        raise ValueError(f"{len(series)} values: at least two are needed")
    if not all(map(math.isfinite, series)):
        raise ValueError("values must be finite numbers")
    mean = math.fsum(series) / len(series)
    rough = [value - mean for value in series]
    shift = math.fsum(rough) / len(series)
    return mean, [deviation - shift for deviation in rough]


def _sum_of_squares(deviations: list[float]) -> float:
    return math.fsum(deviation * deviation for deviation in deviations)
