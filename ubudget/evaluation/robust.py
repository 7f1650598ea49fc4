"""Robust mean and standard deviation: what most results say, whatever a few of them do (ISO 13528:2015, annex C)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from ubudget.errors import UbudgetError

MOST_STEPS = 1000


@dataclass(frozen=True)
class Robust:
    """Robust mean and standard deviation of p results, and the standard uncertainty of the mean as assigned value."""

    mean: float
    s: float
    results: int
    u: float
    """1.25 s*/√p (ISO 13528:2015, 7.7.3)."""
    steps: int


def algorithm_a(values: Sequence[float]) -> Robust:
    """Algorithm A (ISO 13528:2015, C.3.1; ISO 5725-5): values beyond x* ± 1.5 s* are drawn in to these limits, mean and
    1.134 times the standard deviation of what results are the next x* and s*, until they stand still.

    Values of shape (p,), one unit. Where more than half of the results are equal, so that the median of deviations is
    zero, the start is the mean absolute deviation. Raises `UbudgetError` for fewer than three values or values that are
    no finite numbers."""
    numbers = [float(value) for value in values]
    p = len(numbers)
    if p < 3 or not all(map(math.isfinite, numbers)):
        raise UbudgetError(f"found {p} values; accepted: three finite numbers or more")
    x = median(numbers)
    s = 1.483 * median(abs(value - x) for value in numbers)
    s = s or math.fsum(abs(value - x) for value in numbers) / p
    steps = 0
    for steps in range(1, MOST_STEPS + 1):  # noqa: B007 - the number of steps is part of the answer
        drawn = [min(max(value, x - 1.5 * s), x + 1.5 * s) for value in numbers]
        mean = math.fsum(drawn) / p
        spread = 1.134 * math.sqrt(math.fsum((value - mean) ** 2 for value in drawn) / (p - 1))
        still = abs(mean - x) <= 1e-14 * abs(mean) + 1e-12 * spread and abs(spread - s) <= 1e-12 * spread
        x, s = mean, spread
        if still:
            break
    return Robust(x, s, p, 1.25 * s / math.sqrt(p), steps)
