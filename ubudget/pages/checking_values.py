"""Stored values against what they should be, and whether they were calculated after the last edit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from ubudget.pages.book import Book, Value
from ubudget.pages.cells_as_read import CellAsRead, CellValue, address_of, place_of
from ubudget.pages.checked_book import Changes
from ubudget.pages.checking_rests import unequal
from ubudget.pages.formula_tokens import same_formula

_DAY_ZERO = date(1899, 12, 30)


@dataclass(frozen=True, eq=False)
class Values:
    """The values that formulas should have, by sheet and address as issued."""

    by_sheet: Mapping[str, Mapping[str, CellValue]]
    missing: tuple[str, ...] = ()
    """What has no value here, and why, one line each."""


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
    """Whether the stored values are older than an edit: most of those that it moves are still those issued."""
    old = new = 0
    for sheet, expected in values.by_sheet.items():
        issued, there = changes.issued.book.by_name[sheet], changes.sheet(sheet)
        if there is None:
            continue
        for address, value in expected.items():
            cell = issued.cell(address)
            if cell.value == value or not unequal(cell.value, value):
                continue
            stands = changes.stands(sheet, address)
            if stands.formula is None:
                continue
            if not unequal(value, stands.value):
                new += 1
            elif not unequal(cell.value, stands.value):
                old += 1
    return old > new


def older_than_listed(changes: Changes) -> bool:
    """Whether the list of open cells, which stores how each of them stood, was calculated before an edit."""
    edited = set(changes.edited)
    for sheet, address, stood, mark in listed(changes):
        if (sheet, address) not in edited:
            continue
        now = changes.stands(sheet, address).value
        if unequal(now, stood):
            issued = changes.issued.book.cell(sheet, address).value
            as_issued = not unequal(issued, stood)
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
