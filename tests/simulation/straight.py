"""Simulations as somebody with numpy would write them: every input quantity drawn for all trials, the equations beside.

Nothing here comes from the library. Figures of the demo are those of its files, read off by hand: readings, masses,
certificates; standard deviations of the line by the formulas of least squares from its readings (QUAM, 3rd edition,
E.4.2). For the invented run of many results the figures are handed over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Summary:
    """Mean, standard deviation and both ends of the probabilistically symmetric interval."""

    mean: float
    u: float
    low: float
    high: float


def summary(values: Array, probability: float) -> Summary:
    tail = (1 - probability) / 2
    low, high = np.quantile(values, [tail, 1 - tail])
    return Summary(float(values.mean()), float(values.std(ddof=1)), float(low), float(high))


# --- The demo's zinc of SED-04: two portions on one line, a blank, recovery, precision ---

LEVELS = np.array([0.0, 0.499, 0.998, 1.996, 3.493, 4.99])
"""Standards in mg/L, made from a stock of 998 mg/L with U = 3 mg/L, k = 2."""
READINGS = np.array(
    [
        [48, 135, 85],
        [15523, 15550, 15621],
        [31175, 31033, 30989],
        [61940, 62404, 62155],
        [107756, 108224, 107805],
        [154380, 155180, 154750],
    ],
    dtype=np.float64,
)


@dataclass(frozen=True)
class Portion:
    """Net mass in g and mean reading in counts per second."""

    mass: float
    reading: float


PORTIONS = (Portion(0.4982, 115081.66666666667), Portion(0.4957, 114788.66666666667))
BLANK, S_BLANK = 636.2222222222222, 0.001063417592329902
"""Mean reading of the three blanks, and s of their mean in mg/L."""


def zinc_of_the_demo(trials: int, seed: int) -> Array:
    """Mass fraction in mg/kg, shape (trials,)."""
    rng = np.random.Generator(np.random.SFC64(seed))
    normal = rng.standard_normal

    # The line at the readings as they are: slope, s, and what its parameters scatter by.
    x0 = np.repeat(LEVELS, 3)
    y0 = READINGS.ravel()
    d0 = x0 - x0.mean()
    b0 = (d0 @ (y0 - y0.mean())) / (d0 @ d0)
    s = np.sqrt(np.sum((y0 - y0.mean() - b0 * d0) ** 2) / (y0.size - 2))

    # Solved again in each trial: the standards follow the stock.
    stock = 998 + 1.5 * normal(trials)
    x = LEVELS * (stock / 998)[:, None]
    mean = x.mean(axis=1)
    d = x - mean[:, None]
    rises = (READINGS - READINGS.mean()).sum(axis=1)
    together = np.sqrt(16 / rng.chisquare(16, trials))
    slope = (d @ rises) / (3 * (d * d).sum(axis=1)) + s / np.sqrt(d0 @ d0) * together * normal(trials)
    centre = y0.mean() + s / np.sqrt(y0.size) * together * normal(trials)
    scale = 1 + 0.003 * normal(trials)

    warmth = rng.uniform(-4, 4, trials)
    c_blank = scale * (mean + (BLANK - centre) / slope) + S_BLANK * rng.standard_t(2, trials)
    V_blank = 50 + rng.triangular(-0.06, 0, 0.06, trials) - 50 * 0.00021 * warmth
    R = 0.98 + 0.011 * rng.standard_t(14, trials)
    between = 0.015 * rng.standard_t(20, trials)
    # Portions share one estimate of the moisture's scatter, and one of both parts of the precision within a run.
    dried = np.sqrt(11 / rng.chisquare(11, trials))
    within = np.sqrt(24 / rng.chisquare(24, trials))
    total = np.zeros(trials)
    for portion in PORTIONS:
        c = scale * (mean + (portion.reading - centre) / slope)
        V = 50 + rng.triangular(-0.06, 0, 0.06, trials) - 50 * 0.00021 * warmth
        m = portion.mass + 0.0001 * normal(trials) - 0.0001 * normal(trials)
        m += rng.uniform(-0.00005, 0.00005, trials) - rng.uniform(-0.00005, 0.00005, trials)
        F_dry = 100 / (100 - (5.27 + 0.15 * dried * normal(trials)))
        level = (c * V - c_blank * V_blank) / (m * R) * F_dry
        total += level + within * (0.9 * normal(trials) + 0.019 * normal(trials) * level) + between * level
    return total / 2


# --- One result of the invented run of many results ---


@dataclass(frozen=True)
class Figures:
    """Estimates and standard uncertainties of one result, handed over: names as in the equations below."""

    levels: Array
    sums: Array
    """Sums of the readings of each level, less the mean of all."""
    replicates: int
    slope_u: float
    centre: float
    centre_u: float
    line_dof: float
    stock: float
    stock_u: float
    reading: float
    reading_u: float
    blank: float
    blank_u: float
    own_blank_u: float
    blank_dof: float
    flask: float
    blank_flask: float
    aliquot: float
    volume_u: tuple[float, float]
    """Calibration and filling of a flask."""
    aliquot_u: tuple[float, float]
    filling_dof: float
    mass: float
    mass_u: tuple[float, float, float]
    """Indication, half a step of the resolution, repeatability."""
    R: float
    R_u: float
    moisture: float


def one_of_many(f: Figures, trials: int, seed: int) -> Array:
    """Mass fraction in mg/kg, shape (trials,): the digest in one numbered flask, diluted from pipette into it."""
    rng = np.random.Generator(np.random.SFC64(seed))
    normal, t = rng.standard_normal, rng.standard_t
    stock = f.stock + f.stock_u * normal(trials)
    x = f.levels * (stock / f.stock)[:, None]
    mean = x.mean(axis=1)
    d = x - mean[:, None]
    together = np.sqrt(f.line_dof / rng.chisquare(f.line_dof, trials))
    slope = (d @ f.sums) / (f.replicates * (d * d).sum(axis=1)) + f.slope_u * together * normal(trials)
    centre = f.centre + f.centre_u * together * normal(trials)
    scale = 1 + 0.003 * normal(trials)
    c = scale * (mean + (f.reading + f.reading_u * together * normal(trials) - centre) / slope)
    scatter = np.sqrt(f.blank_dof / rng.chisquare(f.blank_dof, trials))
    c_blank = scale * (mean + (f.blank - centre) / slope)
    c_blank += scatter * (f.blank_u * normal(trials) + f.own_blank_u * normal(trials))
    warm = 2.1e-4 * rng.uniform(-4, 4, trials)
    calibration = f.volume_u[0] * normal(trials)
    V = f.flask * (1 - warm) + calibration + f.volume_u[1] * t(f.filling_dof, trials)
    diluted = f.flask + calibration + f.volume_u[1] * t(f.filling_dof, trials)
    aliquot = f.aliquot + f.aliquot_u[0] * normal(trials) + f.aliquot_u[1] * t(f.filling_dof, trials)
    V_blank = f.blank_flask * (1 - warm) + f.volume_u[0] * normal(trials) + f.volume_u[1] * t(f.filling_dof, trials)
    indication, step, repeatability = f.mass_u
    m = f.mass + indication * (normal(trials) - normal(trials))
    m += rng.uniform(-step, step, trials) - rng.uniform(-step, step, trials)
    m += repeatability * (t(f.filling_dof, trials) - t(f.filling_dof, trials))
    R = f.R + f.R_u * t(14, trials)
    F_dry = 100 / (100 - (f.moisture + 0.15 * t(11, trials)))
    level = (c * V * diluted / aliquot - c_blank * V_blank) / (m * R) * F_dry
    return level * (1 + 0.015 * t(20, trials))
