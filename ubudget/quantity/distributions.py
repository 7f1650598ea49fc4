"""Distributions of input quantities: divisor from half-width to standard uncertainty, cell spelling, and draws.

Divisors: GUM 4.3.7 (rectangular), 4.3.9 (triangular, trapezoidal), JCGM 101 6.4.3 (curvilinear trapezoid), 6.4.6
(arcsine). Draws: JCGM 101 6.4.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from ubudget.quantity.expression import Expression, Number, Operand, apply, as_expression

Array = npt.NDArray[np.float64]
DistributionName = Literal[
    "normal", "t", "rectangular", "triangular", "trapezoidal", "curvilinear trapezoid", "arcsine"
]
CURVILINEAR: DistributionName = "curvilinear trapezoid"


@dataclass(frozen=True)
class Distribution:
    """`divisor` turns a half-width into a standard uncertainty; None where there is no half-width.

    `fill(rng, out, parameter)` writes deviations with standard uncertainty 1; the parameter is the degrees of freedom
    of a t distribution (whose standard deviation is then larger than 1, JCGM 101 6.4.9.4), the width of the top over
    the base of a trapezoid, or the inexactness of the limits over the half-width of a curvilinear one. Trial by trial
    a generator gives the same numbers, in however many calls they are asked for."""

    name: DistributionName
    divisor: Callable[[Operand], Expression] | None
    fill: Callable[[np.random.Generator, Array, float], None]


def _normal(rng: np.random.Generator, out: Array, _: float) -> None:
    rng.standard_normal(out=out)


def fill_t_factor(rng: np.random.Generator, out: Array, dof: float) -> None:
    """sqrt(nu/chi-squared): a normal deviation times this factor has a t distribution; deviations that rest on one
    variance estimate share the factor."""
    rng.standard_gamma(dof / 2, out=out)
    np.divide(dof / 2, out, out)
    np.sqrt(out, out)


def _student(rng: np.random.Generator, out: Array, dof: float) -> None:
    # One after the other for each trial, so that the numbers do not depend on the size of a call.
    out[:] = rng.standard_t(dof, out.size)


def _rectangular(rng: np.random.Generator, out: Array, _: float) -> None:
    rng.random(out=out)
    np.multiply(out, 2 * math.sqrt(3), out)
    np.subtract(out, math.sqrt(3), out)


def _pairs(rng: np.random.Generator, out: Array) -> tuple[Array, Array]:
    """Two numbers from 0 to 1 for each trial."""
    both = rng.random(2 * out.size)
    return both[0::2], both[1::2]


def _triangular(rng: np.random.Generator, out: Array, _: float) -> None:
    np.add(*_pairs(rng, out), out)
    np.subtract(out, 1, out)
    np.multiply(out, math.sqrt(6), out)


def _trapezoidal(rng: np.random.Generator, out: Array, top: float) -> None:
    first, second = _pairs(rng, out)
    half_width = math.sqrt(6 / (1 + top**2))
    out[:] = half_width * ((1 + top) * (first - 0.5) + (1 - top) * (second - 0.5))


def _curvilinear(rng: np.random.Generator, out: Array, inexactness: float) -> None:
    # The limits move against each other, so that their middle stays: JCGM 101 6.4.3.4.
    first, second = _pairs(rng, out)
    half_width = 3 / math.sqrt(3 + inexactness**2)
    out[:] = half_width * (1 + inexactness * (2 * first - 1)) * (2 * second - 1)


def _arcsine(rng: np.random.Generator, out: Array, _: float) -> None:
    rng.random(out=out)
    np.multiply(out, 2 * np.pi, out)
    np.sin(out, out)
    np.multiply(out, math.sqrt(2), out)


def _root(square: float) -> Callable[[Operand], Expression]:
    return lambda _: apply("sqrt", Number(square))


DISTRIBUTIONS: dict[str, Distribution] = {
    row.name: row
    for row in (
        Distribution("normal", None, _normal),
        Distribution("t", None, _student),
        Distribution("rectangular", _root(3), _rectangular),
        Distribution("triangular", _root(6), _triangular),
        Distribution("trapezoidal", lambda top: apply("sqrt", Number(6) / (1 + as_expression(top) ** 2)), _trapezoidal),
        # u² = (2a)²/12 + d²/9 with d = inexactness times a: JCGM 101 6.4.3.3.
        Distribution(CURVILINEAR, lambda part: apply("sqrt", Number(9) / (3 + as_expression(part) ** 2)), _curvilinear),
        Distribution("arcsine", _root(2), _arcsine),
    )
}


def divisor(name: str, shape: Operand = 0.0) -> Expression:
    """Divisor from half-width to standard uncertainty, as an expression: sqrt(3), sqrt(6), …

    Raises `KeyError` for an unknown name, `ValueError` for a distribution without half-width."""
    row = DISTRIBUTIONS[name]
    if row.divisor is None:
        raise ValueError(f"the {name} distribution has no half-width")
    return row.divisor(shape)
