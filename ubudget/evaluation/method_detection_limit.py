"""Method detection limit of the US regulation 40 CFR part 136, appendix B: revision 2 (2017), and the form of 1984.

A limit at which what is found differs from blanks with 99 % confidence; a decision limit in the words of IUPAC.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from ubudget.errors import UbudgetError
from ubudget.evaluation.detection import student_factor

CONFIDENCE = 0.99
FEWEST = 7
MANY_BLANKS = 100
"""Above this number of blanks, of which not all gave a result, the 99th percentile stands for the highest."""
LARGEST_F = 3.05
"""Ratio of the two variances from which on two sets are not pooled (form of 1984, step 7; 90 % point of F(6, 6))."""


@dataclass(frozen=True)
class MethodDetectionLimit:
    """`value` is the larger of both parts; all in the unit of the data."""

    value: float
    from_spikes: float
    from_blanks: float | None
    """None where no blank gave a numerical result, or none is asked for (1984)."""
    rule_of_blanks: str
    s: float
    """Standard deviation of the spikes, or the pooled one."""
    degrees_of_freedom: int
    lower: float
    """95 % confidence limits of the part from spikes: factors sqrt(nu/chi2)."""
    upper: float


def confidence_factors(degrees_of_freedom: int, confidence: float = 0.95) -> tuple[float, float]:
    """Lower and upper factor of the confidence interval of a standard deviation: 0.64 and 2.20 for nu = 6."""
    if not degrees_of_freedom >= 1 or not 0 < confidence < 1:
        raise UbudgetError(
            f"confidence: found {confidence:g} with {degrees_of_freedom} degrees of freedom; accepted: between 0 and "
            "1, with 1 or more; correct it"
        )
    tail = (1 - confidence) / 2
    low, high = (math.sqrt(degrees_of_freedom / float(chdtri(degrees_of_freedom, upper))) for upper in (tail, 1 - tail))
    return low, high


def method_detection_limit(spikes: Sequence[float], blanks: Sequence[float | None]) -> MethodDetectionLimit:
    """The limit of revision 2: MDL_S = t(n - 1, 0.99) s of the spikes, MDL_b from the blanks, and the larger of both.

    MDL_b, where every blank gave a numerical result: mean (zero if negative) + t(n - 1, 0.99) s. Where only some did:
    the highest result, or with more than 100 blanks the result of rank 0.99 n. Where none did it does not apply.
    `None` is a blank without numerical result. Results of spikes, shape (n,), from at least seven, prepared on three
    days or more, which figures alone do not show. Raises `UbudgetError` for fewer than seven of either, or a spike
    not above zero."""
    values = _at_least_seven(spikes, "spikes")
    if not (values > 0).all():
        raise UbudgetError(
            f"spikes: found {values.min():g}; accepted: results above zero (40 CFR 136 B); spike at a higher level"
        )
    if len(blanks) < FEWEST:
        raise UbudgetError(f"blanks: found {len(blanks)}; accepted: {FEWEST} or more method blanks; add blanks")
    from_blanks, rule = _from_blanks(blanks)
    return _limit(float(np.var(values, ddof=1)), len(values) - 1, from_blanks, rule)


def method_detection_limit_1984(spikes: Sequence[float]) -> MethodDetectionLimit:
    """The form of 1984 (revision 1.11): t(n - 1, 0.99) s of at least seven spikes, without blanks."""
    values = _at_least_seven(spikes, "spikes")
    return _limit(float(np.var(values, ddof=1)), len(values) - 1, None, "not part of this form")


def pooled_method_detection_limit(first: Sequence[float], second: Sequence[float]) -> MethodDetectionLimit:
    """Two sets of spikes, the second at the limit that the first gave, pooled (form of 1984, step 7, iterated).

    s^2 = sum(nu s^2)/sum(nu), 12 degrees of freedom and t = 2.681 for two sets of seven. Raises `UbudgetError` where
    the ratio of the larger variance to the smaller is not below 3.05: then spike again at the last limit."""
    sets = [_at_least_seven(first, "first set"), _at_least_seven(second, "second set")]
    variances = [float(np.var(values, ddof=1)) for values in sets]
    ratio = max(variances) / min(variances) if min(variances) > 0 else math.inf
    if not ratio < LARGEST_F:
        raise UbudgetError(
            f"two sets: found variances with the ratio {ratio:.3g}; accepted: below {LARGEST_F:g} (40 CFR 136 "
            "appendix B, 1984); spike again at the last limit"
        )
    return pooled_limit(variances, [len(values) for values in sets])


def pooled_limit(variances: Sequence[float], numbers: Sequence[int]) -> MethodDetectionLimit:
    """The limit t(nu, 0.99) s from variances of several sets and their numbers of results, s^2 pooled."""
    dofs = [number - 1 for number in numbers]
    if len(variances) != len(dofs) or not dofs or min(dofs) < 1 or not min(variances) >= 0:
        raise UbudgetError(
            "sets: found a variance below zero, or a set of fewer than two results; accepted: one variance and one "
            "number for each set; correct them"
        )
    pooled = sum(dof * variance for dof, variance in zip(dofs, variances, strict=True)) / sum(dofs)
    return _limit(pooled, sum(dofs), None, "not part of this form")


def _from_blanks(blanks: Sequence[float | None]) -> tuple[float | None, str]:
    numerical = [blank for blank in blanks if blank is not None]
    if not numerical:
        return None, "no blank gave a numerical result: the limit is that of the spikes"
    values = np.asarray(numerical, dtype=np.float64)
    if not np.isfinite(values).all():
        raise UbudgetError("blanks: found a figure that is not finite; accepted: finite numbers, or none; correct it")
    if len(numerical) < len(blanks):
        if len(blanks) <= MANY_BLANKS:
            return float(values.max()), f"{len(numerical)} of {len(blanks)} blanks gave a result: the highest"
        rank = math.floor(0.99 * len(blanks) + 0.5)
        # Blanks without result are lower than all others.
        place = rank - (len(blanks) - len(numerical)) - 1
        percentile = float(np.sort(values)[place]) if place >= 0 else 0.0
        return percentile, f"{len(numerical)} of {len(blanks)} blanks gave a result: that of rank {rank}"
    t = student_factor(CONFIDENCE, len(values) - 1)
    limit = max(0.0, float(values.mean())) + t * float(np.std(values, ddof=1))
    return limit, f"all {len(values)} blanks gave a result: mean, at least zero, + t s"


def _limit(variance: float, dof: int, from_blanks: float | None, rule: str) -> MethodDetectionLimit:
    s = math.sqrt(variance)
    own = student_factor(CONFIDENCE, dof) * s
    low, high = confidence_factors(dof)
    larger = own if from_blanks is None else max(own, from_blanks)
    return MethodDetectionLimit(larger, own, from_blanks, rule, s, dof, low * own, high * own)


def _at_least_seven(values: Sequence[float], name: str) -> np.ndarray:
    try:
        array = np.asarray(list(values), dtype=np.float64)
    except (TypeError, ValueError):
        raise UbudgetError(f"{name}: found what is no number; accepted: numbers alone; correct it") from None
    if len(array) < FEWEST:
        raise UbudgetError(f"{name}: found {len(array)} results; accepted: {FEWEST} or more; add spiked samples")
    if not np.isfinite(array).all():
        raise UbudgetError(f"{name}: found a figure that is not finite; accepted: finite numbers; correct it")
    if np.ptp(array) == 0:
        raise UbudgetError(f"{name}: found no scatter; accepted: results that differ; give them with more digits")
    return array
