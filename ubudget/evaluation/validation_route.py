"""Uncertainty from a laboratory's own validation and quality control data: u_c² = u(Rw)² + u(bias)².

Nordtest TR 537, section 3, and ISO 11352:2012, clause 8: absolute at low levels, relative above. ISO 21748:2017 from a
collaborative study.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import fdtrc

from ubudget.errors import UbudgetError

COVERAGE_FACTOR = 2.0


@dataclass(frozen=True)
class WithinLaboratory:
    """Within-laboratory reproducibility u(Rw), and from what."""

    u: float
    degrees_of_freedom: float
    source: str


def from_control_sample(s: float, n: int) -> WithinLaboratory:
    """A stable control sample taken through the whole procedure, n results on different days (TR 537, 4.1).

    Raises `UbudgetError` for n below 2 or s not above zero."""
    if n < 2 or not s > 0:
        raise UbudgetError(f"control sample: found n = {n}, s = {s:g}; accepted: n of two or more, s above zero")
    return WithinLaboratory(s, n - 1, "control sample over the whole procedure")


def from_control_and_duplicates(s: float, n: int, s_duplicates: float, pairs: float) -> WithinLaboratory:
    """A synthetic control solution, which has no scatter of the matrix, with duplicates of real samples
    (TR 537, 4.2): √(s_Rw² + s_r²). The same rule serves an unstable measurand, with the scatter between series in place
    of the control's (4.3). Degrees of freedom by Satterthwaite.

    Raises `UbudgetError` as `from_control_sample`, and for no duplicates."""
    control = from_control_sample(s, n)
    if pairs < 1 or not s_duplicates >= 0:
        raise UbudgetError(f"duplicates: found {pairs:g} pairs, s_r = {s_duplicates:g}; accepted: one pair or more")
    u = math.hypot(s, s_duplicates)
    dof = u**4 / (s**4 / control.degrees_of_freedom + s_duplicates**4 / pairs)
    return WithinLaboratory(u, dof, "control solution and duplicates of samples")


def from_warning_limits(half_width: float, n: int) -> WithinLaboratory:
    """Half of the warning limit's distance from the centre line of a control chart, which is 2 s."""
    control = from_control_sample(half_width / 2, n)
    return WithinLaboratory(control.u, control.degrees_of_freedom, "warning limits of the control chart")


@dataclass(frozen=True)
class Range:
    """A range of levels with its u(Rw) and u(bias): absolute, or as fractions of the level."""

    low: float
    high: float
    u_Rw: float
    u_bias: float
    relative: bool

    def standard_uncertainty(self, level: float) -> float:
        """u_c at a level, in its unit."""
        return math.hypot(self.u_Rw, self.u_bias) * (abs(level) if self.relative else 1.0)


def range_of(ranges: Sequence[Range], level: float) -> Range:
    """The range in which a level lies; where two meet, the upper one. Raises `UbudgetError` outside all."""
    for one in reversed(ranges):
        if one.low <= level <= one.high:
            return one
    words = "; ".join(f"{one.low:g} to {one.high:g}" for one in ranges)
    raise UbudgetError(f"level {level:g}: found in no range; accepted: {words}")


def combined(u_Rw: float, u_bias: float) -> tuple[float, float]:
    """u_c = √(u(Rw)² + u(bias)²) and U = 2 u_c, in the unit of both. Raises `UbudgetError` for a negative one."""
    if u_Rw < 0 or u_bias < 0:
        raise UbudgetError(f"found u(Rw) = {u_Rw:g}, u(bias) = {u_bias:g}; accepted: neither negative")
    u = math.hypot(u_Rw, u_bias)
    return u, COVERAGE_FACTOR * u


def from_collaborative_study(s_R: float, u_trueness: float, further: Sequence[float] = ()) -> float:
    """u = √(s_R² + u(δ)² + Σ(c_i u_i)²) of ISO 21748:2017: reproducibility, trueness of the method, and contributions
    c·u of effects that the study did not vary."""
    return math.sqrt(s_R**2 + u_trueness**2 + math.fsum(part * part for part in further))


def largest_laboratory_bias(s_R: float, s_r: float, n: int) -> float:
    """Twice √(s_L² + s_r²/n): a larger bias says that the study does not hold for the laboratory (ISO 21748:2017).

    Raises `UbudgetError` for s_R below s_r."""
    if s_R < s_r:
        raise UbudgetError(f"found s_R = {s_R:g} below s_r = {s_r:g}; accepted: s_R of the same study, not smaller")
    return 2 * math.sqrt(s_R**2 - s_r**2 + s_r**2 / n)


@dataclass(frozen=True)
class Excess:
    """Whether a long-term scatter is larger than what a budget expects of it."""

    ratio: float
    """F, the ratio of the variances."""
    probability: float
    """Of such a ratio or a larger one if the budget is true."""

    @property
    def significant(self) -> bool:
        """At 5 %, one-sided."""
        return self.probability < 0.05


def excess_over_budget(s: float, dof: float, u_budget: float, budget_dof: float = 1e9) -> Excess:
    """F test of a long-term standard deviation against the budget's u for the same effects.

    Raises `UbudgetError` for degrees of freedom below 1 or a budget without u."""
    if dof < 1 or budget_dof < 1 or not u_budget > 0:
        raise UbudgetError(
            f"found {dof:g} and {budget_dof:g} degrees of freedom, u = {u_budget:g}; accepted: one or more, u above "
            "zero"
        )
    ratio = (s / u_budget) ** 2
    return Excess(ratio, float(fdtrc(dof, budget_dof, ratio)))
