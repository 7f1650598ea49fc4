"""What is made of the values of many trials: coverage intervals from sorted values, and the numerical tolerance.

JCGM 101:2008, 7.6 (estimate and standard uncertainty), 7.7 (coverage intervals), 7.9.2 (numerical tolerance).
"""

from __future__ import annotations

import math

import numpy as np

from ubudget.quantity.graph import Array

SYMMETRIC, SHORTEST = "symmetric", "shortest"


def covered(trials: int, probability: float) -> int:
    """Number q of steps between the sorted values at both ends (JCGM 101 7.7.1)."""
    exact = probability * trials
    whole = round(exact)
    return whole if math.isclose(exact, whole, rel_tol=1e-12) else math.floor(exact + 0.5)


def symmetric_interval(ordered: Array, probability: float) -> tuple[Array, Array]:
    """Ends of the probabilistically symmetric interval (JCGM 101 7.7.2) of sorted values, shape (…, trials)."""
    trials = ordered.shape[-1]
    q = min(covered(trials, probability), trials - 1)
    # The r-th value of the standard counts from 1.
    r = max((trials - q) // 2 if (trials - q) % 2 == 0 else (trials - q + 1) // 2, 1)
    return ordered[..., r - 1], ordered[..., min(r + q, trials) - 1]


def shortest_interval(ordered: Array, probability: float) -> tuple[Array, Array]:
    """Ends of the shortest interval (JCGM 101 7.7.4) of sorted values, shape (…, trials)."""
    trials = ordered.shape[-1]
    q = min(covered(trials, probability), trials - 1)
    first = np.argmin(ordered[..., q:] - ordered[..., : trials - q], axis=-1)[..., None]
    low: Array = np.take_along_axis(ordered, first, axis=-1)[..., 0]
    high: Array = np.take_along_axis(ordered, first + q, axis=-1)[..., 0]
    return low, high


INTERVALS = {SYMMETRIC: symmetric_interval, SHORTEST: shortest_interval}


def tolerance(u: float, digits: int) -> float:
    """Numerical tolerance delta = 10^l/2 of u written as c·10^l with an integer c of that many digits (7.9.2)."""
    if not (math.isfinite(u) and u > 0):
        return math.nan
    # Rounding to the digits first: 0.0996 with two digits is 10·10^-2.
    power = int(f"{u:.{digits - 1}e}".split("e")[1]) - (digits - 1)
    return float(0.5 * 10.0**power)
