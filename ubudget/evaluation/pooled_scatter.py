"""Standard deviations pooled from several small sets: duplicates of real samples, control samples of several months.

Pooled s from sums of squares (NIST/SEMATECH e-Handbook 2.4.4.4); from duplicates by differences or by their mean range
(ISO 11352:2012, 8.2; Nordtest TR 537, 4.2); by level, where s depends on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from ubudget.errors import UbudgetError
from ubudget.quantity.moments import mean_and_sd

RANGE_OF_TWO = 2 / math.sqrt(math.pi)
"""Expected range of two normal values over their standard deviation, d2 = 1.128."""


@dataclass(frozen=True)
class Pooled:
    """A standard deviation from several sets, and the mean level at which it was found."""

    s: float
    degrees_of_freedom: float
    sets: int
    level: float
    relative: bool = False
    """Whether s is a fraction of the level."""


def pooled_sd(sets: Sequence[Sequence[float]], *, relative: bool = False) -> Pooled:
    """s = √(Σ(n_i - 1)s_i²/Σ(n_i - 1)) over sets of values, each in one unit; sets of one value count for nothing.

    `relative`: each s_i over its own mean. Raises `UbudgetError` where no set has two values, or under `relative` for a
    mean that is not above zero."""
    used = [values for values in sets if len(values) > 1]
    if not used:
        raise UbudgetError("found no set of two values or more; accepted: at least one")
    moments = [_moments(values) for values in used]
    scales = [_scale(mean, at) if relative else 1.0 for at, (mean, _) in enumerate(moments, start=1)]
    freedom = sum(len(values) - 1 for values in used)
    squares = math.fsum(
        (len(values) - 1) * (s / scale) ** 2 for values, (_, s), scale in zip(used, moments, scales, strict=True)
    )
    level = math.fsum(mean for mean, _ in moments) / len(used)
    return Pooled(math.sqrt(squares / freedom), freedom, len(used), level, relative)


def pooled_by_degrees(sds: Sequence[float], degrees_of_freedom: Sequence[float]) -> tuple[float, float]:
    """s and its degrees of freedom from known standard deviations, each with its own degrees of freedom.

    Raises `UbudgetError` for none at all, a negative s, or degrees of freedom below one."""
    pairs = list(zip(sds, degrees_of_freedom, strict=True))
    if not pairs or any(s < 0 or dof < 1 for s, dof in pairs):
        raise UbudgetError("found no standard deviation, a negative one or less than one degree of freedom")
    total = math.fsum(dof for _, dof in pairs)
    return math.sqrt(math.fsum(dof * s * s for s, dof in pairs) / total), total


def duplicate_scatter(
    pairs: Sequence[tuple[float, float]],
    *,
    by: Literal["differences", "mean range"] = "differences",
    relative: bool = False,
) -> Pooled:
    """Scatter of one result from duplicates: s = √(Σd²/(2n)), or the mean range over 1.128; `relative` to each mean.

    Pairs in one unit. The mean range has 0.88 n degrees of freedom (from the variance of a range of two). Raises
    `UbudgetError` for no pair, values that are no finite numbers, or under `relative` a mean that is not above zero."""
    if not pairs:
        raise UbudgetError("found no duplicate; accepted: at least one pair")
    moments = [_moments(pair) for pair in pairs]
    scales = [_scale(mean, at) if relative else 1.0 for at, (mean, _) in enumerate(moments, start=1)]
    ranges = [abs(a - b) / scale for (a, b), scale in zip(pairs, scales, strict=True)]
    level = math.fsum(mean for mean, _ in moments) / len(pairs)
    if by == "mean range":
        s = math.fsum(ranges) / len(ranges) / RANGE_OF_TWO
        # var(range)/range² = π/2 - 1 of a pair, and 1/(2ν) for a standard deviation.
        return Pooled(s, len(pairs) / (math.pi - 2), len(pairs), level, relative)
    s = math.sqrt(math.fsum(d * d for d in ranges) / (2 * len(ranges)))
    return Pooled(s, len(pairs), len(pairs), level, relative)


def duplicates_by_level(
    pairs: Sequence[tuple[float, float]], ends: Sequence[float], *, relative_from: float = math.inf
) -> tuple[Pooled | None, ...]:
    """Scatter in each band of levels: below the first end, between ends, from the last one on; None where a band is
    empty. Bands that begin at `relative_from` or above are given as fractions of the level.

    Raises as `duplicate_scatter`, and for ends that do not rise."""
    if any(b <= a for a, b in pairwise(ends)):
        raise UbudgetError(f"ends of bands: found {', '.join(map(str, ends))}; accepted: rising levels")
    edges = [-math.inf, *ends, math.inf]
    bands = []
    for low, high in pairwise(edges):
        inside = [pair for pair in pairs if low <= sum(pair) / 2 < high]
        bands.append(duplicate_scatter(inside, relative=low >= relative_from) if inside else None)
    return tuple(bands)


def _moments(values: Sequence[float]) -> tuple[float, float]:
    try:
        return mean_and_sd(values)
    except ValueError as fault:
        raise UbudgetError(f"found {', '.join(map(str, values))}: {fault}") from None


def _scale(mean: float, at: int) -> float:
    if not mean > 0:
        raise UbudgetError(f"set {at}: found mean {mean:g}; accepted: above zero, for a relative scatter")
    return mean
