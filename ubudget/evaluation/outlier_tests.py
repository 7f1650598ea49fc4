"""Tests for outlying readings. They are offered beside an exclusion; none of them is a reason to leave a reading out.

Grubbs and Cochran have critical values in closed form, by quantiles of t and F (`scipy.special`). Dixon's have none and
are those of a published table, whose last digit is known to differ from simulation.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import fdtrc, fdtri, stdtr, stdtrit

from ubudget.quantity.moments import mean_and_sd

DIXON_LEVELS = (0.10, 0.05, 0.04, 0.02, 0.01)
DIXON_CRITICAL: dict[int, tuple[float, ...]] = {
    3: (0.941, 0.970, 0.976, 0.988, 0.994),
    4: (0.765, 0.829, 0.846, 0.889, 0.926),
    5: (0.642, 0.710, 0.729, 0.780, 0.821),
    6: (0.560, 0.625, 0.644, 0.698, 0.740),
    7: (0.507, 0.568, 0.586, 0.637, 0.680),
    8: (0.468, 0.526, 0.543, 0.590, 0.634),
    9: (0.437, 0.493, 0.510, 0.555, 0.598),
    10: (0.412, 0.466, 0.483, 0.527, 0.568),
}
"""Readings -> critical values of r10 = Q, two-sided, at `DIXON_LEVELS`: Rorabacher, Anal. Chem. 63 (1991) 139-146, as
reprinted in an open textbook of analytical chemistry (appendix 6, undated web edition)."""


@dataclass(frozen=True)
class OutlierTest:
    """One test of one set of readings at one level of significance."""

    name: str
    statistic: float
    critical: float
    level: float
    at: int
    """0-based position of what the test points at: a reading, or under Cochran a set of readings."""
    p: float | None = None
    """Probability of a statistic at least as large among readings without outlier; an upper bound for Grubbs and
    Cochran (Bonferroni), close to it where it is small. `None` where only a table is known."""

    @property
    def significant(self) -> bool:
        return self.statistic > self.critical


def grubbs(values: Sequence[float], level: float) -> OutlierTest | None:
    """One outlier, at either end (ISO 5725-2:1994, 7.3.4): G = max |x - mean|/s.

    `None` for fewer than three readings, or without scatter.

    Critical value (n - 1)/√n · √(t²/(n - 2 + t²)), t the quantile 1 - level/(2n) at n - 2 degrees of freedom."""
    n = len(values)
    if n < 3:
        return None
    mean, s = mean_and_sd(values)
    if not s > 0:
        return None
    at = max(range(n), key=lambda i: abs(values[i] - mean))
    statistic = abs(values[at] - mean) / s
    t = float(stdtrit(n - 2, 1 - level / (2 * n)))
    critical = (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))
    left = (n - 1) ** 2 - n * statistic**2
    # The largest G that n readings can give leaves nothing: t is infinite there.
    tail = float(stdtr(n - 2, -statistic * math.sqrt(n * (n - 2) / left))) if left > 0 else 0.0
    return OutlierTest("Grubbs", statistic, critical, level, at, min(1.0, 2 * n * tail))


def dixon(values: Sequence[float], level: float) -> OutlierTest | None:
    """One outlier, at either end: Q = gap to the nearest reading over the range (r10, Dixon; Rorabacher 1991). `None`
    where the table has neither this number of readings nor this level, or without scatter."""
    n = len(values)
    if n not in DIXON_CRITICAL or level not in DIXON_LEVELS:
        return None
    order = sorted(range(n), key=lambda i: values[i])
    low, high = values[order[0]], values[order[-1]]
    if not high > low:
        return None
    below = (values[order[1]] - low) / (high - low)
    above = (high - values[order[-2]]) / (high - low)
    critical = DIXON_CRITICAL[n][DIXON_LEVELS.index(level)]
    return OutlierTest("Dixon", max(below, above), critical, level, order[0] if below > above else order[-1])


def cochran(sets: Sequence[Sequence[float]], level: float) -> OutlierTest | None:
    """The largest of several variances (ISO 5725-2:1994, 7.3.3; 2019, 8.3.4): C = s²max/Σs².

    `None` for fewer than two sets of two readings, or without scatter. Where sets differ slightly in size, n is that of
    most of them.

    Critical value F/(F + p - 1), F the quantile 1 - level/p at n - 1 and (p - 1)(n - 1) degrees of freedom, p sets of n
    readings."""
    places = [place for place, values in enumerate(sets) if len(values) > 1]
    variances = [mean_and_sd(sets[place])[1] ** 2 for place in places]
    p, total = len(places), math.fsum(variances)
    if p < 2 or not total > 0:
        return None
    n = Counter(len(sets[place]) for place in places).most_common(1)[0][0]
    first = max(range(p), key=lambda i: variances[i])
    statistic = variances[first] / total
    f = float(fdtri(n - 1, (p - 1) * (n - 1), 1 - level / p))
    rest = 1 - statistic
    tail = float(fdtrc(n - 1, (p - 1) * (n - 1), statistic * (p - 1) / rest)) if rest > 0 else 0.0
    return OutlierTest("Cochran", statistic, f / (f + p - 1), level, places[first], min(1.0, p * tail))
