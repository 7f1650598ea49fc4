"""Sums without rounding: measured values are decimal numbers of few digits, and integers add exactly.

A double shows the decimal from which it was read as its shortest spelling, so that 1000000000000.4 is taken as written
and not as its nearest binary number, which differs in the last digits of a variance.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction


@dataclass(frozen=True)
class Decimals:
    """Values as integers: value = whole·10^exponent."""

    whole: tuple[int, ...]
    exponent: int

    @property
    def unit(self) -> Fraction:
        """10^exponent, what one step of the integers is worth."""
        return Fraction(10) ** self.exponent


def decimals(values: Iterable[float]) -> Decimals:
    """The values as integers with one power of ten. Raises `ValueError` for what is no finite number."""
    parts = []
    for value in values:
        sign, digits, exponent = Decimal(repr(float(value))).as_tuple()
        if not isinstance(exponent, int):
            raise ValueError("values must be finite numbers")
        number = int("".join(map(str, digits)))
        parts.append((-number if sign else number, exponent))
    lowest = min((exponent for _, exponent in parts), default=0)
    return Decimals(tuple(number * 10 ** (exponent - lowest) for number, exponent in parts), lowest)
