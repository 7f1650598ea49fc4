"""Means and sums of results of which some are below the quantification limit (Directive 2009/90/EC, Art. 5)."""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.errors import UbudgetError


def mean_with_low_values(values: Sequence[float | None], quantification_limit: float) -> tuple[float, bool]:
    """Mean of results, and whether it is to be reported as less than the quantification limit; `None` is a result
    below it and counts as half of it (Directive 2009/90/EC, Art. 5(1) and 5(2))."""
    numbers = _counted(values, quantification_limit, quantification_limit / 2)
    mean = sum(numbers) / len(numbers)
    return mean, mean < quantification_limit


def sum_with_low_values(values: Sequence[float | None], quantification_limits: Sequence[float]) -> float:
    """Sum over the components of a group; one below its quantification limit counts as zero (Directive 2009/90/EC,
    Art. 5(3))."""
    if len(values) != len(quantification_limits):
        raise UbudgetError(
            "conformity: found values and limits of different number; accepted: one limit for each value"
        )
    return sum(_counted([value], limit, 0.0)[0] for value, limit in zip(values, quantification_limits, strict=True))


def _counted(values: Sequence[float | None], limit: float, instead: float) -> list[float]:
    if not values or not limit > 0:
        raise UbudgetError("conformity: found no value, or a quantification limit of zero; accepted: both")
    return [instead if value is None or value < limit else value for value in values]
