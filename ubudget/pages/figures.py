"""Numbers as a person reads them in a derivation."""

from __future__ import annotations

import math

SHOWN_DIGITS = 7
"""Significant digits of calculated numbers in print; everything is calculated with all digits."""


def plain(value: float, digits: int = SHOWN_DIGITS) -> str:
    """A number with that many significant digits, whole numbers whole, powers of ten only far from 1."""
    if math.isnan(value):
        return "none"
    if math.isinf(value) or abs(value) >= 1e98:
        return "infinite"
    if value == 0:
        return "0"
    if not 1e-5 <= abs(value) < 1e12:
        return _scientific(value, digits)
    place = math.floor(math.log10(abs(value)))
    return _without_zeros(f"{value:.{max(0, digits - 1 - place)}f}")


def as_written(value: float) -> str:
    """A number of the records, all of its digits."""
    return plain(value, 15)


def percent(share: float) -> str:
    """A share of the variance in per cent; what is there but small is said to be small."""
    if share != 0 and abs(share) < 0.0005:
        return "< 0.1 %"
    return f"{100 * share:.1f} %"


def dof_text(degrees_of_freedom: float | None) -> str:
    """Degrees of freedom to one decimal, `None` being infinite."""
    return "infinite" if degrees_of_freedom is None else f"{degrees_of_freedom:.1f}"


def unit_text(unit: str) -> str:
    """A unit to stand behind a number; that of a pure number is not written."""
    return f" {unit}" if unit not in ("", "1") else ""


def _scientific(value: float, digits: int) -> str:
    mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
    return f"{_without_zeros(mantissa)}E{int(exponent):+03d}"


def _without_zeros(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text
