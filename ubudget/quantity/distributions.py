"""Distributions of input quantities: divisor from half-width to standard uncertainty, cell spelling, and draws.

Divisors: GUM 4.3.7 (rectangular), 4.3.9 (triangular, trapezoidal), JCGM 101 6.4.6 (arcsine). Draws: JCGM 101 6.4.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from ubudget.quantity.expression import Expression, Number, apply

Array = npt.NDArray[np.float64]
DistributionName = Literal["normal", "t", "rectangular", "triangular", "trapezoidal", "arcsine"]


@dataclass(frozen=True)
class Distribution:
    """`divisor` turns a half-width into a standard uncertainty; None where there is no half-width.

    `draw(rng, shape, u, shape_parameter)` gives deviations with standard uncertainty `u`; the parameter is the degrees
    of freedom of a t distribution (whose standard deviation is then larger than u, JCGM 101 6.4.9.4) or the width of
    the top over the base of a trapezoid."""

    name: DistributionName
    divisor: Callable[[float], Expression] | None
    draw: Callable[[np.random.Generator, tuple[int, ...], Array, Array], Array]


def _normal(rng: np.random.Generator, shape: tuple[int, ...], u: Array, _: Array) -> Array:
    return u * rng.standard_normal(shape)


def _student(rng: np.random.Generator, shape: tuple[int, ...], u: Array, dof: Array) -> Array:
    return u * rng.standard_t(dof, shape)


def _rectangular(rng: np.random.Generator, shape: tuple[int, ...], u: Array, _: Array) -> Array:
    return u * math.sqrt(3) * rng.uniform(-1, 1, shape)


def _triangular(rng: np.random.Generator, shape: tuple[int, ...], u: Array, _: Array) -> Array:
    return u * math.sqrt(6) * (rng.uniform(-0.5, 0.5, shape) + rng.uniform(-0.5, 0.5, shape))


def _trapezoidal(rng: np.random.Generator, shape: tuple[int, ...], u: Array, top: Array) -> Array:
    half_width = u * np.sqrt(6 / (1 + top**2))
    return half_width * ((1 + top) * rng.uniform(-0.5, 0.5, shape) + (1 - top) * rng.uniform(-0.5, 0.5, shape))


def _arcsine(rng: np.random.Generator, shape: tuple[int, ...], u: Array, _: Array) -> Array:
    return u * math.sqrt(2) * np.sin(2 * np.pi * rng.uniform(0, 1, shape))


def _root(square: float) -> Callable[[float], Expression]:
    return lambda _: apply("sqrt", Number(square))


DISTRIBUTIONS: dict[str, Distribution] = {
    row.name: row
    for row in (
        Distribution("normal", None, _normal),
        Distribution("t", None, _student),
        Distribution("rectangular", _root(3), _rectangular),
        Distribution("triangular", _root(6), _triangular),
        Distribution("trapezoidal", lambda top: apply("sqrt", Number(6) / (1 + Number(top) ** 2)), _trapezoidal),
        Distribution("arcsine", _root(2), _arcsine),
    )
}


def divisor(name: str, top: float = 0.0) -> Expression:
    """Divisor from half-width to standard uncertainty, as an expression: sqrt(3), sqrt(6), …

    Raises `KeyError` for an unknown name, `ValueError` for a distribution without half-width."""
    row = DISTRIBUTIONS[name]
    if row.divisor is None:
        raise ValueError(f"the {name} distribution has no half-width")
    return row.divisor(top)
