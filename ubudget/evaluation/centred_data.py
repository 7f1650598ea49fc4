"""Standards about their weighted mean and scaled: the form in which every curve is fitted.

Raw power sums lose up to nine digits. The mean is taken in two passes, and the scales are powers of two, which round
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CentredData:
    """x = x_mean + half·z, y = y_mean + height·e. Arrays of points (..., n); the rest (...), one per curve."""

    z: Array
    e: Array
    w: Array
    """Weights over the largest of the curve."""
    x_mean: Array
    half: Array
    y_mean: Array
    height: Array
    largest_weight: Array

    @property
    def sum_w(self) -> Array:
        return total(self.w)


def total(a: Array) -> Array:
    """Sum over the points of each curve."""
    summed: Array = np.add.reduce(a, axis=-1)
    return summed


def points(per_curve: Array) -> Array:
    """One number per curve, ready to meet the points of each curve."""
    return per_curve[..., None]


def centre(x: Array, y: Array, weights: Array) -> CentredData:
    """x, y, weights: (..., n), finite, weights positive."""
    largest = np.maximum.reduce(weights, axis=-1)
    w = weights / points(largest)
    sum_w = total(w)
    x_mean, dx = _about_mean(x, w, sum_w)
    y_mean, dy = _about_mean(y, w, sum_w)
    return _scaled(dx, dy, w, x_mean, y_mean, largest, np.abs(y))


def about_zero(x: Array, y: Array, weights: Array) -> CentredData:
    """The same, scaled but not centred: for a line that passes through the origin."""
    largest = np.maximum.reduce(weights, axis=-1)
    nought = np.zeros(y.shape[:-1])
    return _scaled(x, y, weights / points(largest), nought, nought, largest, np.abs(y))


def _about_mean(a: Array, w: Array, sum_w: Array) -> tuple[Array, Array]:
    rough = total(w * a) / sum_w
    deviations = a - points(rough)
    shift = total(w * deviations) / sum_w
    return rough + shift, deviations - points(shift)


def _scaled(dx: Array, dy: Array, w: Array, x_mean: Array, y_mean: Array, largest: Array, size: Array) -> CentredData:
    half = _power_of_two(np.maximum.reduce(np.abs(dx), axis=-1))
    height = _power_of_two(np.maximum.reduce(size, axis=-1))
    return CentredData(dx / points(half), dy / points(height), w, x_mean, half, y_mean, height, largest)


def _power_of_two(size: Array) -> Array:
    """The power of two just above, 1 for 0."""
    above: Array = np.ldexp(1.0, np.frexp(size)[1])
    return above
