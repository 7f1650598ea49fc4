"""`fit_curve`: calibration curves through standards, one or many at once, and concentrations read off them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from ubudget.errors import UbudgetError
from ubudget.evaluation.centred_data import CentredData, about_zero, centre, total
from ubudget.evaluation.curve_kinds import Curve, Line, Rational
from ubudget.evaluation.curve_solving import Unit, solver
from ubudget.evaluation.curve_tests import VarianceRatio, chi_squared_limit, lack_of_fit, linearity
from ubudget.evaluation.errors_in_variables import line_through_uncertain_points
from ubudget.evaluation.inverse_prediction import OUTSIDE_RANGE, WEIGHT_ASSUMED, InversePrediction
from ubudget.quantity.least_squares import checked_weights

Array = npt.NDArray[np.float64]
Numbers = float | Array
Kind = Literal["line", "line-through-zero", "quadratic", "rational"]
Scatter = Literal["estimated", "known"]

PARAMETERS: dict[str, int] = {"line": 2, "line-through-zero": 1, "quadratic": 3, "rational": 3}
NEAR_THE_RANGE = 0.01
"""A pole of the rational curve keeps at least this part of the range's width away from it."""
FLAT = 1e-13
"""Rise over the range, relative to the largest y, that is rounding only."""


class UnusableCurve(UbudgetError, ValueError):
    """The standards do not give a curve from which a value can be read."""


@dataclass(frozen=True, eq=False)
class CurveFit:
    """A fitted curve, or a batch of them: leading axes of `y` stand first in every array, (...) below."""

    kind: Kind
    scatter: Scatter
    parameters: Array
    """(..., p), in the data's units: a, b of y = a + b·x; b of y = b·x; a, b, c of y = a + b·x + c·x² or of
    y = (a + b·x)/(1 + c·x)."""
    covariance: Array
    """(..., p, p): (JᵀWJ)⁻¹, times residual_sd² where the scatter is estimated."""
    residual_sd: Numbers
    """s = √(Σ w r²/(n − p)); with weights 1/u² the square is chi-squared over its degrees of freedom."""
    degrees_of_freedom: int
    """n − p."""
    residuals: Array
    """y minus curve, not weighted, (..., n)."""
    x: Array
    y: Array
    weights: Array
    """Of the squared residuals; with u_x the effective ones, 1/(u_y² + b²·u_x²)."""
    reading_weights: Array
    """Of the readings of the standards alone; `weights` unless u_x is given."""
    curve: Curve
    """The centred form, which predictions use."""

    def predict(self, x: npt.ArrayLike) -> Numbers:
        """Values of the curve. `x`: any shape; for a batch (...) or (..., m)."""
        at = np.asarray(x, float)
        with np.errstate(divide="ignore", invalid="ignore"):
            return self.curve.spread(self._axes(at)).value(at)[()]

    def inverse(
        self, y_mean: npt.ArrayLike, readings: npt.ArrayLike = 1, *, weight: npt.ArrayLike | None = None
    ) -> InversePrediction:
        """x₀ where the curve has the value `y_mean`, the mean of `readings` readings, and its standard uncertainty.

        `y_mean`: any shape; for a batch (...) or (..., m). `readings`: p, like y_mean or one number. `weight`: w₀ of
        one reading on the scale of the weights of the standards, one number, one per curve (...) or like y_mean;
        by default their mean (1 without weights, the common weight where all are equal). u² = (s²/(p·w₀) + gᵀ·V·g)/f'²,
        with the full covariance V of the parameters, g = ∂f/∂(parameters) and f' = dy/dx at x₀; s² = 1 where the
        scatter is known. GUM 5.2.2, QUAM Appendix E.4 (weighted form), ISO 11095, ISO/TS 28037 clause 11.

        x₀ lies on the branch of the standards; a y it never reaches gives NaN and a flag. Raises `UnusableCurve` (a
        ValueError) for a y_mean that is not finite, fewer than one reading, a weight not positive."""
        y = np.asarray(y_mean, float)
        if not np.isfinite(y).all():
            raise UnusableCurve("y_mean must be finite numbers")
        alone = y.ndim == len(self._batch)
        # A trailing axis even then: numbers without axes are not arrays that can be worked on in place.
        y = y[..., None] if alone else y
        axes = self._axes(y)
        variance = self._reading_variance(readings, weight, axes)
        with np.errstate(invalid="ignore"):
            solved = self.curve.spread(axes).solve(y, variance)
        low, high = (end.reshape(end.shape + (1,) * axes) for end in self._range)
        outside = (solved.x < low) | (solved.x > high)
        none = np.zeros(solved.x.shape, bool) if solved.none is None else solved.none
        flags = tuple(
            text
            for text, holds in (
                (OUTSIDE_RANGE, outside.any()),
                (self.curve.no_solution, solved.none is not None and none.any()),
                (WEIGHT_ASSUMED, weight is None and self._weights_differ),
            )
            if holds
        )
        dof = np.inf if self.scatter == "known" else float(self.degrees_of_freedom)
        pick = (..., 0) if alone else ()
        return InversePrediction(solved.x[pick][()], solved.u[pick][()], dof, outside[pick][()], none[pick][()], flags)

    def _reading_variance(self, readings: npt.ArrayLike, weight: npt.ArrayLike | None, axes: int) -> Array:
        p = np.asarray(readings, float)
        own = self._mean_weight if weight is None else np.asarray(weight, float)
        if not (np.greater_equal(p, 1).all() and np.isfinite(p).all()):
            raise UnusableCurve("readings must be 1 or more")
        if not (np.greater(own, 0).all() and np.isfinite(own).all()):
            raise UnusableCurve("the weight of a reading must be finite and greater than 0")
        unit = np.ones(self._batch) if self.scatter == "known" else np.square(self.residual_sd)
        unit, own, p = (
            a.reshape(a.shape + (1,) * axes) if a.shape == self._batch else a for a in (np.asarray(unit), own, p)
        )
        return np.asarray(unit / own / p)

    @property
    def _batch(self) -> tuple[int, ...]:
        return self.y.shape[:-1]

    def _axes(self, numbers: Array) -> int:
        """Axes that an array has beyond those of the batch."""
        if not self._batch:
            return numbers.ndim
        if numbers.shape[: len(self._batch)] != self._batch:
            raise UnusableCurve(f"a batch of {self._batch} curves needs that leading shape, not {numbers.shape}")
        return numbers.ndim - len(self._batch)

    @cached_property
    def _range(self) -> tuple[Array, Array]:
        """Ends of the standards, with the room that rounding takes."""
        low, high = self.x.min(axis=-1), self.x.max(axis=-1)
        room = 1e-12 * (high - low)
        return np.asarray(low - room), np.asarray(high + room)

    @cached_property
    def _mean_weight(self) -> Array:
        return np.asarray(self.reading_weights.mean(axis=-1))

    @cached_property
    def _weights_differ(self) -> bool:
        return bool((np.ptp(self.reading_weights, axis=-1) > 1e-9 * self._mean_weight).any())

    @property
    def standard_uncertainties(self) -> Array:
        """Of the parameters, (..., p)."""
        return np.sqrt(np.diagonal(self.covariance, axis1=-2, axis2=-1))

    @property
    def chi_squared(self) -> Numbers:
        """Σ w r², to be held against `chi_squared_limit` where the weights are 1/u² (ISO/TS 28037)."""
        return total(self.weights * self.residuals**2)[()]

    @property
    def chi_squared_limit(self) -> float:
        """95 % point of chi-squared for n − p degrees of freedom."""
        return chi_squared_limit(self.degrees_of_freedom)

    @cached_property
    def lack_of_fit(self) -> VarianceRatio | None:
        """F test against repeated readings; None where no level is repeated or levels are too few."""
        fitted = self.y - self.residuals
        return lack_of_fit(self.x, self.y, fitted, self.weights, self.parameters.shape[-1])

    @cached_property
    def linearity(self) -> VarianceRatio | None:
        """ISO 8466-1: line against quadratic on these standards. None for other kinds, with u_x, or below 4 points."""
        if self.kind not in ("line", "quadratic") or self.weights is not self.reading_weights:
            return None
        return linearity(centre(self.x, self.y, self.weights))


def fit_curve(
    kind: Kind,
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    u_x: npt.ArrayLike | None = None,
    u_y: npt.ArrayLike | None = None,
    scatter: Scatter = "estimated",
) -> CurveFit:
    """Least-squares calibration curve y = f(x) of the given kind.

    `x`, `y`: values and readings of the standards, (n,), or (..., n) for a batch of curves (x may be shared).
    `weights`: multiply the squared residuals (1/s²); `u_y`: standard uncertainties instead, weights 1/u_y². `u_x`:
    standard uncertainties of x (lines only): both coordinates are then adjusted (ISO/TS 28037 clause 7).
    `scatter`: "estimated" scales the covariance by the residual variance, "known" takes weights or u_y as they are.

    Raises `UnusableCurve` (a ValueError) with one line that says what is wrong: fewer levels than parameters + 1, all
    x equal, weights or uncertainties not positive, numbers not finite, a curve that is flat, turns within the range
    or has a pole in or near it, or no convergence."""
    try:
        return _fitted(kind, x, y, weights, u_x, u_y, scatter)
    except UnusableCurve:
        raise
    except ValueError as reason:
        raise UnusableCurve(str(reason)) from reason


def _fitted(
    kind: Kind,
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    weights: npt.ArrayLike | None,
    u_x: npt.ArrayLike | None,
    u_y: npt.ArrayLike | None,
    scatter: Scatter,
) -> CurveFit:
    _check_choices(kind, weights, u_x, u_y, scatter)
    standards, readings = _checked_points(x, y)
    given = checked_weights(_from_uncertainty(u_y) if u_y is not None else weights, readings)
    _check_levels(kind, standards)
    data = (about_zero if kind == "line-through-zero" else centre)(standards, readings, given)
    dof = readings.shape[-1] - PARAMETERS[kind]
    effective = given
    if u_x is None:
        curve = solver(kind)(data, _variance_unit(data, dof, scatter))
    else:
        curve, effective = _through_uncertain_points(data, standards, readings, given, u_x, dof, scatter)
    _check_usable(curve, standards, readings)
    residuals = readings - curve.spread(1).value(standards)
    parameters, covariance = curve.equation()
    residual_sd = np.sqrt(total(effective * residuals**2) / dof)[()]
    return CurveFit(
        kind, scatter, parameters, covariance, residual_sd, dof, residuals, standards, readings, effective, given, curve
    )


def _variance_unit(data: CentredData, dof: int, scatter: Scatter) -> Unit:
    """Variance of a y of the largest weight: estimated from the residuals, or 1 over that weight."""

    def unit(residuals: Array) -> Array:
        if scatter == "known":
            return 1.0 / data.largest_weight
        return data.height**2 * total(data.w * residuals**2) / dof

    return unit


def _through_uncertain_points(
    data: CentredData, x: Array, y: Array, weights: Array, u_x: npt.ArrayLike, dof: int, scatter: Scatter
) -> tuple[Line, Array]:
    uncertain = np.asarray(u_x, float)
    if not (np.isfinite(uncertain).all() and (uncertain >= 0).all()):
        raise UnusableCurve("u_x must be finite and not negative")
    if uncertain.shape != x.shape[x.ndim - uncertain.ndim :]:
        raise UnusableCurve(f"u_x has shape {uncertain.shape}, x {x.shape}: one number or one for each x is needed")
    u_y = 1.0 / np.sqrt(weights)
    line, effective = line_through_uncertain_points(data, np.broadcast_to(uncertain, x.shape), u_y)
    if scatter == "known":
        return line, effective
    s2 = total(effective * (y - line.spread(1).value(x)) ** 2) / dof
    return Line(line.x_mean, line.y_mean, line.slope, s2 * line.level_variance, s2 * line.slope_variance), effective


def _check_choices(
    kind: str, weights: npt.ArrayLike | None, u_x: npt.ArrayLike | None, u_y: npt.ArrayLike | None, scatter: str
) -> None:
    if kind not in PARAMETERS:
        raise UnusableCurve(f"kind {kind!r}: one of {', '.join(PARAMETERS)} is needed")
    if scatter not in ("estimated", "known"):
        raise UnusableCurve(f'scatter {scatter!r}: "estimated" or "known" is needed')
    if weights is not None and u_y is not None:
        raise UnusableCurve("weights and u_y say the same thing: give one of them")
    if u_x is not None and kind != "line":
        raise UnusableCurve(f"u_x is taken into account for a line only, not for kind {kind!r}")
    unstated = weights is None and u_y is None
    if unstated and (scatter == "known" or u_x is not None):
        need = "scatter known" if u_x is None else "u_x"
        raise UnusableCurve(f"{need}: u_y, or weights 1/u_y², must say how large the scatter of y is")


def _from_uncertainty(u_y: npt.ArrayLike) -> Array:
    u = np.asarray(u_y, float)
    if not (np.isfinite(u).all() and (u > 0).all()):
        raise UnusableCurve("u_y must be finite and greater than 0")
    return np.asarray(1.0 / u**2)


def _checked_points(x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Array, Array]:
    standards, readings = np.asarray(x, float), np.asarray(y, float)
    if standards.ndim < 1 or readings.ndim < 1 or standards.shape[-1] != readings.shape[-1]:
        raise UnusableCurve(f"x has shape {standards.shape}, y {readings.shape}: one x for each y is needed")
    if not (np.isfinite(standards).all() and np.isfinite(readings).all()):
        raise UnusableCurve("x and y must be finite numbers")
    shape = np.broadcast_shapes(standards.shape, readings.shape)
    return np.broadcast_to(standards, shape), np.broadcast_to(readings, shape)


def _check_levels(kind: str, x: Array) -> None:
    if x.shape[-1] == 0:
        raise UnusableCurve("no standards")
    levels = 1 + np.count_nonzero(np.diff(np.sort(x, axis=-1), axis=-1), axis=-1)
    _refuse(levels == 1, "all x are equal: a curve needs several levels")
    need = PARAMETERS[kind] + 1
    _refuse(levels < need, f"fewer than {need} levels of x: kind {kind!r} has {need - 1} parameters")


def _check_usable(curve: Curve, x: Array, y: Array) -> None:
    low, high = x.min(axis=-1), x.max(axis=-1)
    if isinstance(curve, Rational):
        _check_pole(curve, low, high)
    first, last = curve.slopes(low, high)
    rise = np.maximum(np.abs(first), np.abs(last)) * (high - low)
    _refuse(rise <= FLAT * np.abs(y).max(axis=-1), "the curve is flat: no value can be read off it")
    _refuse(first * last <= 0, "the curve is not monotonic in the range of the standards: it turns within it")


def _check_pole(curve: Rational, low: Array, high: Array) -> None:
    margin = NEAR_THE_RANGE * (high - low)
    ends = (low - margin, high + margin)
    at_low, at_high = (1.0 + curve.bend * (end - curve.x_mean) / curve.half for end in ends)
    _refuse((at_low <= 0) | (at_high <= 0), "the rational curve has a pole in or near the range of the standards")
    at_zero = np.abs(1.0 - curve.bend * curve.x_mean / curve.half)
    _refuse(at_zero < 1e-12, "the rational curve has its pole at x = 0: (a + b·x)/(1 + c·x) cannot state it")


def _refuse(bad: npt.NDArray[np.bool_] | np.bool_, reason: str) -> None:
    if not np.any(bad):
        return
    where = np.argwhere(bad)[0]
    place = f" (curve {', '.join(str(index + 1) for index in where)} of the batch)" if len(where) else ""
    raise UnusableCurve(reason + place)
