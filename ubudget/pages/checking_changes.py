"""What the sheet of changes, and the count on the status sheet, should show once open cells were edited."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from ubudget.pages.book import Book, Sheet
from ubudget.pages.cells_as_read import BookAsRead, CellValue, address_of
from ubudget.pages.check_report import EditedInput, Field, Report
from ubudget.pages.checked_book import Changes, Issued
from ubudget.pages.checking_rests import same_content
from ubudget.pages.checking_values import stored
from ubudget.pages.layout import CHANGES, RECORD, STATUS
from ubudget.pages.plan_fingerprint import PLAN_CELL
from ubudget.pages.record_sheet import EDITS_CELL, open_cells

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


def stated_as_issued(found: BookAsRead, fields: Mapping[tuple[str, str], Field]) -> Mapping[tuple[str, str], CellValue]:
    """What the list of open cells states of each of them as issued."""
    stated: dict[tuple[str, str], CellValue] = {}
    if CHANGES in found.by_name:
        for cells in found.by_name[CHANGES].rows.values():
            name = cells[1].value if 1 in cells and cells[1].formula is None else None
            sheet, _, address = name.rpartition(", ") if isinstance(name, str) else ("", "", "")
            if (sheet, address) in fields:
                stated[sheet, address] = cells[4].value if 4 in cells else None
    return stated


def since_the_records(report: Report, original: Book, written: Book, issued: Issued) -> Report:
    """The report of a workbook that was written from edited records: edits told from the records on.

    Texts of its status sheet name the workbook that was edited, which is not at hand."""
    own = {address_of(column, row) for row, column in (PLAN_CELL, EDITS_CELL)}
    return replace(
        report,
        edited_inputs=tuple(_since(report, original, written, issued)),
        altered_cells=tuple(
            each
            for each in report.altered_cells
            if each.sheet != STATUS and not (each.sheet == RECORD and each.cell in own)
        ),
        structure=tuple(each for each in report.structure if each.sheet != STATUS or each.cell),
        not_compared=(
            *report.not_compared,
            f"sheet {STATUS}: its texts, since this workbook was written from one that had been edited",
        ),
    )


def _since(report: Report, original: Book, written: Book, issued: Issued) -> Iterator[EditedInput]:
    first = {(cell.sheet, cell.address): stored(cell.value) for cell in open_cells(original.sheets)}
    later = {(each.sheet, each.cell): each for each in report.edited_inputs}
    for each in report.edited_inputs:
        yield replace(each, expected=first.get((each.sheet, each.cell), each.expected))
    for cell in open_cells(written.sheets):
        place, now = (cell.sheet, cell.address), stored(cell.value)
        if place not in later and not same_content(first.get(place, now), now):
            field = issued.fields[place]
            words = f"{field.words}; before this workbook was written"
            yield EditedInput(*place, first[place], now, words, field)
