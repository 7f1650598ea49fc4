"""Nonlinear least squares: damped until it is near, then Gauss-Newton steps until no digit moves.

The damped part (Levenberg 1944, Marquardt 1963; scaling after Moré 1978; damping after Nielsen 1999) finds the valley
from far away; it stops where the sum of squares no longer tells two points apart, half the digits short. The polishing
part then goes by the length of the steps themselves, which shrinks until rounding stops it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ubudget.quantity.least_squares import checked_weights, least_squares

Array = npt.NDArray[np.float64]
Model = Callable[[Array], npt.ArrayLike]

MOST_DAMPED_STEPS = 2000
MOST_POLISHING_STEPS = 200
NEAR = 1e-9
"""Relative step, or relative gain in the sum of squares, at which damping hands over to polishing."""
STATIONARY = 1e-6
"""Largest cosine between residuals and a column of the Jacobian that still counts as a minimum."""
HOPELESS_DAMPING = 1e40


class NotConverged(ValueError):
    """No minimum was found from the starting values."""


@dataclass(frozen=True, eq=False)
class NonlinearFit:
    """Solution of min Σ w (y − f(p))²."""

    parameters: Array
    """p, shape (p,)."""
    covariance: Array
    """Scaled by the residual variance: s²·(JᵀWJ)⁻¹, shape (p, p)."""
    covariance_unscaled: Array
    """(JᵀWJ)⁻¹: the covariance where the weights are 1/u² with known u."""
    residuals: Array
    """y − f(p), not weighted, shape (n,)."""
    residual_sd: float
    """s = √(Σ w r²/(n − p))."""
    degrees_of_freedom: int
    """n − p."""
    steps: int
    """Damped and polishing steps together."""

    @property
    def standard_uncertainties(self) -> Array:
        """Square roots of the diagonal of `covariance`, shape (p,)."""
        return np.sqrt(np.diagonal(self.covariance))


@dataclass(frozen=True, eq=False)
class _Problem:
    model: Model
    jacobian: Model
    y: Array
    weights: Array

    def residuals(self, p: Array) -> Array | None:
        """None where the model has no finite value: the damped part then tries a shorter step."""
        with np.errstate(all="ignore"):
            values = np.asarray(self.model(p), float)
        if values.shape != self.y.shape:
            raise ValueError(f"the model gives shape {values.shape}, y has {self.y.shape}")
        return self.y - values if np.isfinite(values).all() else None

    def slopes(self, p: Array) -> Array | None:
        with np.errstate(all="ignore"):
            slopes = np.asarray(self.jacobian(p), float)
        if slopes.shape != (*self.y.shape, len(p)):
            raise ValueError(f"the Jacobian has shape {slopes.shape}, ({len(self.y)}, {len(p)}) is needed")
        return slopes if np.isfinite(slopes).all() else None

    def sum_of_squares(self, residuals: Array) -> float:
        return float(np.sum(self.weights * residuals**2))


def gauss_newton(
    model: Model,
    jacobian: Model,
    start: npt.ArrayLike,
    y: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
) -> NonlinearFit:
    """Parameters p of y = f(p) by (weighted) nonlinear least squares, with their covariance.

    `model(p)`: the values f, shape (n,); `jacobian(p)`: ∂f_i/∂p_j, shape (n, p), analytic (finite differences stop
    five digits short); `start`: (p,); `y`: (n,); `weights`: (n,), multiply the squared residuals (1/s²), default 1.
    The model may be not finite away from the data: such a step is shortened.

    Raises `NotConverged` (a ValueError) where no minimum is reached, `NoUniqueFit` (a ValueError) where the parameters
    cannot be told apart there, ValueError for shapes that do not fit, n ≤ p or numbers that are not finite."""
    observed, p = np.asarray(y, float), np.asarray(start, float)
    if observed.ndim != 1 or p.ndim != 1 or len(observed) <= len(p):
        raise ValueError(f"y has shape {observed.shape}, start {p.shape}: more observations than parameters are needed")
    if not (np.isfinite(observed).all() and np.isfinite(p).all()):
        raise ValueError("y and start must be finite numbers")
    problem = _Problem(model, jacobian, observed, checked_weights(weights, observed))
    near, damped_steps = _damped(problem, p)
    polished, polishing_steps = _polished(problem, near)
    return _described(problem, polished, damped_steps + polishing_steps)


def _damped(problem: _Problem, p: Array) -> tuple[Array, int]:
    residuals = problem.residuals(p)
    slopes = problem.slopes(p)
    if residuals is None or slopes is None:
        raise NotConverged("the model or its Jacobian is not finite at the starting values")
    root = np.sqrt(problem.weights)
    sum_of_squares = problem.sum_of_squares(residuals)
    scale = np.zeros(len(p))
    damping, growth = 1e-3, 2.0
    for step_number in range(MOST_DAMPED_STEPS):
        weighted = root[:, None] * slopes
        scale = np.maximum(scale, np.linalg.norm(weighted, axis=0))
        safe = np.where(scale > 0, scale, 1.0)
        step, expected = _damped_step(weighted / safe, root * residuals, damping)
        size = float(np.linalg.norm(step))
        if expected <= NEAR**2 * sum_of_squares or size <= NEAR * float(np.linalg.norm(safe * p)):
            return p, step_number
        trial = p + step / safe
        new_residuals = problem.residuals(trial)
        gain = -1.0 if new_residuals is None else sum_of_squares - problem.sum_of_squares(new_residuals)
        new_slopes = problem.slopes(trial) if gain > 0 else None
        if new_residuals is not None and new_slopes is not None:
            p, residuals, slopes = trial, new_residuals, new_slopes
            sum_of_squares = problem.sum_of_squares(residuals)
            damping *= max(1 / 3, 1 - (2 * gain / expected - 1) ** 3)
            growth = 2.0
        else:
            damping, growth = damping * growth, growth * 2
            if damping > HOPELESS_DAMPING:
                # No step, however short, improves the sum: the last digit of the sum is reached, or never will be.
                return p, step_number
    raise NotConverged(f"no minimum within {MOST_DAMPED_STEPS} steps: try other starting values")


def _damped_step(slopes: Array, residuals: Array, damping: float) -> tuple[Array, float]:
    """Step in scaled parameters and the gain in the sum of squares that the linear model expects of it."""
    count = slopes.shape[1]
    bordered = np.vstack([slopes, np.sqrt(damping) * np.eye(count)])
    q, r = np.linalg.qr(bordered)
    step: Array = np.linalg.solve(r, q[: len(residuals)].T @ residuals)
    expected = float(np.sum((slopes @ step) ** 2) + 2 * damping * np.sum(step**2))
    return step, expected


def _full_step(slopes: Array, residuals: Array) -> Array:
    q, r = np.linalg.qr(slopes)
    if np.diagonal(r).all():
        full: Array = np.linalg.solve(r, q.T @ residuals)
        return full
    return np.full(slopes.shape[1], np.nan)


def _polished(problem: _Problem, p: Array) -> tuple[Array, int]:
    """Full Gauss-Newton steps as long as they shrink; where they do not (large residuals), p as the damping left it."""
    root, before = np.sqrt(problem.weights), np.inf
    for step_number in range(MOST_POLISHING_STEPS):
        residuals, slopes = problem.residuals(p), problem.slopes(p)
        if residuals is None or slopes is None:
            raise NotConverged("the model is not finite beside the minimum")
        weighted = root[:, None] * slopes
        scale = np.linalg.norm(weighted, axis=0)
        if not (scale > 0).all():
            return p, step_number
        step = _full_step(weighted / scale, root * residuals)
        size = float(np.linalg.norm(step))
        # Also ends where the columns do not tell the parameters apart: the step is then not a number.
        if not 0 < size < before:
            return p, step_number
        trial = p + step / scale
        if problem.residuals(trial) is None:
            return p, step_number
        p, before = trial, size
    return p, MOST_POLISHING_STEPS


def _described(problem: _Problem, p: Array, steps: int) -> NonlinearFit:
    residuals, slopes = problem.residuals(p), problem.slopes(p)
    if residuals is None or slopes is None:
        raise NotConverged("the model is not finite at the minimum")
    linear = least_squares(slopes, residuals, weights=problem.weights)
    _check_stationary(problem, residuals, slopes)
    dof = linear.degrees_of_freedom
    variance = problem.sum_of_squares(residuals) / dof
    return NonlinearFit(
        parameters=p,
        covariance=linear.covariance_unscaled * variance,
        covariance_unscaled=linear.covariance_unscaled,
        residuals=residuals,
        residual_sd=float(np.sqrt(variance)),
        degrees_of_freedom=dof,
        steps=steps,
    )


def _check_stationary(problem: _Problem, residuals: Array, slopes: Array) -> None:
    """The residuals stand at a right angle to every column of the Jacobian, up to the rounding of the data."""
    root = np.sqrt(problem.weights)
    columns = np.linalg.norm(root[:, None] * slopes, axis=0)
    pull = np.abs(slopes.T @ (problem.weights * residuals)) / columns
    rounding = 1e-12 * float(np.linalg.norm(root * problem.y))
    if (pull > STATIONARY * float(np.linalg.norm(root * residuals)) + rounding).any():
        raise NotConverged("the steps ended away from a minimum: try other starting values")
