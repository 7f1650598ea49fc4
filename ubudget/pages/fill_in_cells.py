"""What a value of a document looks like in a cell of a fill-in workbook, with the number format that keeps it.

A number shown with zeros at its end, `40.0000`, keeps them by its number format: the reader takes what the cell shows
as long as that is the number stored.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from collections.abc import Sequence
from typing import Any

from ubudget.pages.book import Value
from ubudget.records.shape import Scalar, Several

TEXT_FORMAT = "@"
EMPTY_TEXT = '""'
"""How a text that is empty on purpose is written; an empty cell says nothing."""
ENTRIES_END = ";"
"""Between the entries of a list in one cell."""

_PLAIN_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]{0,14})(?:\.([0-9]{1,14}))?")
_FIRST_DAY = dt.date(1900, 3, 1)
"""Spreadsheets disagree about the numbers of earlier days."""

Shown = tuple[Value, str]
"""What stands in the cell, and its number format."""

KIND_WORDS: dict[str, str] = {
    "text": "text",
    "amount": "number and unit",
    "number": "number",
    "whole number": "whole number",
    "yes or no": "yes or no",
    "date": "date",
    "any": "text or number",
}


def shown(shape: Scalar | Several, value: Any) -> Shown:
    """The cell of a value."""
    if value is None:
        return None, format_of(shape)
    if isinstance(shape, Several):
        entries = value if isinstance(value, list) else [value]
        return joined([_as_text(entry) for entry in entries]), TEXT_FORMAT
    if isinstance(value, bool):
        return ("yes" if value else "no"), TEXT_FORMAT
    if isinstance(value, dt.date):
        return (value, "yyyy-mm-dd") if value >= _FIRST_DAY else (value.isoformat(), TEXT_FORMAT)
    if isinstance(value, (dict, list)):
        return json.dumps(value, ensure_ascii=False, default=str), TEXT_FORMAT
    if isinstance(value, (int, float)):
        text = str(value)
        if shape.kind == "amount":
            return number_shown(text)
        if shape.kind == "text":
            return text, TEXT_FORMAT
        return (int(value) if float(value).is_integer() and abs(value) < 1e15 else value), "General"
    return value or EMPTY_TEXT, TEXT_FORMAT


def format_of(shape: Scalar | Several) -> str:
    """Number format of an empty cell: text keeps what is typed, `2.5 %` and `1-2` included."""
    if isinstance(shape, Scalar) and shape.kind == "date":
        return "yyyy-mm-dd"
    return "General" if isinstance(shape, Scalar) and shape.kind in ("number", "whole number") else TEXT_FORMAT


def number_shown(text: str) -> Shown:
    """A number as written, as a number that shows the same digits; as text where no number format does."""
    match = _PLAIN_NUMBER.fullmatch(text)
    if match is None or text in ("-0", ""):
        return text, TEXT_FORMAT
    decimals = len(match.group(1) or "")
    number = float(text)
    if f"{number:.{decimals}f}" != text or len(text.lstrip("-").replace(".", "").lstrip("0")) > 15:
        return text, TEXT_FORMAT
    if decimals == 0:
        return int(text), "General"
    return number, "General" if f"{number:.15g}" == text else f"0.{'0' * decimals}"


def joined(entries: Sequence[str]) -> str:
    """Entries of a list in one cell; one that holds the separator stands in quotes."""
    line = io.StringIO()
    csv.writer(line, delimiter=ENTRIES_END, lineterminator="\n").writerow(entries)
    text = line.getvalue().removesuffix("\n")
    plain = not any(ENTRIES_END in entry or '"' in entry or "\n" in entry for entry in entries)
    return f"{ENTRIES_END} ".join(entries) if plain and all(entries) else text


def split(text: str) -> list[str]:
    """Entries of a list in one cell, trimmed. Raises `csv.Error` for quotes that do not close."""
    (entries,) = csv.reader(io.StringIO(text, newline=""), delimiter=ENTRIES_END, skipinitialspace=True, strict=True)
    return [entry.strip() for entry in entries]


def _as_text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else str(value)
