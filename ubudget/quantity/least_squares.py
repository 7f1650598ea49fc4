"""Linear least squares that keeps its digits: one system or a stack of them.

Columns are scaled, the design is factored once (Householder QR), and the solution is refined together with its
residuals on the augmented system, with defects computed in twice the working precision (Björck, BIT 7 (1967) 257 and
BIT 8 (1968) 8). Refining the coefficients alone would stall where residuals are large.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ubudget.quantity.twofold import sum_products, sum_twofold, two_product

Array = npt.NDArray[np.float64]

MOST_REFINEMENTS = 12
"""Each step wins several digits; two or three are the rule."""


class NoUniqueFit(ValueError):
    """The observations do not determine the parameters."""


@dataclass(frozen=True, eq=False)
class LinearFit:
    """Solution of min Σ w (y − X·b)². The leading axes of a stack of systems stand first in every array."""

    parameters: Array
    """b, shape (..., p)."""
    covariance: Array
    """Scaled by the residual variance: s²·(XᵀWX)⁻¹, shape (..., p, p)."""
    covariance_unscaled: Array
    """(XᵀWX)⁻¹: the covariance where the weights are 1/u² with known u."""
    residuals: Array
    """y − X·b, not weighted, shape (..., n)."""
    residual_sd: float | Array
    """s = √(Σ w r²/(n − p)), shape (...)."""
    degrees_of_freedom: int
    """n − p."""

    @property
    def standard_uncertainties(self) -> Array:
        """Square roots of the diagonal of `covariance`, shape (..., p)."""
        return np.sqrt(np.diagonal(self.covariance, axis1=-2, axis2=-1))


@dataclass(frozen=True, eq=False)
class _Factored:
    """The weighted design with scaled columns, √W·X·S = Q·R."""

    design: Array
    weights: Array
    root: Array
    q: Array
    r_inverse: Array
    scale: Array


def least_squares(design: npt.ArrayLike, y: npt.ArrayLike, *, weights: npt.ArrayLike | None = None) -> LinearFit:
    """Parameters b of y = X·b by (weighted) least squares, with their covariance.

    `design` X: shape (n, p), or (..., n, p) for a stack; `y`: (n,) or (..., n); `weights`: like y, multiply the squared
    residuals (1/s²), default 1. Reaches the certified digits of the NIST StRD linear sets (tests/published).

    Raises `NoUniqueFit` (a ValueError) where the columns are linearly dependent, ValueError for shapes that do not
    fit, n ≤ p, numbers that are not finite or weights that are not positive."""
    x, observed, w = _checked(design, y, weights)
    factored = _factor(x, w)
    b, residuals = _refined(factored, observed)
    dof = x.shape[-2] - x.shape[-1]
    half = factored.scale[..., :, None] * factored.r_inverse
    unscaled = half @ np.swapaxes(half, -1, -2)
    variance = sum_products(w * residuals, residuals) / dof
    return LinearFit(
        parameters=b,
        covariance=unscaled * variance[..., None, None],
        covariance_unscaled=unscaled,
        residuals=residuals,
        residual_sd=np.sqrt(variance)[()],
        degrees_of_freedom=dof,
    )


def checked_weights(weights: npt.ArrayLike | None, like: Array) -> Array:
    """Weights in the shape of the observations, 1 by default. Raises ValueError unless finite and positive."""
    if weights is None:
        return np.ones(like.shape)
    given = np.asarray(weights, float)
    if given.shape != like.shape[like.ndim - given.ndim :]:
        raise ValueError(
            f"weights have shape {given.shape}, observations {like.shape}: give one weight per observation"
        )
    if not (np.isfinite(given).all() and (given > 0).all()):
        raise ValueError("weights must be finite and greater than 0: leave out an observation rather than weigh it 0")
    return np.broadcast_to(given, like.shape)


def _checked(design: npt.ArrayLike, y: npt.ArrayLike, weights: npt.ArrayLike | None) -> tuple[Array, Array, Array]:
    x, observed = np.asarray(design, float), np.asarray(y, float)
    if x.ndim < 2 or observed.ndim < 1 or x.shape[-2] != observed.shape[-1]:
        raise ValueError(f"design has shape {x.shape}, y {observed.shape}: (..., n, p) and (..., n) are needed")
    if x.shape[-2] <= x.shape[-1]:
        raise ValueError(f"{x.shape[-2]} observations for {x.shape[-1]} parameters: at least one more is needed")
    if not (np.isfinite(x).all() and np.isfinite(observed).all()):
        raise ValueError("design and y must be finite numbers")
    stack = np.broadcast_shapes(x.shape[:-2], observed.shape[:-1])
    x = np.broadcast_to(x, stack + x.shape[-2:])
    observed = np.broadcast_to(observed, stack + observed.shape[-1:])
    return x, observed, checked_weights(weights, observed)


def _factor(x: Array, w: Array) -> _Factored:
    root = np.sqrt(w)
    weighted = root[..., None] * x
    size = np.linalg.norm(weighted, axis=-2)
    if not (size > 0).all():
        raise NoUniqueFit("a column of the design is zero: its parameter cannot be determined")
    # Powers of two scale without rounding.
    scale = np.ldexp(1.0, -np.frexp(size)[1])
    q, r = np.linalg.qr(weighted * scale[..., None, :])
    diagonal = np.abs(np.diagonal(r, axis1=-2, axis2=-1))
    if not (diagonal.min(axis=-1) > x.shape[-2] * np.finfo(float).eps * diagonal.max(axis=-1)).all():
        raise NoUniqueFit("columns of the design are linearly dependent: the parameters cannot be told apart")
    return _Factored(x, w, root, q, np.linalg.inv(r), scale)


def _refined(factored: _Factored, y: Array) -> tuple[Array, Array]:
    """Parameters and residuals, refined until the corrections no longer count."""
    b = np.zeros(y.shape[:-1] + factored.design.shape[-1:])
    residuals = np.zeros(y.shape)
    before = np.inf
    for _ in range(MOST_REFINEMENTS):
        step, change = _correction(factored, *_defects(factored, y, b, residuals))
        # Elementwise scale of what a correction may still change: noise of the last bit ends the refinement.
        size = float(np.max(np.abs(step) / (np.abs(b) + np.abs(step) + np.finfo(float).tiny), initial=0.0))
        if size >= before:
            break
        b, residuals, before = b + step, residuals + change, size
    return b, residuals


def _defects(factored: _Factored, y: Array, b: Array, residuals: Array) -> tuple[Array, Array]:
    """y − r − X·b, shape (..., n), and −XᵀW·r, shape (..., p), each summed in twice the working precision."""
    products, lost = two_product(factored.design, b[..., None, :])
    terms = np.concatenate([y[..., None], -residuals[..., None], -products], axis=-1)
    losses = np.concatenate([np.zeros((*y.shape, 2)), -lost], axis=-1)
    weighted, lost = two_product(factored.weights, residuals)
    columns = np.swapaxes(factored.design, -1, -2)
    high, low = two_product(columns, weighted[..., None, :])
    return sum_twofold(terms, losses), -sum_twofold(high, low + columns * lost[..., None, :])


def _correction(factored: _Factored, f: Array, g: Array) -> tuple[Array, Array]:
    """Solves dr + X·db = f, XᵀW·dr = g by the factors."""
    weighted = factored.root * f
    along = np.einsum("...np,...n->...p", factored.q, weighted)
    across = np.einsum("...pq,...p->...q", factored.r_inverse, factored.scale * g)
    step = factored.scale * np.einsum("...pq,...q->...p", factored.r_inverse, along - across)
    change = weighted - np.einsum("...np,...p->...n", factored.q, along - across)
    return step, change / factored.root
