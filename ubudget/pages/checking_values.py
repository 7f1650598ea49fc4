"""Stored values against what they should be, and whether they were calculated after the last edit."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from math import isclose
from typing import TYPE_CHECKING

from ubudget.pages.book import Book, Value
from ubudget.pages.cells_as_read import CellAsRead, CellValue, address_of, place_of
from ubudget.pages.formula_tokens import Reference, same_formula, tokens
from ubudget.pages.noise import BITS

if TYPE_CHECKING:
    from ubudget.pages.checking import Changes

AGREED = 1e-9
"""Relative; programs save 15 significant digits, and add up in another order."""
FLOOR = 1e-15
_FIXED = 1e-14
"""Relative, of content that is not calculated."""
_DEPTH = 4
"""Formulas through which what rounding left of a difference may have gone on."""
_DAY_ZERO = date(1899, 12, 30)


@dataclass(frozen=True, eq=False)
class Values:
    """The values that formulas should have, by sheet and address as issued."""

    by_sheet: Mapping[str, Mapping[str, CellValue]]
    missing: tuple[str, ...] = ()
    """What has no value here, and why, one line each."""


def same_content(one: CellValue, other: CellValue) -> bool:
    """Whether two cells without formula hold the same."""
    if isinstance(one, float) and isinstance(other, float):
        return isclose(one, other, rel_tol=_FIXED)
    return (one or None) == (other or None) and isinstance(one, float) == isinstance(other, float)


def disagree(expected: CellValue, found: CellValue, formula: str | None, cell: Callable[[str], CellAsRead]) -> bool:
    """Whether a stored value is not the expected one.

    What rounding leaves of a difference of equal numbers may be another such rest."""
    if isinstance(expected, float) and isinstance(found, float):
        if isclose(expected, found, rel_tol=AGREED, abs_tol=FLOOR):
            return False
        return not (formula and _is_rest(max(abs(expected), abs(found)), formula, cell, _DEPTH))
    if isinstance(expected, str) and isinstance(found, str):
        # Texts of figures have the decimal sign of the program that calculated them.
        return expected.replace(",", ".") != found.replace(",", ".")
    return (None if expected == "" else expected) != (None if found == "" else found)


def _is_rest(size: float, formula: str, cell: Callable[[str], CellAsRead], depth: int) -> bool:
    """Whether a number is no more than rounding leaves of the numbers of the same sheet that its formula looks at."""
    looked_at = [each for each in tokens(formula) if isinstance(each, Reference) and not each.sheet]
    stands = [cell(address_of(each.column, each.row)) for each in looked_at]
    numbers = [abs(each.value) for each in stands if isinstance(each.value, float)]
    parts = tokens(formula)
    if any(part in ("+", "-", "SUM") for part in parts) and size <= BITS * sum(numbers):
        return True
    if depth and not any(part in ("+", "-") for part in parts):
        larger = max([1.0, *numbers])
        return any(
            each.formula is not None
            and isinstance(each.value, float)
            and abs(each.value) <= FLOOR * larger
            and _is_rest(abs(each.value), each.formula, cell, depth - 1)
            and size <= FLOOR * larger
            for each in stands
        )
    return False


def planned_values(book: Book) -> dict[str, dict[str, tuple[str, CellValue]]]:
    """Formula and value of every calculated cell of a plan, by sheet and address."""
    return {sheet.name: dict(_calculated(book, sheet.name)) for sheet in book.sheets}


def _calculated(book: Book, name: str) -> Iterator[tuple[str, tuple[str, CellValue]]]:
    (sheet,) = (sheet for sheet in book.sheets if sheet.name == name)
    for band in sheet.bands:
        for column, planned in enumerate(band.columns, band.left):
            if planned.formulas is None:
                continue
            for row, (formula, value) in enumerate(zip(planned.formulas, planned.values, strict=True), band.first_row):
                if formula is not None:
                    yield address_of(column, row), (formula, stored(value))
    for cell in sheet.cells:
        if cell.formula is not None:
            yield address_of(cell.column, cell.row), (cell.formula, stored(cell.value))


def stored(value: Value) -> CellValue:
    """A planned value as a file stores it."""
    if isinstance(value, date):
        day = value.date() if isinstance(value, datetime) else value
        return float((day - _DAY_ZERO).days)
    if value is None or isinstance(value, str):
        return value or None
    return float(value)


def values_in_places(
    issued: Mapping[str, Mapping[str, CellAsRead]], planned: Mapping[str, Mapping[str, tuple[str, CellValue]]]
) -> Values:
    """Values of another plan put to the cells as issued that have the same formula; the others are missing."""
    found: dict[str, dict[str, CellValue]] = {}
    missing = []
    for sheet, cells in issued.items():
        there, mine, without = planned.get(sheet, {}), found.setdefault(sheet, {}), 0
        for address, cell in cells.items():
            if cell.formula is None:
                continue
            formula, value = there.get(address, ("", None))
            if formula == cell.formula or (formula and same_formula(formula, cell.formula, sheet)):
                mine[address] = value
            else:
                without += 1
        if without:
            missing.append(f"sheet {sheet}: {without} stored values, which these edits lay out in another way")
    return Values(found, tuple(missing))


def stale(changes: Changes, values: Values) -> bool:
    """Whether the stored values are older than an edit.

    Told by the list of open cells, which stores how each of them stood when it was calculated; and by the values that
    an edit moves, where most of them are still those issued."""
    old = new = 0
    for sheet, expected in values.by_sheet.items():
        issued, there = changes.issued.book.by_name[sheet], changes.sheet(sheet)
        if there is None:
            continue
        for address, value in expected.items():
            cell = issued.cell(address)
            if cell.value == value or not disagree(cell.value, value, cell.formula, issued.cell):
                continue
            stands = changes.stands(sheet, address)
            if stands.formula is None:
                continue
            if not disagree(value, stands.value, cell.formula, issued.cell):
                new += 1
            elif not disagree(cell.value, stands.value, cell.formula, issued.cell):
                old += 1
    return old > new or _older_than_listed(changes)


def _older_than_listed(changes: Changes) -> bool:
    """Whether the list of open cells was calculated while one of them held something else."""
    edited = set(changes.edited)
    for sheet, address, stood, mark in listed(changes):
        if (sheet, address) not in edited:
            continue
        now = changes.stands(sheet, address).value
        if disagree(now, stood, None, changes.issued.book.by_name[sheet].cell):
            issued = changes.issued.book.by_name[sheet].cell(address).value
            as_issued = not disagree(issued, stood, None, changes.issued.book.by_name[sheet].cell)
            if mark == (0.0 if as_issued else 1.0):
                return True
    return False


def listed(changes: Changes) -> Iterator[tuple[str, str, CellValue, CellValue]]:
    """Each open cell of the list on the sheet of changes: sheet, address, stored value as it stood, stored mark."""
    from ubudget.pages.layout import CHANGES

    home = changes.issued.book.by_name.get(CHANGES)
    if home is None:
        return
    for address, cell in home.cells.items():
        if not address.startswith("A") or cell.formula is not None or not isinstance(cell.value, str):
            continue
        sheet, _, named = cell.value.rpartition(", ")
        row = place_of(address)[1]
        if address[1:].isdigit() and (sheet, named) in changes.issued.fields:
            yield (
                sheet,
                named,
                changes.stands(CHANGES, f"E{row}").value,
                changes.stands(CHANGES, f"F{row}").value,
            )
