"""Centre line, warning and action limits of control charts for individual values, means and ranges.

ISO 7870-2:2013 (formerly ISO 8258) and Nordtest TR 569: action limits at three, warning limits at two standard
deviations of what is charted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln, ndtr

from ubudget.errors import UbudgetError
from ubudget.quantity.moments import mean_and_sd

Array = npt.NDArray[np.float64]
WARNING, ACTION = 2.0, 3.0
LARGEST_GROUP = 25
"""Results of one group for which charts of ranges are used; beyond it a range says little."""
FEWEST_FOR_LIMITS = 20
"""Values below which limits from the history are preliminary (common practice, no source)."""


@dataclass(frozen=True)
class Limits:
    """Lines of a chart, in the unit of what is charted. `s` is the standard deviation of one point."""

    centre: float
    s: float
    warning: tuple[float, float]
    action: tuple[float, float]
    source: str
    degrees_of_freedom: float = math.inf

    def zone(self, value: float) -> float:
        """Distance from the centre line in standard deviations."""
        return (value - self.centre) / self.s


@dataclass(frozen=True)
class RangeConstants:
    """Mean and standard deviation of the range of n normal values of standard deviation 1."""

    d2: float
    d3: float


@cache
def range_constants(n: int) -> RangeConstants:
    """d2 and d3 by integration over the distribution of the range.

    Raises `UbudgetError` for n below 2 or above 25."""
    if not 2 <= n <= LARGEST_GROUP:
        raise UbudgetError(f"group of {n}: accepted: 2 to {LARGEST_GROUP} results")
    # P(range < w) = n ∫ φ(x) (Φ(x + w) - Φ(x))^(n - 1) dx; E(W) = ∫ (1 - P) dw, E(W²) = 2 ∫ w (1 - P) dw.
    x, w = np.linspace(-8.5, 8.5, 1701), np.linspace(0, 12, 1201)
    density = np.exp(-0.5 * x**2) / math.sqrt(2 * math.pi)
    inside = ndtr(x[None, :] + w[:, None]) - ndtr(x)[None, :]
    below: Array = np.asarray(n * np.trapezoid(density * inside ** (n - 1), x, axis=1), dtype=np.float64)
    d2 = float(_simpson(1 - below, w))
    square = 2 * float(_simpson(w * (1 - below), w))
    return RangeConstants(d2, math.sqrt(square - d2**2))


def _simpson(y: Array, x: Array) -> float:
    step = x[1] - x[0]
    return float(step / 3 * (y[0] + y[-1] + 4 * y[1:-1:2].sum() + 2 * y[2:-1:2].sum()))


def unbiased_divisor(n: int) -> float:
    """c4: the expected standard deviation of n normal values over the true one. Raises `UbudgetError` for n below 2."""
    if n < 2:
        raise UbudgetError(f"group of {n}: accepted: two results or more")
    return math.sqrt(2 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))


def given_limits(centre: float, s: float, source: str, dof: float = math.inf) -> Limits:
    """Lines about a centre at two and three standard deviations. Raises `UbudgetError` for s not above zero."""
    if not (s > 0 and math.isfinite(centre) and math.isfinite(s)):
        raise UbudgetError(f"limits: found centre {centre:g}, s = {s:g}; accepted: finite, s above zero")
    return Limits(
        centre,
        s,
        (centre - WARNING * s, centre + WARNING * s),
        (centre - ACTION * s, centre + ACTION * s),
        source,
        dof,
    )


def target_limits(centre: float, required_U: float) -> Limits:
    """Limits from a required expanded uncertainty rather than from own data: s = U/4, half of U for precision and half
    for all else (Nordtest TR 569)."""
    return given_limits(centre, required_U / 4, f"target: required U {required_U:g}, s = U/4")


def individual_limits(values: Sequence[float], *, moving_range: bool = False, centre: float | None = None) -> Limits:
    """From the history of single values: s of all of them, or from the mean moving range of two over 1.128, which does
    not see slow drifts. `centre` replaces their mean, by a certified value say.

    Raises `UbudgetError` for fewer than two values or no scatter."""
    if len(values) < 2:
        raise UbudgetError(f"history: found {len(values)} value(s); accepted: two, better {FEWEST_FOR_LIMITS}, or more")
    mean, s = mean_and_sd(values)
    dof: float = len(values) - 1
    source = f"mean and s of {len(values)} values"
    if moving_range:
        ranges = np.abs(np.diff(values))
        s = float(ranges.mean()) / range_constants(2).d2
        # Successive ranges share a value: about 0.62 (n - 1) degrees of freedom.
        dof = 0.62 * dof
        source = f"mean moving range of {len(values)} values"
    return given_limits(mean if centre is None else centre, s, source, dof)


def mean_limits(groups: Sequence[Sequence[float]]) -> Limits:
    """For means of groups of one size, from the means themselves: what differs between days is in their scatter.

    Raises `UbudgetError` for groups of different size, or fewer than two."""
    n = _one_size(groups)
    means = [math.fsum(group) / n for group in groups]
    mean, s = mean_and_sd(means)
    return given_limits(mean, s, f"scatter of {len(means)} means of {n}", len(means) - 1)


def range_limits(groups: Sequence[Sequence[float]]) -> Limits:
    """For ranges of groups of one size: centre d2 s, warning and action d2 + 2 d3 and d2 + 3 d3 times s; nothing below
    zero. s of one result is the mean range over d2.

    Raises `UbudgetError` for groups of different size, one alone, or no scatter."""
    n = _one_size(groups)
    ranges = [max(group) - min(group) for group in groups]
    return limits_of_ranges(math.fsum(ranges) / len(ranges), n, f"mean range of {len(ranges)} groups of {n}")


def limits_of_ranges(mean_range: float, n: int, source: str) -> Limits:
    """The same from a mean range that is known."""
    constants = range_constants(n)
    if not mean_range > 0:
        raise UbudgetError("ranges: found no scatter at all; accepted: results with more digits")
    s = mean_range / constants.d2
    spread = constants.d3 * s
    low = [max(0.0, mean_range - factor * spread) for factor in (WARNING, ACTION)]
    high = [mean_range + factor * spread for factor in (WARNING, ACTION)]
    return Limits(mean_range, spread, (low[0], high[0]), (low[1], high[1]), source)


def _one_size(groups: Sequence[Sequence[float]]) -> int:
    sizes = {len(group) for group in groups}
    if len(groups) < 2 or len(sizes) != 1:
        found = f"{len(groups)} groups of {', '.join(map(str, sorted(sizes))) or 'nothing'} results"
        raise UbudgetError(f"history: found {found}; accepted: two groups or more, all of one size")
    return sizes.pop()
