"""Decision limit, detection limit and quantification limit as plain functions.

Currie, IUPAC Recommendations 1995 (Pure Appl. Chem. 67, 1699), ISO 11843-1 and -2; Currie 1968 (Anal. Chem. 40, 586)
for counts. The decision limit (critical value) L_C answers "is it there?", the detection limit (minimum detectable
value) L_D is the level that is then overlooked with probability beta only. All alpha and beta are one-sided.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import nctdtr, ndtri, stdtr, stdtrit

from ubudget.errors import UbudgetError
from ubudget.quantity.least_squares import least_squares

LARGE_DOF = 10_000.0
"""From here on the normal quantile stands for Student's t, as in coverage."""
FEWEST_BLANKS = 2
ROUNDING = 1e-13
"""Residuals within this part of the readings are rounding, no scatter."""
Factor = Literal["non-central t", "sum of t"]


@dataclass(frozen=True)
class DetectionLimits:
    """Decision and detection limit in the unit of the data, and what they rest on."""

    decision: float
    detection: float
    s: float
    """Standard deviation of the net result at level zero: what the factors multiply."""
    degrees_of_freedom: float
    alpha: float
    beta: float
    factor: Factor
    """How the detection limit was calculated."""
    decision_signal: float | None = None
    """The reading that stands for the decision limit, where limits come from a calibration line."""


def student_factor(probability: float, degrees_of_freedom: float) -> float:
    """One-sided quantile of Student's t, such as t(0.95, 4) = 2.132; normal from 10,000 degrees of freedom on.

    Raises `UbudgetError` for a probability outside (0, 1) or degrees of freedom not above zero."""
    if not 0 < probability < 1:
        raise UbudgetError(f"probability: found {probability:g}; accepted: a number between 0 and 1; correct it")
    _check_dof(degrees_of_freedom)
    if degrees_of_freedom >= LARGE_DOF:
        return float(ndtri(probability))
    return float(stdtrit(degrees_of_freedom, probability))


def detection_factor(
    degrees_of_freedom: float, *, alpha: float = 0.05, beta: float = 0.05, factor: Factor = "non-central t"
) -> float:
    """The factor between standard deviation at level zero and detection limit (IUPAC 1995; ISO 11843-2, 5.1).

    `"non-central t"`: delta that solves P(T(nu, delta) <= t(1 - alpha, nu)) = beta, such as 4.07 for nu = 4.
    `"sum of t"`: t(1 - alpha) + t(1 - beta), 2 t for alpha = beta, an approximation that lies above it at the usual
    0.05 (4.26 for nu = 4); it is what a cell can calculate. Infinite degrees of freedom give z(1 - alpha) + z(1 -
    beta) either way."""
    _check_error(alpha, "alpha")
    _check_error(beta, "beta")
    t = student_factor(1 - alpha, degrees_of_freedom)
    total = t + student_factor(1 - beta, degrees_of_freedom)
    if factor == "sum of t" or degrees_of_freedom >= LARGE_DOF:
        return total
    if factor != "non-central t":
        raise UbudgetError(f'factor: found "{factor}"; accepted: "non-central t" or "sum of t"; correct it')
    if 1 - alpha <= beta:
        return 0.0
    # P falls as delta rises, from 1 - alpha at zero.
    low, high = 0.0, total + 1
    while _noncentral(degrees_of_freedom, high, t) > beta:
        low, high = high, 2 * high
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if _noncentral(degrees_of_freedom, middle, t) > beta:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _noncentral(dof: float, delta: float, t: float) -> float:
    return float(stdtr(dof, t)) if delta == 0 else float(nctdtr(dof, delta, t))


def detection_limits(
    s0: float,
    degrees_of_freedom: float,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    blanks: int | None = None,
    replicates: int = 1,
    factor: Factor = "non-central t",
) -> DetectionLimits:
    """Limits from the standard deviation `s0` of one determination at level zero (IUPAC 1995).

    s = s0 sqrt(1/replicates + 1/blanks): `replicates` determinations averaged in a result, less the mean of `blanks`
    blanks; without `blanks` nothing is subtracted, or a value known exactly. L_C = t(1 - alpha, nu) s; L_D = factor s.
    `s0` in the unit of the results. Raises `UbudgetError` where a figure cannot be used."""
    _check_s(s0)
    for name, number in (("replicates", replicates), ("blanks", blanks)):
        if number is not None and not number >= 1:
            raise UbudgetError(f"{name}: found {number}; accepted: 1 or more; correct the number")
    s = s0 * math.sqrt(1 / replicates + (0.0 if blanks is None else 1 / blanks))
    return _limits(s, degrees_of_freedom, alpha, beta, factor)


def limits_from_blanks(
    blanks: Sequence[float],
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    corrected: bool = True,
    replicates: int = 1,
    factor: Factor = "non-central t",
) -> DetectionLimits:
    """Limits from blanks, each an independent preparation: several readings of one blank solution are not.

    `corrected`: results are less the mean of these blanks, L_C = t s0 sqrt(1/replicates + 1/n_b). Shape (n,), in the
    unit of the results. Raises `UbudgetError` for fewer than two blanks, or blanks that are all equal."""
    values = _finite(blanks, "blanks")
    if len(values) < FEWEST_BLANKS:
        raise UbudgetError(
            f"blanks: found {len(values)}; accepted: {FEWEST_BLANKS} or more independent preparations, better ten; "
            "add blanks"
        )
    # Equal figures leave a residue of rounding, which is no scatter.
    s0 = float(np.std(values, ddof=1)) if np.ptp(values) > 0 else 0.0
    n = len(values) if corrected else None
    return detection_limits(s0, len(values) - 1, alpha=alpha, beta=beta, blanks=n, replicates=replicates, factor=factor)


def limits_from_calibration(
    x: Sequence[float],
    y: Sequence[float],
    *,
    replicates: int = 1,
    alpha: float = 0.05,
    beta: float = 0.05,
    weights: Sequence[float] | None = None,
    unknown_weight: float | Callable[[float], float] | None = None,
    factor: Factor = "non-central t",
) -> DetectionLimits:
    """Limits from a calibration line (ISO 11843-2:2000, constant standard deviation).

    x_C = t (s/b) sqrt(1/K + 1/n + x_mean^2/Sxx) with K = `replicates` readings of the unknown, n - 2 degrees of freedom
    and the residual s; x_D has the factor of the detection limit in place of t. `decision_signal` is y_C = a + b x_C.
    With `weights` (proportional to 1/s^2, shape (n,)) sums and means are weighted, and `unknown_weight`, a number or a
    function of the concentration, is that of one reading of the unknown: at zero for x_C, at x_D, step by step, for x_D
    (the standard's case of s that depends on the level; written from memory of it). Raises `UbudgetError` for fewer
    than three points, one level, no slope, or a line without scatter."""
    xs, ys = _finite(x, "x"), _finite(y, "y")
    if len(xs) != len(ys):
        raise UbudgetError(f"calibration: found {len(xs)} x and {len(ys)} y; accepted: as many y as x; complete them")
    if len(xs) < 3 or np.ptp(xs) == 0:
        raise UbudgetError(
            f"calibration: found {len(xs)} points, {len(set(xs.tolist()))} levels; accepted: three points or more on "
            "two levels or more; add standards"
        )
    if not replicates >= 1:
        raise UbudgetError(f"replicates: found {replicates}; accepted: 1 or more readings of the unknown; correct it")
    w = np.ones(len(xs)) if weights is None else _finite(weights, "weights")
    if len(w) != len(xs) or not (w > 0).all():
        raise UbudgetError("weights: found too few, or one not above zero; accepted: one above zero a point")
    if weights is not None and unknown_weight is None:
        raise UbudgetError(
            "unknown_weight: found none beside weights; accepted: the weight of one reading of the unknown, or a "
            "function of its concentration; give it"
        )
    mean = float(np.sum(w * xs) / np.sum(w))
    fit = least_squares(np.column_stack([np.ones(len(xs)), xs - mean]), ys, weights=w)
    level, slope = (float(part) for part in fit.parameters)
    if slope == 0 or not math.isfinite(slope):
        raise UbudgetError("calibration: found no slope; accepted: readings that change with concentration; check it")
    residuals = ys - level - slope * (xs - mean)
    dof = len(xs) - 2
    s = math.sqrt(float(np.sum(w * residuals**2)) / dof)
    _check_s(s if np.abs(residuals).max() > ROUNDING * np.abs(ys).max() else 0.0)
    line = 1 / float(np.sum(w)) + mean**2 / float(np.sum(w * (xs - mean) ** 2))

    def of_unknown(at: float) -> float:
        own = unknown_weight(at) if callable(unknown_weight) else 1.0 if unknown_weight is None else unknown_weight
        if not own > 0:
            raise UbudgetError(f"unknown_weight: found {own:g} at {at:g}; accepted: a weight above zero; correct it")
        return s / abs(slope) * math.sqrt(1 / (replicates * own) + line)

    limits = _limits(of_unknown(0.0), dof, alpha, beta, factor)
    detection = limits.detection
    if callable(unknown_weight):
        t = student_factor(1 - alpha, dof)
        rest = detection_factor(dof, alpha=alpha, beta=beta, factor=factor) - t
        for _ in range(100):
            nearer = t * of_unknown(0.0) + rest * of_unknown(detection)
            if abs(nearer - detection) <= 1e-12 * detection:
                break
            detection = nearer
    signal = level - slope * mean + slope * limits.decision
    return DetectionLimits(limits.decision, detection, limits.s, dof, alpha, beta, factor, signal)


def quantification_limit(s: float, *, multiple: float = 10.0) -> float:
    """L_Q = multiple times the standard deviation of results near it (IUPAC 1995: 10, a relative one of 10 %).

    With the detection limit as `s` it is that multiple of it. Raises `UbudgetError` for a figure not above zero."""
    _check_s(s)
    if not multiple > 0 or not math.isfinite(multiple):
        raise UbudgetError(f"multiple: found {multiple:g}; accepted: a number above zero, 10 by IUPAC; correct it")
    return multiple * s


def quantification_limit_at(target: float, s0: float, s1: float = 0.0, *, k: float = 1.0) -> float:
    """The level at which the relative uncertainty k u/x falls to `target` (0.3 = 30 %), u^2 = s0^2 + (s1 x)^2.

    `s0` in the unit of the results, `s1` relative; k = 1 speaks of u, k = 2 of U. Raises `UbudgetError` where the
    relative part alone is above the target."""
    _check_s(s0)
    for name, number in (("target", target), ("k", k)):
        if not number > 0 or not math.isfinite(number):
            raise UbudgetError(f"{name}: found {number:g}; accepted: a number above zero; correct it")
    if not 0 <= k * s1 < target:
        raise UbudgetError(
            f"target: found {target:g}, which k s1 = {k * s1:g} does not stay below at any level; accepted: a larger "
            "target, or a relative part from zero on; correct it"
        )
    return k * s0 / math.sqrt(target**2 - (k * s1) ** 2)


def counting_limits(
    background: float, *, alpha: float = 0.05, beta: float = 0.05, paired: bool = True, relative: float = 0.1
) -> tuple[float, float, float]:
    """Decision, detection and quantification limit of a net count over a background count (Currie 1968, eq. 9 to 14).

    `paired`: the background was counted once, as long as the sample; else it is well known. The quantification limit
    has the relative standard deviation `relative`. Raises `UbudgetError` for a negative background."""
    _check_error(alpha, "alpha")
    _check_error(beta, "beta")
    if not background >= 0 or not math.isfinite(background):
        raise UbudgetError(f"background: found {background:g} counts; accepted: zero or more; correct it")
    if not 0 < relative < 1:
        raise UbudgetError(f"relative: found {relative:g}; accepted: a number between 0 and 1; correct it")
    variance = background * (2 if paired else 1)
    z_alpha, z_beta = float(ndtri(1 - alpha)), float(ndtri(1 - beta))
    decision = z_alpha * math.sqrt(variance)
    # L_D - L_C = z_beta sqrt(variance + L_D), solved for L_D.
    detection = decision + z_beta**2 / 2 + z_beta * math.sqrt(z_beta**2 / 4 + decision + variance)
    return decision, detection, (1 + math.sqrt(1 + 4 * variance * relative**2)) / (2 * relative**2)


def truncated_interval(value: float, expanded: float) -> tuple[float, float]:
    """The interval value ± U of a quantity that cannot be negative, cut at zero (QUAM:2012 appendix F, AMC).

    Its ends are max(0, x - U) and max(0, x + U); value and U stay as they are. Raises `UbudgetError` for a negative
    U."""
    if not expanded >= 0:
        raise UbudgetError(f"expanded uncertainty: found {expanded:g}; accepted: zero or more; correct it")
    return max(0.0, value - expanded), max(0.0, value + expanded)


def _limits(s: float, dof: float, alpha: float, beta: float, factor: Factor) -> DetectionLimits:
    delta = detection_factor(dof, alpha=alpha, beta=beta, factor=factor)
    return DetectionLimits(student_factor(1 - alpha, dof) * s, delta * s, s, dof, alpha, beta, factor)


def _check_error(probability: float, name: str) -> None:
    if not 0 < probability <= 0.5:
        raise UbudgetError(f"{name}: found {probability:g}; accepted: above 0 and at most 0.5, as 0.05; correct it")


def _check_dof(dof: float) -> None:
    if not dof > 0:
        raise UbudgetError(
            f"degrees of freedom: found {dof:g}; accepted: a number above zero; take more blanks or readings"
        )


def _check_s(s: float) -> None:
    if not s > 0 or not math.isfinite(s):
        raise UbudgetError(
            f"standard deviation: found {s:g}; accepted: a number above zero (figures that are all equal were rounded "
            "or cut off); give them with more digits"
        )


def _finite(values: Sequence[float], name: str) -> np.ndarray:
    try:
        array = np.asarray(list(values), dtype=np.float64)
    except (TypeError, ValueError):
        raise UbudgetError(f"{name}: found what is no number; accepted: numbers alone; correct it") from None
    if not np.isfinite(array).all() or array.ndim != 1:
        raise UbudgetError(f"{name}: found a figure that is not finite; accepted: finite numbers; leave it out")
    return array
