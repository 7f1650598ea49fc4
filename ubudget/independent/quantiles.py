"""Quantiles by inversion: Student's t from the finite sums for whole degrees of freedom, the normal one from `erf`."""

from __future__ import annotations

import math
from collections.abc import Callable

WITHOUT_END = 10_000
"""From so many degrees of freedom on the normal distribution stands for t, as the program states it."""


def factor(probability: float, dof: int | None) -> float:
    """k of the interval from -k to k that holds `probability`; `dof` None is infinite."""
    if dof is None or dof >= WITHOUT_END:
        return _inverse(lambda k: math.erf(k / math.sqrt(2)), probability)
    return _inverse(lambda k: _within(k, dof), probability)


def _inverse(inside: Callable[[float], float], probability: float) -> float:
    low, high = 0.0, 1.0
    while inside(high) < probability:
        low, high = high, 2 * high
    while (middle := (low + high) / 2) not in (low, high):
        low, high = (middle, high) if inside(middle) < probability else (low, middle)
    return high


def _within(t: float, dof: int) -> float:
    """Probability between -t and t (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4)."""
    angle = math.atan(t / math.sqrt(dof))
    sine, cosine = math.sin(angle), math.cos(angle)
    if dof % 2:
        terms = _terms(cosine, cosine, [2 * j / (2 * j + 1) for j in range(1, (dof - 1) // 2)]) if dof > 1 else []
        return 2 / math.pi * (angle + sine * math.fsum(terms))
    return sine * math.fsum(_terms(1.0, cosine, [(2 * j - 1) / (2 * j) for j in range(1, dof // 2)]))


def _terms(first: float, cosine: float, factors: list[float]) -> list[float]:
    terms = [first]
    for each in factors:
        terms.append(terms[-1] * each * cosine * cosine)
    return terms
