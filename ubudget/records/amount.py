"""A number with its unit, kept as written: `"0.1 mg"`, `"2.5 %"`, `3`."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator

_AMOUNT = re.compile(r"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)(?:\s+(\S.*)|\s*(%))?")
_DECIMAL_COMMA = re.compile(r"^\s*[+-]?[0-9]+,[0-9]+(\s|$|%)")
MOST_DIGITS = 15
"""Significant digits that survive the way through a spreadsheet cell."""


@dataclass(frozen=True)
class Amount:
    """A number and its unit; `unit` is empty for a bare number, `%` for a percentage (relative to the
    estimate where a relative statement is allowed)."""

    value: float
    unit: str = ""
    text: str = ""

    @property
    def relative(self) -> bool:
        return self.unit == "%"


def significant_digits(number: str) -> int:
    """Significant digits of a number as written; zeros at its end do not count: they change nothing in a
    cell."""
    mantissa = number.strip().lower().partition("e")[0].lstrip("+-").replace("_", "").replace(".", "")
    return len(mantissa.strip("0"))


def parse_amount(given: Any) -> Amount:
    """`Amount` from text with unit or from a bare number; `ValueError` with the accepted form otherwise."""
    if isinstance(given, Amount):
        return given
    if isinstance(given, bool) or not isinstance(given, (int, float, str)):
        raise ValueError('accepted: a number with its unit as text, e.g. "0.1 mg"')
    if isinstance(given, int) and abs(given) >= 10**MOST_DIGITS:
        raise ValueError(f"more than {MOST_DIGITS} digits; accepted: at most {MOST_DIGITS}")
    text = str(given)
    if _DECIMAL_COMMA.match(text):
        raise ValueError('decimal comma; accepted: a decimal point, e.g. "0.1 mg"')
    match = _AMOUNT.fullmatch(text.strip()) if isinstance(given, str) else None
    if isinstance(given, str) and match is None:
        raise ValueError('accepted: a number, a space and its unit, e.g. "0.1 mg"')
    number = match.group(1) if match else text
    unit = (match.group(2) or match.group(3) or "") if match else ""
    return Amount(parse_number(number), unit, text)


def parse_number(number: str) -> float:
    """A finite number that a spreadsheet cell can hold; `ValueError` with the accepted form otherwise."""
    value = float(number)
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError("not a finite number; accepted: a finite number")
    digits = significant_digits(number)
    if digits > MOST_DIGITS:
        raise ValueError(f"more than {MOST_DIGITS} significant digits; accepted: at most {MOST_DIGITS}")
    if digits and abs(value) < sys.float_info.min:
        raise ValueError("a number too small for a spreadsheet cell; accepted: zero or 1e-300 and more")
    return value


def _positive(amount: Amount) -> Amount:
    if amount.value <= 0:
        raise ValueError("zero or negative; accepted: a number above zero")
    return amount


def _not_negative(amount: Amount) -> Amount:
    if amount.value < 0:
        raise ValueError("negative; accepted: zero or a number above zero")
    return amount


AnyAmount = Annotated[Amount, BeforeValidator(parse_amount)]
PositiveAmount = Annotated[Amount, BeforeValidator(lambda given: _positive(parse_amount(given)))]
NonNegativeAmount = Annotated[Amount, BeforeValidator(lambda given: _not_negative(parse_amount(given)))]
