"""How many trials are enough: from the scatter of mean, u and interval ends between blocks of trials.

*Two stages* (the default): the variance of a block's figure is estimated once, from a first stage of `FIRST` blocks,
and says how many blocks the mean over blocks needs to lie within the tolerance with a probability of 95 %:
h = (t·s/delta)², t for the degrees of freedom of that s (Stein, Annals of Mathematical Statistics 16 (1945) 243; for
Monte Carlo trials Wübbeler, Harris, Cox and Elster, Metrologia 47 (2010) 317; from memory). *Plain* is JCGM 101:2008,
7.9.4: blocks are added until twice the standard deviation of each mean over blocks is within the tolerance. That asks
after every block whether it may stop, from two blocks on, and stops where the scatter came out small by chance; figures
then lie within the tolerance less often than 95 in 100 times.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from ubudget.quantity.graph import Array

Rule = Literal["two stages", "plain"]
TWO_STAGES: Rule = "two stages"
PLAIN: Rule = "plain"
FIRST = 10
"""Blocks of the first stage."""
SURE = 0.95
ROOT, CUBE_ROOT = 1 / 2, 1 / 3
"""How scatter falls with the number of trials: of means, standard deviations and quantiles; of the ends of a shortest
interval, whose place in a shallow minimum is found with less certainty (cube-root asymptotics, Kim and Pollard, Annals
of Statistics 18 (1990) 191; from memory). Over one block it is what the first stage sees."""


def block_size(probability: float) -> int:
    """Trials of a block: 10 000, or 100/(1 - p) where that is more (JCGM 101 7.9.4 b)."""
    return max(10_000, math.ceil(100 / (1 - probability) - 1e-9))


def fewest_trials(probability: float) -> int:
    """Below ten times 1/(1 - p) trials an interval rests on a handful of values beyond its ends (JCGM 101 7.2.2: the
    number should be large against 1/(1 - p))."""
    return math.ceil(10 / (1 - probability) - 1e-9)


def blocks_needed(figures: Array, delta: float, rate: float = ROOT) -> float:
    """Blocks that the two-stage rule asks for; `figures` has shape (figures, blocks of the first stage).

    Scatter falls with that `rate`, the power of the number of trials."""
    deviation = float(np.max(np.std(figures, axis=-1, ddof=1), initial=0.0))
    if deviation == 0:
        return 2
    factor = float(stdtrit(figures.shape[-1] - 1, (1 + SURE) / 2))
    return (
        math.inf
        if not (delta > 0 and math.isfinite(deviation))
        else math.ceil((factor * deviation / delta) ** (1 / rate))
    )


def plain_stop(figures: Array, deltas: Array) -> int | None:
    """Number of blocks after which the plain rule stops; None where it goes on. `deltas` (blocks,) is the tolerance
    from all trials up to each block."""
    h = np.arange(1, figures.shape[-1] + 1)
    # About the first block, so that squares lose no digits.
    about = figures - figures[:, :1]
    squares = np.cumsum(about**2, axis=-1) - h * (np.cumsum(about, axis=-1) / h) ** 2
    with np.errstate(all="ignore"):
        twice = 2 * np.sqrt(np.clip(squares, 0, None) / (h * (h - 1)))
    enough = np.flatnonzero((twice[:, 1:] <= deltas[1:]).all(axis=0))
    return int(enough[0]) + 2 if enough.size else None
