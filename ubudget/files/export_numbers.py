"""The text of one value: a number, a number with a mark, or a text that stands where no number was read.

Nothing becomes zero here that was not written as zero."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from ubudget.records.amount import MOST_DIGITS, parse_number, significant_digits
from ubudget.records.import_mapping import Marks

Fate = Literal["number", "excluded", "missing", "saturated", "below a limit", "above a limit", "unknown"]
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})


@dataclass(frozen=True)
class Signs:
    decimal: str
    thousands: str | None


@dataclass(frozen=True)
class Told:
    """What a cell says: its number as text with a decimal point where it has one, and its fate."""

    fate: Fate
    number: str = ""
    fault: str = ""
    """For `unknown`: what is wrong with it."""


def told_by(cell: str, marks: Marks, signs: Signs) -> Told:
    text = cell.translate(_MINUS).strip()
    if text in marks.missing:
        return Told("missing")
    if text in marks.saturated:
        return Told("saturated")
    if any(text.startswith(mark) for mark in marks.below):
        return Told("below a limit")
    if any(text.startswith(mark) for mark in marks.above):
        return Told("above a limit")
    bare = without_mark(text, marks)
    number, fault = number_of(text if bare is None else bare, signs)
    if not number:
        return Told("unknown", fault=fault)
    return Told("number" if bare is None else "excluded", number)


def without_mark(text: str, marks: Marks) -> str | None:
    """The text without a mark of exclusion; `None` where it bears none."""
    for mark in sorted(filter(None, marks.excluded), key=len, reverse=True):
        if text.startswith(mark):
            return text[len(mark) :].strip()
        if text.endswith(mark):
            return text[: -len(mark)].strip()
    return None


def number_of(text: str, signs: Signs) -> tuple[str, str]:
    """The number with a decimal point and without signs for thousands; or what is wrong with it."""
    whole = text
    if signs.thousands is not None and signs.thousands in text:
        head, point, tail = text.partition(signs.decimal)
        groups = head.lstrip("+-").split(signs.thousands)
        if len(groups[0]) not in (1, 2, 3) or any(len(group) != 3 for group in groups[1:]):
            return "", "signs for thousands that do not part groups of three digits"
        whole = head.replace(signs.thousands, "") + point + tail
    other = "," if signs.decimal == "." else "."
    if other in whole:
        if _NUMBER.fullmatch(whole.replace(other, ".")):
            return "", f"a decimal {_name(other)}, where the file has a decimal {_name(signs.decimal)}"
        return "", "no number"
    written = whole.replace(signs.decimal, ".")
    if not _NUMBER.fullmatch(written):
        return "", "no number, and no mark that the mapping knows"
    try:
        parse_number(written)
    except ValueError as error:
        return "", str(error).partition(";")[0]
    return written, ""


def _name(sign: str) -> str:
    return "comma" if sign == "," else "point"


def decimal_in(cells: Iterable[str], marks: Marks) -> tuple[str | None, str]:
    """The decimal sign of all numbers of a file, or why it is not clear; `.` where no number has one.

    `1,234` alone may be a decimal comma or thousands: a file whose numbers all look so does not tell."""
    points: list[str] = []
    commas: list[str] = []
    doubtful: list[str] = []
    for cell in cells:
        text = cell.translate(_MINUS).strip()
        text = without_mark(text, marks) or text
        if not re.fullmatch(r"[+-]?[0-9.,' ]*[0-9](?:[.,])?(?:[eE][+-]?[0-9]+)?", text):
            continue
        if ("." in text and "," in text) or text.count(",") > 1 or text.count(".") > 1:
            return None, f'numbers such as "{text[:40]}", with signs for thousands'
        if "," in text:
            (doubtful if _like_thousands(text, ",") else commas).append(text)
        elif "." in text:
            (doubtful if _like_thousands(text, ".") else points).append(text)
    if commas and points:
        return None, f'mixed decimal signs: "{commas[0][:40]}" beside "{points[0][:40]}"'
    sign = "," if commas else "." if points else None
    of_doubt = {"," if "," in text else "." for text in doubtful}
    if sign is not None and of_doubt - {sign}:
        other = next(text for text in doubtful if sign not in text)
        return None, f'mixed decimal signs: "{other[:40]}" beside "{(commas or points)[0][:40]}"'
    if sign is None and doubtful:
        return None, f'numbers such as "{doubtful[0][:40]}", which may be thousands or decimals'
    return sign or ".", ""


def _like_thousands(text: str, sign: str) -> bool:
    """One to three digits, not zero at their head, the sign, and three digits."""
    return bool(re.fullmatch(rf"[+-]?[1-9][0-9]{{0,2}}{re.escape(sign)}[0-9]{{3}}", text))


def in_other_unit(number: str, factor: Fraction) -> str:
    """A number as text times an exact factor, in decimal digits; as written where the factor is 1."""
    if factor == 1:
        return number
    exact = Fraction(number) * factor
    return f"{float(exact):.{max(MOST_DIGITS, significant_digits(number))}g}" if exact else "0"
