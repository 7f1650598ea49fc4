"""One result while it is simulated: its figures block by block, how many trials it needs, and what comes out."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtri

from ubudget.evaluation.first_order import margin
from ubudget.evaluation.simulation_settings import Settings
from ubudget.evaluation.trial_numbers import CUBE_ROOT, FIRST, PLAIN, ROOT, block_size, blocks_needed, plain_stop
from ubudget.evaluation.trial_statistics import INTERVALS, SHORTEST, SYMMETRIC, tolerance
from ubudget.quantity.graph import Array

MOST_LOST = 0.001
"""Part of the trials without a value beyond which nothing is said of a result."""
LEAST_DOF, NO_MEAN = 2, 1
"""Degrees of freedom down from which a t distribution has no standard deviation, and no mean."""
SMALL_SHARE = 0.001
"""Part of u² below which two degrees of freedom are no hindrance to telling u."""
ROUNDS = 6
"""Times that trials are added; what is not decided then is told."""
STEP = 1.25
"""Numbers of blocks are rounded up to powers of this, so that results which need about as many go on together."""
NONE = (math.nan, math.nan)


@dataclass(frozen=True)
class Figures:
    """What comes out for one result; NaN = there is none, and `reason` says why."""

    trials: int = 0
    left_out: int = 0
    value: float = math.nan
    standard_uncertainty: float = math.nan
    symmetric: tuple[float, float] = NONE
    shortest: tuple[float, float] = NONE
    tolerance: float = math.nan
    stable: bool = False
    reason: str = ""


@dataclass(frozen=True)
class WideT:
    """Input quantities with so few degrees of freedom that their t distribution has no standard deviation: the symbol
    and degrees of freedom of the widest, and what part of u² they are together."""

    symbol: str
    dof: float
    share: float

    @property
    def counts(self) -> bool:
        """Whether there is no standard deviation of the result to speak of. The variance of draws of a t distribution
        with 2 degrees of freedom grows as the logarithm of their number, so slowly that a share below `SMALL_SHARE`
        does not show in two digits of u; with fewer it grows as a power."""
        return self.dof < LEAST_DOF or self.share >= SMALL_SHARE

    @property
    def words(self) -> str:
        has = f"{self.symbol} has {self.dof:.3g} degrees of freedom"
        if not self.counts:
            return f"{has} and less than {100 * SMALL_SHARE:g} % of u²; u is told, though strictly there is none"
        return f"{has}: there is {'no' if self.dof > NO_MEAN else 'neither mean nor'} standard deviation"


@dataclass
class Followed:
    """`wide` tells of t distributions without standard deviation, `ends` are those of its first-order interval."""

    settings: Settings
    wide: WideT | None
    ends: tuple[float, float] | None = None
    figures: Figures = field(default_factory=Figures)
    series: Array = field(default_factory=lambda: np.empty((4, 0)))
    """Mean, u, low and high of each block."""
    needed: int = FIRST
    """Blocks that it needs as far as known."""
    _rounds: int = 0
    _lost: int = 0
    _held_back: bool = False

    def __post_init__(self) -> None:
        fixed = self.settings.trials
        # The scatter of a fixed number is told from as many blocks as a first stage has.
        self.block = block_size(self.settings.probability) if fixed is None else fixed // FIRST
        self._most = max(self.settings.most_trials // self.block, FIRST)

    @property
    def _has_u(self) -> bool:
        return self.wide is None or not self.wide.counts

    @property
    def _has_mean(self) -> bool:
        return self.wide is None or self.wide.dof > NO_MEAN

    def begin(self) -> None:
        """Forgets the blocks, not how many are needed."""
        self.series = np.empty((4, 0))
        self._lost = 0

    def add(self, values: Array) -> None:
        """Further trials; says by `needed` whether they are enough."""
        blocks = values[: values.size // self.block * self.block].reshape(-1, self.block)
        new = np.array([self._of_block(block) for block in blocks]).T
        self.series = np.concatenate([self.series, new], axis=1)
        self._lost += int(np.count_nonzero(~np.isfinite(values)))
        self._rounds += 1
        if self.settings.trials is None and self._lost <= MOST_LOST * self.series.shape[1] * self.block:
            self._ask()

    def _of_block(self, block: Array) -> tuple[float, float, float, float]:
        sound = block[np.isfinite(block)]
        if sound.size < 2:
            return (math.nan,) * 4
        low, high = INTERVALS[self.settings.interval](np.sort(sound), self.settings.probability)
        return float(sound.mean()), float(sound.std(ddof=1)), float(low), float(high)

    @property
    def _judged(self) -> Array:
        """What is to become stable: where there is no standard deviation, the ends of the interval alone."""
        return self.series if self._has_u else self.series[2:]

    def _enough(self, delta: float) -> float:
        """Blocks that make all that is judged stable to a tolerance."""
        return max(blocks_needed(self._judged, delta), self._enough_for_ends(delta))

    def _enough_for_ends(self, delta: float) -> float:
        rate = CUBE_ROOT if self.settings.interval == SHORTEST else ROOT
        return blocks_needed(self.series[2:], delta, rate)

    def _ask(self) -> None:
        done = self.series.shape[1]
        if self.settings.rule == PLAIN:
            deltas = np.array([self._delta(count) for count in range(1, done + 1)])
            stop = plain_stop(self._judged, deltas)
            self._need(stop if stop is not None else done + 1)
            return
        delta = self._delta(done)
        if self._rounds == 1:
            self._need(max(done, self._enough(delta)))
        if self.needed <= done and self.ends is not None and self._rounds < ROUNDS:
            low, high = self.series[2:].mean(axis=1)
            finer = margin(abs(low - self.ends[0]), abs(high - self.ends[1]), delta)
            self._need(max(self.needed, self._enough_for_ends(finer)), for_test=True)

    def _need(self, blocks: float, *, for_test: bool = False) -> None:
        if blocks > FIRST and self.settings.rule != PLAIN:
            blocks = math.ceil(STEP ** math.ceil(math.log(min(blocks, 1e12), STEP) - 1e-9))
        if blocks > self._most:
            self._held_back = self._held_back or not for_test
            blocks = self._most
        self.needed = int(blocks)

    def _delta(self, blocks: int) -> float:
        """Tolerance of u from the first blocks."""
        mean, u, low, high = self.series[:, :blocks]
        if self._has_u:
            within = float(np.mean(u**2)) * (self.block - 1) * blocks
            between = float(np.sum((mean - mean.mean()) ** 2)) * self.block
            spread = math.sqrt((within + between) / (blocks * self.block - 1))
        else:
            spread = _as_u(float(np.mean(high - low)), self.settings.probability)
        return tolerance(spread, self.settings.digits)

    def finish(self, values: Array) -> None:
        """The figures from all trials together (JCGM 101 7.6, 7.7)."""
        trials = self.settings.trials or min(self.needed * self.block, values.size)
        sound = values[:trials]
        if self._lost:
            sound = sound[np.isfinite(sound)]
        lost = trials - sound.size
        if lost > MOST_LOST * trials:
            reason = f"{lost} of {trials} trials without a value, more than {100 * MOST_LOST:g} %"
            self.figures = Figures(trials, lost, reason=reason)
            return
        sound.sort()
        p = self.settings.probability
        if sound[0] == sound[-1]:
            fixed = float(sound[0])
            self.figures = Figures(trials, lost, fixed, 0.0, (fixed, fixed), (fixed, fixed), 0.0, True)
            return
        ends = {kind: tuple(float(end) for end in found(sound, p)) for kind, found in INTERVALS.items()}
        value, u = float(sound.mean()), _deviation(sound)
        low, high = ends[self.settings.interval]
        delta = tolerance(u if self._has_u else _as_u(high - low, p), self.settings.digits)
        stable = not self._held_back if self.settings.trials is None else self._enough(delta) <= FIRST
        self.figures = Figures(
            trials,
            lost,
            value if self._has_mean else math.nan,
            u if self._has_u else math.nan,
            (ends[SYMMETRIC][0], ends[SYMMETRIC][1]),
            (ends[SHORTEST][0], ends[SHORTEST][1]),
            delta,
            stable,
            "; ".join(self._reasons(lost, trials, stable)),
        )

    def _reasons(self, lost: int, trials: int, stable: bool) -> list[str]:
        reasons = []
        if self.wide is not None:
            reasons.append(self.wide.words)
        if lost:
            reasons.append(f"{lost} of {trials} trials without a value are left out")
        if not stable:
            digits = f"{self.settings.digits} digit{'s' if self.settings.digits > 1 else ''}"
            remedy = "more memory" if self.settings.trials is None else "more trials"
            reasons.append(f"not stable to {digits} of u within {trials} trials; {remedy} may help")
        return reasons


def _as_u(width: float, probability: float) -> float:
    """What would be u if an interval of this width were one of a normal distribution."""
    return width / (2 * float(ndtri((1 + probability) / 2)))


def _deviation(values: Array) -> float:
    """Standard deviation (JCGM 101 7.6), part by part, so that no second array of this size is needed."""
    mean = values.mean()
    squares = sum(float(np.sum((part - mean) ** 2)) for part in np.array_split(values, max(values.size // 10_000, 1)))
    return math.sqrt(squares / (values.size - 1))
