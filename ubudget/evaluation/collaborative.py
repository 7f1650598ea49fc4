"""Repeatability and reproducibility from results of several laboratories, level by level (ISO 5725-2:1994, 7.4)."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ubudget.errors import UbudgetError
from ubudget.evaluation.nested_variance import WITHIN, variance_components
from ubudget.evaluation.outlier_tests import OutlierTest, cochran, grubbs

OUTLIER, STRAGGLER = 0.01, 0.05
"""Levels of significance (ISO 5725-2:1994, 7.3.2.1)."""


@dataclass(frozen=True)
class Told:
    """A laboratory that an outlier test points at."""

    laboratory: str
    test: OutlierTest
    outlier: bool
    """At 1 %; else a straggler, at 5 %."""


@dataclass(frozen=True)
class LevelPrecision:
    """Precision at one level: repeatability, between-laboratory and reproducibility standard deviations."""

    laboratories: int
    results: int
    mean: float
    s_r: float
    repeatability_degrees_of_freedom: int
    s_L: float
    s_R: float
    reproducibility_degrees_of_freedom: float
    told: tuple[Told, ...]

    @property
    def r(self) -> float:
        """Repeatability limit 2.8 s_r (ISO 5725-6:1994, 4.1.4)."""
        return 2.8 * self.s_r

    @property
    def R(self) -> float:
        """Reproducibility limit 2.8 s_R."""
        return 2.8 * self.s_R


def level_precision(results: Mapping[str, Sequence[float]]) -> LevelPrecision:
    """Precision at one level from the results of each laboratory, in one unit; numbers of results may differ.

    A laboratory with a single result is left out (ISO 5725-2:1994, annex B.2). Cochran's test points at a laboratory's
    scatter, Grubbs's at its mean; what they point at is told and stays. Raises `UbudgetError` for fewer than two
    laboratories with two results."""
    present = {laboratory: values for laboratory, values in results.items() if len(values) > 1}
    if len(present) < 2:
        raise UbudgetError(
            f"found {len(present)} laboratories with two results or more; accepted: two laboratories at least"
        )
    values = [value for own in present.values() for value in own]
    owners = [laboratory for laboratory, own in present.items() for _ in own]
    found = variance_components(values, laboratory=owners)
    within = found.stratum(WITHIN)
    return LevelPrecision(
        len(present),
        len(values),
        found.mean,
        within.s,
        within.degrees_of_freedom,
        found.stratum("laboratory").s,
        found.s_total,
        found.total_degrees_of_freedom,
        tuple(_told(present)),
    )


def _told(results: Mapping[str, Sequence[float]]) -> Iterator[Told]:
    names = list(results)
    means = [math.fsum(values) / len(values) for values in results.values()]
    sets = list(results.values())
    tests = [[cochran(sets, level), grubbs(means, level)] for level in (OUTLIER, STRAGGLER)]
    for at_outlier, at_straggler in zip(*tests, strict=True):
        found = at_outlier if at_outlier is not None and at_outlier.significant else at_straggler
        if found is not None and found.significant:
            yield Told(names[found.at], found, found.level == OUTLIER)
