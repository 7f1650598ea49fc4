"""Formulas compared as what they calculate, not as they are spelled.

Programs that save a workbook again spell its formulas anew: 1E-05 becomes 0.00001, TRUE becomes TRUE(), spaces come and
go, names of sheets lose their quotes. Compared are therefore tokens: references, numbers as numbers, names, signs.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import NamedTuple

from ubudget.quantity.spelling import column_letters, column_number

_TOKEN = re.compile(
    r"""(?P<space>\s+)
    |(?P<text>"(?:[^"]|"")*")
    |(?P<fault>\#[A-Za-z0-9/_]+[!?]?)
    |(?P<sheet>(?:'(?:[^']|'')+'|[A-Za-z_][\w.]*)!)
    |(?P<number>(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)
    |(?P<reference>(?P<fixed>\$?)(?P<column>[A-Za-z]{1,3})(?P<kept>\$?)(?P<row>[1-9]\d{0,6})(?![\w.(]))
    |(?P<name>[A-Za-z_\\][\w.]*)
    |(?P<sign><=|>=|<>|.)
    """,
    re.VERBOSE | re.DOTALL,
)
_NEWER = ("_XLFN.", "_XLWS.")
_TRUTHS = ("TRUE", "FALSE")


class Reference(NamedTuple):
    """A cell of a sheet; an empty name of a sheet is the formula's own."""

    sheet: str
    column: int
    row: int
    fixed_column: bool
    fixed_row: bool


Token = Reference | float | str


@lru_cache(maxsize=200_000)
def tokens(formula: str) -> tuple[Token, ...]:
    """What a formula is made of; texts begin with a quote, spaces are left out."""
    found: list[Token] = []
    sheet = ""
    for match in _TOKEN.finditer(formula):
        kind, text = match.lastgroup, match.group()
        if match["reference"]:
            fixed, kept = bool(match["fixed"]), bool(match["kept"])
            found.append(Reference(sheet, column_number(match["column"].upper()), int(match["row"]), fixed, kept))
        elif kind == "space":
            continue
        elif kind == "sheet":
            sheet = _sheet_named(text)
            continue
        elif kind == "number":
            found.append(float(text))
        elif kind == "name":
            found.append(_without_prefix(text.upper()))
        elif sheet:
            found.append(f"{sheet}!{text}")  # as #REF! behind the name of a sheet
        else:
            found.append(text.upper() if kind == "fault" else text)
        sheet = ""
    return tuple(_without_calls(found))


def _sheet_named(text: str) -> str:
    name = text[:-1]
    return name[1:-1].replace("''", "'") if name.startswith("'") else name


def _without_prefix(name: str) -> str:
    for prefix in _NEWER:
        name = name.removeprefix(prefix)
    return name


def _without_calls(found: list[Token]) -> Iterator[Token]:
    """TRUE() is TRUE, and the second end of a range is on the sheet of the first."""
    skipped = 0
    for at, token in enumerate(found):
        if skipped:
            skipped -= 1
            continue
        if token in _TRUTHS and found[at + 1 : at + 3] == ["(", ")"]:
            skipped = 2
        if isinstance(token, Reference) and not token.sheet and at > 1 and found[at - 1] == ":":
            first = found[at - 2]
            if isinstance(first, Reference) and first.sheet:
                yield token._replace(sheet=first.sheet)
                continue
        yield token


def same_formula(first: str, second: str, home: str = "") -> bool:
    """Whether two formulas of one sheet are the same but for their spelling; numbers to 15 significant digits."""
    return first == second or same_tokens(tokens(first), tokens(second), home)


def same_tokens(first: tuple[Token, ...], second: tuple[Token, ...], home: str = "") -> bool:
    """The same of formulas taken apart; `home` is the sheet on which they stand."""
    return len(first) == len(second) and all(
        one == other or _same_token(one, other, home) for one, other in zip(first, second, strict=True)
    )


def _same_token(one: Token, other: Token, home: str) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return f"{one:.15g}" == f"{other:.15g}"
    if isinstance(one, Reference) and isinstance(other, Reference):
        return one._replace(sheet=one.sheet or home) == other._replace(sheet=other.sheet or home)
    return False


def moved(formula: str, rows: int, columns: int) -> str:
    """A formula as it reads some rows and columns further on: what is not fixed by a $ moves along."""

    def move(column: int, row: int, fixed_column: bool, fixed_row: bool) -> tuple[int, int]:
        return (column if fixed_column else column + columns), (row if fixed_row else row + rows)

    return respelled(formula, move)


def respelled(formula: str, place: Callable[[int, int, bool, bool], tuple[int, int]]) -> str:
    """A formula with other columns and rows in its references; texts stay."""

    def spell(match: re.Match[str]) -> str:
        if not match["reference"]:
            return match.group()
        column, row = column_number(match["column"].upper()), int(match["row"])
        column, row = place(column, row, bool(match["fixed"]), bool(match["kept"]))
        if column < 1 or row < 1:
            return "#REF!"
        return f"{match['fixed']}{column_letters(column)}{match['kept']}{row}"

    return _TOKEN.sub(spell, formula)
