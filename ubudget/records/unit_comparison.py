"""A number in another unit where that is possible: the comparison of records asks, it does not insist."""

from __future__ import annotations

from tokenize import TokenError

from ubudget.quantity.units import convert


def in_unit(value: float, given: str, wanted: str) -> float | None:
    """The value in the wanted unit; `None` where the units do not convert or one of them is no unit."""
    try:
        return convert(value, given, wanted)
    except (ValueError, OverflowError, TokenError):  # no unit, another dimension, or no finite number
        return None
