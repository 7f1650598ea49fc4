"""What the sheet of changes, and the count on the status sheet, should show once open cells were edited."""

from __future__ import annotations

from collections.abc import Mapping

from ubudget.pages.book import Book, Sheet
from ubudget.pages.cells_as_read import CellValue, address_of
from ubudget.pages.checked_book import Changes
from ubudget.pages.checking_values import stored
from ubudget.pages.layout import CHANGES, STATUS
from ubudget.pages.record_sheet import open_cells

COUNT = (3, 3)
"""Row and column of the number of changed cells."""
_MORE = (4, 1)


def changes_shown(book: Book, changes: Changes) -> Mapping[str, Mapping[str, CellValue]]:
    """Values of the formulas of the sheet of changes, and of the cell of the status sheet that repeats their count."""
    (sheet,) = (sheet for sheet in book.sheets if sheet.name == CHANGES)
    bands = {band.name: band for band in sheet.bands}
    if "open cells" not in bands:
        return {CHANGES: {}}
    every, changed = bands["open cells"], bands["changed cells"]
    cells = open_cells(each for each in book.sheets if each.name != CHANGES)
    issued = [stored(value) for value in every.columns[3].values]
    now = [changes.stands(cell.sheet, cell.address).value for cell in cells]
    marks = [0.0 if _equal(was, stands) else 1.0 for was, stands in zip(issued, now, strict=True)]
    shown: dict[str, CellValue] = {}
    count, places = 0.0, []
    for number, (stands, mark) in enumerate(zip(now, marks, strict=True)):
        row = every.first_row + number
        count += mark
        if mark:
            places.append(number)
        shown |= {f"E{row}": stands, f"F{row}": mark, f"G{row}": count}
    for number in range(changed.rows):
        row = changed.first_row + number
        at = places[number] if number < len(places) else None
        shown[f"F{row}"] = 0.0 if at is None else at + 1.0
        for column in range(5):
            values = now if column == 4 else every.columns[column].values
            shown[address_of(column + 1, row)] = None if at is None else _content(values[at])
    shown[address_of(COUNT[1], COUNT[0])] = count
    more = count - changed.rows
    told = f"{more:.0f} more changed cells than are listed: see the mark 1 in the list of all open cells"
    shown[address_of(_MORE[1], _MORE[0])] = told if more > 0 else None
    return {CHANGES: shown, STATUS: _repeated(book, count)}


def _content(value: object) -> CellValue:
    return value if isinstance(value, (float, str)) else float(value) if isinstance(value, int) else None


def _repeated(book: Book, count: float) -> dict[str, CellValue]:
    (status,) = (sheet for sheet in book.sheets if sheet.name == STATUS)
    return {address: count for address in _count_cells(status)}


def _count_cells(status: Sheet) -> list[str]:
    there = f"{CHANGES}!$C$3"
    return [address_of(cell.column, cell.row) for cell in status.cells if cell.formula == there]


def _equal(issued: CellValue, now: CellValue) -> bool:
    """As a formula compares: an empty cell is the empty text, and small letters are capital ones."""
    if isinstance(issued, str) and isinstance(now, str):
        return issued.casefold() == now.casefold()
    return (issued if issued != "" else None) == (now if now != "" else None)
