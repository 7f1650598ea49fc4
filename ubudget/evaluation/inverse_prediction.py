"""The answer of an inverse prediction: x for a mean reading, with its uncertainty and what is wrong with it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Numbers = float | npt.NDArray[np.float64]
Truths = bool | npt.NDArray[np.bool_]

OUTSIDE_RANGE = "outside the range of the standards"
WEIGHT_ASSUMED = "weight of the reading not stated: mean weight of the standards taken"


@dataclass(frozen=True, eq=False)
class InversePrediction:
    """x₀ and u(x₀) in the units of x. Unpacks as value, standard uncertainty, degrees of freedom."""

    value: Numbers
    """NaN where there is no real solution."""
    standard_uncertainty: Numbers
    degrees_of_freedom: float
    """n − p of the curve, infinite where the scatter is known."""
    outside_range: Truths
    """Which values lie outside the standards: extrapolated."""
    no_solution: Truths
    """Which readings the curve never reaches, and so have value NaN."""
    flags: tuple[str, ...]
    """In words, each that holds for at least one value."""

    def __iter__(self) -> Iterator[Numbers]:
        return iter((self.value, self.standard_uncertainty, self.degrees_of_freedom))
