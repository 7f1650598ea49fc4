"""A cell of a hand-edited fill-in workbook as a value of a document, or the one line that says why not.

What a person sees in the cell counts: `2.5 %` in a cell formatted as percentage is 2.5 %, and zeros at the end of a
number are kept where the number format shows them.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
from typing import Any

from ubudget.files.sheet_xml import text_as_stored
from ubudget.pages.fill_in_cells import EMPTY_TEXT, split
from ubudget.records.shape import Scalar, Several

_ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+(?:\s*%)?")
_FIXED_DECIMALS = re.compile(r"(?:#,##)?0\.(0+)")
_QUOTED = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')
_LONGEST_FORMAT = 255
"""Signs of a number format that are looked at; the common spreadsheets take no more."""
_YES_NO = {"yes": True, "true": True, "no": False, "false": False}
_DATE = "a date cell, or text in the order year-month-day, e.g. 2026-03-04"


class CellFault(Exception):
    """Found, accepted, remedy."""

    def __init__(self, found: str, accepted: str, remedy: str) -> None:
        super().__init__(found)
        self.words = (found, accepted, remedy)


def content(cell: Any) -> Any:
    """What a cell holds: trimmed text, number, truth value or date; `None` for an empty cell.

    Raises `CellFault` for a formula and for an error value."""
    value = cell.value
    if value is None:
        return None
    if cell.data_type == "f":
        raise CellFault(
            f"the formula {str(getattr(value, 'text', value))[:40]}",
            "a value as it was observed",
            "copy the cell and paste its value",
        )
    if cell.data_type == "e":
        raise CellFault(f"the error value {value}", "a value", "correct the cell or empty it")
    if isinstance(value, str):
        return text_as_stored(value).strip() or None
    return value


def value_of(cell: Any, shape: Scalar | Several) -> Any:
    """The value of a document that a cell gives, `None` for an empty cell. Raises `CellFault`."""
    held = content(cell)
    if held is None:
        return None
    if isinstance(shape, Several):
        if not isinstance(held, str):
            return [_scalar(held, cell.number_format, shape.of)]
        try:
            return [_scalar(entry, "General", shape.of) for entry in split(held) if entry or shape.of.kind == "text"]
        except csv.Error:
            raise CellFault(
                f"quotes that do not close in {held[:40]}", "entries separated by semicolons", "close the quotes"
            ) from None
    return _scalar(held, cell.number_format, shape)


def cell_text(cell: Any, unit: str | None, *, is_number: bool) -> str:
    """A cell of samples, solutions or readings as the text that the table holds. Raises `CellFault`.

    `unit` is the unit of the heading, `None` where it says none."""
    held = content(cell)
    if held is None:
        return ""
    if (
        isinstance(held, (int, float))
        and not isinstance(held, bool)
        and is_number
        and is_percentage(cell.number_format)
    ):
        if unit != "%":
            accepted = f"a number in {unit}" if unit else "a plain number"
            raise CellFault(f"a percentage, {_percent(held)}", accepted, "format the cell as number and type it again")
        return _percent(held).removesuffix(" %")
    text = _scalar(held, cell.number_format, Scalar("text"))
    return "" if text == "" else str(text)


def is_percentage(number_format: str) -> bool:
    return "%" in _QUOTED.sub("", (number_format or "")[:_LONGEST_FORMAT])


def _scalar(held: Any, number_format: str, shape: Scalar) -> Any:
    if isinstance(held, bool):
        return _truth(held, shape)
    if isinstance(held, (dt.datetime, dt.date, dt.time, dt.timedelta)):
        return _date(held, shape)
    if isinstance(held, (int, float)):
        return _number(held, number_format, shape)
    return _text(held, shape)


def _truth(held: bool, shape: Scalar) -> Any:
    if shape.kind in ("yes or no", "any"):
        return held
    accepted = "a date" if shape.kind == "date" else "text" if shape.kind == "text" else "a number"
    raise CellFault(f"the truth value {str(held).upper()}", accepted, "correct the cell")


def _date(held: Any, shape: Scalar) -> Any:
    if shape.kind not in ("date", "any"):
        raise CellFault(
            f"the date or time {held}",
            "a number" if shape.kind in ("amount", "number", "whole number") else "text",
            "format the cell as text and type it again: the spreadsheet took what was typed for a date",
        )
    if isinstance(held, dt.datetime) and held.time() == dt.time():
        return held.date()
    if isinstance(held, dt.date) and not isinstance(held, dt.datetime):
        return held
    raise CellFault(f"the time {held}", _DATE, "delete the time of day")


def _number(held: float, number_format: str, shape: Scalar) -> Any:
    if shape.kind == "date":
        raise CellFault(f"the number {held:.15g}", _DATE, "format the cell as date and type it again")
    if shape.kind == "yes or no":
        raise CellFault(f"the number {held:.15g}", "yes or no", "choose from the list")
    number = float(f"{held:.15g}")
    if shape.kind in ("text", "amount"):
        if is_percentage(number_format):
            return _percent(held)
        text = digits_shown(held, number_format)
        # A bare number stays one where that says the same.
        return next((same for same in (held, number) if shape.kind == "amount" and str(same) == text), text)
    return int(number) if number.is_integer() and abs(number) < 1e15 else number


def _percent(held: float) -> str:
    return f"{float(f'{held:.15g}') * 100:.13g} %"


def digits_shown(held: float, number_format: str) -> str:
    """A number as text: with the decimals of its format where they show it whole, else with all its digits."""
    fixed = _FIXED_DECIMALS.fullmatch((number_format or "")[:_LONGEST_FORMAT])
    whole = f"{held:.15g}"
    if fixed:
        text = f"{held:.{len(fixed.group(1))}f}"
        if float(text) == float(whole):
            return text
    return whole


def _text(held: str, shape: Scalar) -> Any:
    if shape.kind == "yes or no":
        if held.casefold() in _YES_NO:
            return _YES_NO[held.casefold()]
        raise CellFault(held[:40], "yes or no", "choose from the list")
    if shape.kind == "date":
        try:
            if _ISO_DATE.fullmatch(held):
                return dt.date.fromisoformat(held)
        except ValueError:
            pass
        raise CellFault(f"the text {held[:40]}", _DATE, "type the date again")
    if shape.kind in ("number", "whole number"):
        return _number_in_text(held, shape)
    if shape.kind == "any" and held[:1] in ("{", "["):
        try:
            return json.loads(held)
        except (ValueError, RecursionError):
            return held
    if held == EMPTY_TEXT:
        return ""
    # Spreadsheets begin a cell with a capital of their own accord.
    named = [choice for choice in shape.choices if str(choice).casefold() == held.casefold()]
    return named[0] if len(named) == 1 else held


def _number_in_text(held: str, shape: Scalar) -> Any:
    if _DECIMAL_COMMA.fullmatch(held):
        raise CellFault(f"the text {held[:40]} with a decimal comma", "a number", "type it with a decimal point")
    plain = held.removesuffix("%").rstrip()
    if not _NUMBER.fullmatch(plain):
        raise CellFault(f"the text {held[:40]}", "a number without unit", "type a number, or empty the cell")
    if plain == held and re.fullmatch(r"[+-]?[0-9]{1,15}", plain):
        return int(plain)
    number = float(plain) / 100 if plain != held else float(plain)
    number = float(f"{number:.15g}")
    return int(number) if shape.kind == "whole number" and number.is_integer() and abs(number) < 1e15 else number
