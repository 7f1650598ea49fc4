"""The first-order interval beside that of the simulation: JCGM 101:2008, clause 8.

y ± U of the law of propagation is accepted where both its ends differ from those of the simulation by no more than the
numerical tolerance delta of u (8.1, 8.2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ubudget.evaluation.simulated import Simulation
from ubudget.quantity.graph import Array

FINER = 5
"""The tolerance of a simulation that is to judge the first-order interval is delta over this (8.2)."""


@dataclass(frozen=True, eq=False)
class FirstOrder:
    """Values and expanded uncertainties U at the simulation's coverage probability, shape (results,) each."""

    value: Array
    expanded: Array

    @property
    def low(self) -> Array:
        return self.value - self.expanded

    @property
    def high(self) -> Array:
        return self.value + self.expanded


@dataclass(frozen=True, eq=False)
class Comparison:
    """Distances of the ends and whether the first-order interval is accepted, shape (results,) each; not accepted where
    the simulation has no interval."""

    first_order: FirstOrder
    d_low: Array
    d_high: Array
    valid: npt.NDArray[np.bool_]


def compare(simulation: Simulation, value: Array, expanded: Array) -> Comparison:
    """The test of clause 8; `value` and `expanded` (results,) belong to the rows of the simulation."""
    first = FirstOrder(np.asarray(value, float), np.asarray(expanded, float))
    d_low, d_high = np.abs(first.low - simulation.low), np.abs(first.high - simulation.high)
    delta = simulation.tolerance
    # A result that nothing moves agrees exactly.
    exact = (d_low == 0) & (d_high == 0)
    with np.errstate(invalid="ignore"):
        valid = exact | ((d_low <= delta) & (d_high <= delta))
    return Comparison(first, d_low, d_high, valid)


def margin(d_low: float, d_high: float, delta: float) -> float:
    """How far the test is from turning round; never less than the tolerance that it asks for."""
    return max(abs(max(d_low, d_high) - delta), delta / FINER)
