"""What a simulation gives: figures of all its results."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ubudget.evaluation.simulation_settings import Settings
from ubudget.evaluation.trial_statistics import SHORTEST
from ubudget.quantity.graph import Array, Rows


@dataclass(frozen=True, eq=False)
class Simulation:
    """Figures of simulated results, shape (results,) each; NaN = there is none, and `reasons` says why.

    `rows` are those of the table of results. `symmetric` and `shortest` (results, 2) are coverage intervals; `low` and
    `high` the ends of the kind that the settings name. `left_out` counts trials without a value. `stable` says whether
    all figures lie within `tolerance` as far as their scatter between blocks tells."""

    settings: Settings
    rows: Rows
    trials: Rows
    left_out: Rows
    value: Array
    standard_uncertainty: Array
    symmetric: Array
    shortest: Array
    tolerance: Array
    stable: npt.NDArray[np.bool_]
    reasons: tuple[str, ...]

    @property
    def low(self) -> Array:
        return self._interval[:, 0]

    @property
    def high(self) -> Array:
        return self._interval[:, 1]

    @property
    def _interval(self) -> Array:
        return self.shortest if self.settings.interval == SHORTEST else self.symmetric
