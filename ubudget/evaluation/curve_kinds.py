"""The kinds of calibration curves: value, inverse value with its uncertainty, and the equation in the data's units.

A curve keeps the centred form of its fit: y about the mean of the standards, parameters that are as good as
uncorrelated there, and no digits lost in an intercept far from the data. All numbers are arrays, one per curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, NamedTuple, Protocol

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


class Solved(NamedTuple):
    """x where the curve has the value y, its standard uncertainty, and where there is no such x (both NaN)."""

    x: Array
    u: Array
    none: Mask | None
    """None: there is always one."""


class Curve(Protocol):
    """What the kinds have in common."""

    @property
    def no_solution(self) -> str:
        """Why a value of y may have no x."""
        ...

    def spread(self, axes: int) -> Curve:
        """The same curves with so many further axes of length 1, to meet arrays of values."""
        ...

    def value(self, x: Array) -> Array: ...

    def solve(self, y: Array, reading_variance: Array) -> Solved:
        """`reading_variance`: of y, apart from the curve's own."""
        ...

    def slopes(self, low: Array, high: Array) -> tuple[Array, Array]:
        """dy/dx at both ends of the range: of one sign where the curve is monotonic."""
        ...

    def equation(self) -> tuple[Array, Array]:
        """Parameters a, b, c (..., p) of the equation in the data's units, and their covariance (..., p, p)."""
        ...


def _spread(numbers: Array, axes: int) -> Array:
    return numbers.reshape(numbers.shape + (1,) * axes)


@dataclass(frozen=True, eq=False)
class Line:
    """y = y_mean + slope·(x − x_mean); level and slope are uncorrelated (GUM H.3, QUAM E.4)."""

    x_mean: Array
    y_mean: Array
    slope: Array
    level_variance: Array
    slope_variance: Array
    through_zero: bool = False
    """Then x_mean, y_mean and level_variance are 0, and the slope is the only parameter."""
    no_solution: ClassVar[str] = "no real solution"

    def spread(self, axes: int) -> Line:
        return Line(
            _spread(self.x_mean, axes),
            _spread(self.y_mean, axes),
            _spread(self.slope, axes),
            _spread(self.level_variance, axes),
            _spread(self.slope_variance, axes),
            self.through_zero,
        )

    def value(self, x: Array) -> Array:
        return self.y_mean + self.slope * (x - self.x_mean)

    def solve(self, y: Array, reading_variance: Array) -> Solved:
        steep = 1.0 / self.slope
        d = (y - self.y_mean) * steep
        # u² = (var(y) + var(level) + d²·var(slope))/slope², the slope's square taken into the small arrays.
        flat = steep * steep
        variance = d * d
        variance *= self.slope_variance * flat
        variance += (reading_variance + self.level_variance) * flat
        d += self.x_mean
        return Solved(d, np.sqrt(variance), None)

    def slopes(self, low: Array, high: Array) -> tuple[Array, Array]:
        return self.slope, self.slope

    def equation(self) -> tuple[Array, Array]:
        if self.through_zero:
            return self.slope[..., None], self.slope_variance[..., None, None]
        covariance = -self.x_mean * self.slope_variance
        intercept = self.y_mean - self.slope * self.x_mean
        intercept_variance = self.level_variance + self.x_mean**2 * self.slope_variance
        matrix = [[intercept_variance, covariance], [covariance, self.slope_variance]]
        return np.stack([intercept, self.slope], axis=-1), _matrix(matrix)


@dataclass(frozen=True, eq=False)
class Quadratic:
    """y = y_mean + linear·z + curvature·z² + level, z = (x − x_mean)/half.

    Fitted on the orthogonal polynomials 1, z and q = z(z − skew) − spread_of_z, whose coefficients are uncorrelated:
    level = −curvature·spread_of_z."""

    x_mean: Array
    half: Array
    y_mean: Array
    linear: Array
    curvature: Array
    skew: Array
    spread_of_z: Array
    variances: tuple[Array, Array, Array]
    """Of the coefficients of 1, z and q."""
    no_solution: ClassVar[str] = "beyond the turning point: no real solution"

    def spread(self, axes: int) -> Quadratic:
        level, linear, curvature = self.variances
        return Quadratic(
            _spread(self.x_mean, axes),
            _spread(self.half, axes),
            _spread(self.y_mean, axes),
            _spread(self.linear, axes),
            _spread(self.curvature, axes),
            _spread(self.skew, axes),
            _spread(self.spread_of_z, axes),
            (_spread(level, axes), _spread(linear, axes), _spread(curvature, axes)),
        )

    @property
    def _level(self) -> Array:
        return -self.curvature * self.spread_of_z

    def value(self, x: Array) -> Array:
        z = (x - self.x_mean) / self.half
        return self.y_mean + (self._level + z * (self.linear + self.curvature * z))

    def solve(self, y: Array, reading_variance: Array) -> Solved:
        above = y - self.y_mean
        above -= self._level
        square = above * (4.0 * self.curvature)
        square += self.linear**2
        none = square <= 0.0
        if none.any():
            square[none] = np.nan
        # z = −2C/(B + sign(B)√D): the branch of the standards, and exact as the curvature goes to 0.
        z = np.sqrt(square)
        z *= np.copysign(0.5, self.linear)
        z += 0.5 * self.linear
        np.divide(above, z, out=z)
        variance = self._curve_variance(z)
        variance += reading_variance
        variance /= square
        np.sqrt(variance, out=variance)
        variance *= self.half
        z *= self.half
        z += self.x_mean
        return Solved(z, variance, none)

    def _curve_variance(self, z: Array) -> Array:
        level, linear, curvature = self.variances
        q = z - self.skew
        q *= z
        q -= self.spread_of_z
        q *= q
        q *= curvature
        square = z * z
        square *= linear
        q += square
        q += level
        return q

    def slopes(self, low: Array, high: Array) -> tuple[Array, Array]:
        ends = ((end - self.x_mean) / self.half for end in (low, high))
        at_low, at_high = ((self.linear + 2.0 * self.curvature * z) / self.half for z in ends)
        return at_low, at_high

    def equation(self) -> tuple[Array, Array]:
        one, nought = np.ones_like(self.half), np.zeros_like(self.half)
        m = self.x_mean / self.half
        # Columns: 1, z and q written in powers of x.
        matrix = _matrix(
            [
                [one, -m, m * (m + self.skew) - self.spread_of_z],
                [nought, 1.0 / self.half, -(2.0 * m + self.skew) / self.half],
                [nought, nought, 1.0 / self.half**2],
            ]
        )
        c = self.curvature / self.half**2
        b = (self.linear - 2.0 * self.curvature * m) / self.half
        a = self.y_mean + (self._level - m * (self.linear - self.curvature * m))
        diagonal = np.stack(self.variances, axis=-1)
        covariance = (matrix * diagonal[..., None, :]) @ np.swapaxes(matrix, -1, -2)
        return np.stack([a, b, c], axis=-1), covariance


@dataclass(frozen=True, eq=False)
class Rational:
    """y = y_mean + (level + linear·z)/(1 + bend·z), z = (x − x_mean)/half; 1 + bend·z > 0 at the standards."""

    x_mean: Array
    half: Array
    y_mean: Array
    level: Array
    linear: Array
    bend: Array
    factor: Array
    """F (..., 3, 3) with F·Fᵀ the covariance of level, linear and bend."""
    no_solution: ClassVar[str] = "beyond the plateau: no real solution"

    def spread(self, axes: int) -> Rational:
        return Rational(
            _spread(self.x_mean, axes),
            _spread(self.half, axes),
            _spread(self.y_mean, axes),
            _spread(self.level, axes),
            _spread(self.linear, axes),
            _spread(self.bend, axes),
            self.factor.reshape(self.factor.shape[:-2] + (1,) * axes + (3, 3)),
        )

    def value(self, x: Array) -> Array:
        z = (x - self.x_mean) / self.half
        return self.y_mean + (self.level + self.linear * z) / (1.0 + self.bend * z)

    @property
    def _rise(self) -> Array:
        """dy/dz·(1 + bend·z)², of one sign on the whole curve."""
        return self.linear - self.level * self.bend

    def solve(self, y: Array, reading_variance: Array) -> Solved:
        above = y - self.y_mean
        below_plateau = self.linear - self.bend * above
        none = below_plateau * np.sign(self._rise) <= 0.0
        below_plateau = np.where(none, np.nan, below_plateau)
        z = (above - self.level) / below_plateau
        t = below_plateau / self._rise
        gradient = np.stack(np.broadcast_arrays(t, z * t, -z * t * above), axis=-1)
        along = (gradient[..., None, :] @ self.factor)[..., 0, :]
        variance = reading_variance + np.sum(along**2, axis=-1)
        u = self.half * np.sqrt(variance) / np.abs(self._rise * t * t)
        return Solved(self.x_mean + self.half * z, u, none)

    def slopes(self, low: Array, high: Array) -> tuple[Array, Array]:
        ends = (1.0 + self.bend * (end - self.x_mean) / self.half for end in (low, high))
        at_low, at_high = (self._rise / (self.half * d**2) for d in ends)
        return at_low, at_high

    def equation(self) -> tuple[Array, Array]:
        # 1 + bend·z = g·(1 + c·x); g = 0, a pole at x = 0, is refused when the curve is made.
        g = 1.0 - self.bend * self.x_mean / self.half
        m = self.x_mean / self.half
        c = self.bend / self.half / g
        b = (self.linear / self.half) / g + self.y_mean * c
        a = self.y_mean + (self.level - self.linear * m) / g
        # a = y_mean + (level − m·linear)/g with dg/dbend = −m, so dc/dbend = 1/(half·g²).
        nought = np.zeros_like(g)
        by_bend = m / g**2
        matrix = _matrix(
            [
                [1.0 / g, -m / g, (self.level - self.linear * m) * by_bend],
                [nought, 1.0 / (self.half * g), self.linear * by_bend / self.half + self.y_mean / (self.half * g**2)],
                [nought, nought, 1.0 / (self.half * g**2)],
            ]
        )
        root = matrix @ self.factor
        return np.stack([a, b, c], axis=-1), root @ np.swapaxes(root, -1, -2)


def _matrix(rows: list[list[Array]]) -> Array:
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
