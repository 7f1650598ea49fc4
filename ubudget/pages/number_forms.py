"""Value and uncertainty as digits: rounded together, and written in one notation.

The printed forms are those of JCGM 100:2008, 7.2.2 and 7.2.4; rounding 7.2.6, with one digit EA-4/02 6.3. Everything is
calculated on decimals, so that the text holds the rounded number and nothing else, trailing zeros included.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Context, Decimal

from ubudget.records.statement_form import DecimalMark, Notation

_EXACT = Context(prec=700)
"""Digits enough for any two floats side by side."""
_FIFTEEN = Context(prec=15, rounding=ROUND_HALF_UP)
"""Halves are judged on fifteen digits, as in cells."""
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_POINT = re.compile(r"(?<=\d)\.(?=\d)")


@dataclass(frozen=True)
class Pair:
    """A value and its uncertainty, both rounded to one place."""

    value: Decimal
    uncertainty: Decimal
    decimals: int
    """Places after the point; negative: tens, hundreds …"""


@dataclass(frozen=True)
class Digits:
    """Value and uncertainty as texts that share one power of ten."""

    value: str
    uncertainty: str
    exponent: int
    """0: no power of ten is written."""

    @property
    def power(self) -> str:
        """` × 10³`; empty for the exponent 0."""
        return f" × 10{str(self.exponent).translate(_RAISED)}" if self.exponent else ""


def at_place(value: float, decimals: int) -> Decimal:
    """A number at that many places, halves away from zero; zero has no sign."""
    number = _FIFTEEN.create_decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP, _EXACT)
    return number if number else number.copy_abs()


def rounded(uncertainty: float, digits: int) -> Decimal:
    """An uncertainty above zero at that many significant digits; one digit is rounded up where ordinary rounding takes
    more than 5 % off (EA-4/02 6.3). It is never zero."""
    exact = _FIFTEEN.create_decimal(repr(uncertainty))
    place = Decimal(1).scaleb(exact.adjusted() + 1 - digits)
    near = exact.quantize(place, ROUND_HALF_UP, _EXACT)
    if digits == 1 and near < Decimal("0.95") * exact:
        near = exact.quantize(place, ROUND_CEILING, _EXACT)
    # 0.999 became 1.00: a digit more than asked for.
    return near.quantize(Decimal(1).scaleb(near.adjusted() + 1 - digits), context=_EXACT)


def pair(value: float, uncertainty: float, digits: int = 2) -> Pair:
    """Value and uncertainty (above zero; both unrounded) as reported: the uncertainty at one or two significant digits,
    the value at its place."""
    stated = rounded(uncertainty, digits)
    decimals = _places(stated)
    return Pair(at_place(value, decimals), stated, decimals)


def reported_pair(value: float, uncertainty: float, decimals: int) -> Pair:
    """Value and uncertainty that are rounded already, to that many places."""
    return Pair(at_place(value, decimals), at_place(uncertainty, decimals), decimals)


def digits_of(numbers: Pair, notation: Notation, mark: DecimalMark) -> Digits:
    """Both as texts. In scientific notation they share a power of ten. Its exponent is a multiple of three, the
    smallest with which no zero of either is a mere place-holder: (0.99 ± 0.12) × 10³."""
    exponent = _exponent(numbers) if notation == "scientific" else 0
    value, uncertainty = (
        text(number.scaleb(-exponent, _EXACT), mark) for number in (numbers.value, numbers.uncertainty)
    )
    return Digits(value, uncertainty, exponent)


def in_brackets(numbers: Pair, notation: Notation, mark: DecimalMark) -> Digits:
    """The same with the uncertainty as whole last digits of the value, to stand in brackets: 100.021(35)."""
    shown = digits_of(numbers, notation, mark)
    fraction = max(0, numbers.decimals + shown.exponent)
    last = numbers.uncertainty.scaleb(fraction - shown.exponent, _EXACT)
    return Digits(shown.value, text(last.to_integral_value()), shown.exponent)


def relative(value: float, uncertainty: float, digits: int) -> Decimal | None:
    """An uncertainty in per cent of the value (both unrounded); None of a value that is zero, or so near to it that
    there is no such number."""
    share = 100 * uncertainty / abs(value) if value else math.inf
    return rounded(share, digits) if 0 < share < math.inf else None


def text(number: Decimal, mark: DecimalMark = "point") -> str:
    """All digits of a number, without a power of ten."""
    return marked(format(number, "f"), mark)


def marked(words: str, mark: DecimalMark) -> str:
    """A text with the decimal mark that is wanted in its numbers."""
    return _POINT.sub(",", words) if mark == "comma" else words


def significant_digits(number: Decimal) -> int:
    """Digits of a rounded number that are known; 0 where it is zero."""
    return len(number.as_tuple().digits) if number else 0


def _places(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int)
    return -exponent


def _exponent(numbers: Pair) -> int:
    largest = max(numbers.value.copy_abs(), numbers.uncertainty)
    exponent = 3 * (largest.adjusted() // 3) if largest else 0
    return max(exponent, 3 * math.ceil(-numbers.decimals / 3))
