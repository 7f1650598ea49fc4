"""The tables that stand on the sheets of a hand-edited fill-in workbook, before anything of them is understood.

Only the first column is looked at here: the mark `headings` says that a table begins, the last name above it which
one. Where sheets and rows stand does not matter.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from openpyxl.utils.cell import get_column_letter

from ubudget.pages.fill_in_blocks import EXAMPLE, HEADINGS
from ubudget.pages.fill_in_guide import GUIDE
from ubudget.records.finding import Finding

_HELP_ROWS = 2
"""Rows below the headings that say what is accepted and what the column is."""


@dataclass
class FoundTable:
    """A table of a sheet: cells by row and column, empty ones left out."""

    name: str
    sheet: str
    heading_row: int
    headings: dict[int, str]
    rows: dict[int, dict[int, Any]] = field(default_factory=dict)

    def place(self, row: int, column: int | None = None, name: str = "") -> str:
        """`sheet equipment, row 7 (BAL), column resolution`."""
        shown = f" ({name})" if name else ""
        heading = "" if column is None else f", column {self.headings.get(column) or get_column_letter(column)}"
        return f"sheet {self.sheet}, row {row}{shown}{heading}"


def is_fill_in(book: Any) -> bool:
    """Whether a workbook is one to be filled in: some sheet marks its headings."""
    return any(
        str(cell.value or "").strip() == HEADINGS
        for sheet in book.worksheets
        if sheet.title != GUIDE
        for cell in cells_by_row(sheet, 1)
    )


def names_table(book: Any, name: str) -> bool:
    """Whether the first column of some sheet bears the name of a table."""
    return any(str(cell.value or "").strip() == name for sheet in book.worksheets for cell in cells_by_row(sheet, 1))


def cells_by_row(sheet: Any, column: int) -> Iterator[Any]:
    """The cells of one column that exist, downwards."""
    # Cells that the file holds, not all up to the last row: one formatted cell far below would make millions of them.
    for at in sorted(sheet._cells):
        if at[1] == column:
            yield sheet._cells[at]


def tables_in(book: Any, known: Iterable[str], file: str) -> tuple[list[FoundTable], list[Finding]]:
    """Every table of the workbook, and what is wrong with marks and names."""
    names = tuple(known)
    tables: list[FoundTable] = []
    findings: list[Finding] = []
    for sheet in book.worksheets:
        if sheet.title.strip() == GUIDE:
            continue
        found, faults = _of_sheet(sheet, names, file)
        tables += found
        findings += faults
        findings += _hidden(sheet, found, file)
    return tables, findings


def _of_sheet(sheet: Any, names: tuple[str, ...], file: str) -> tuple[list[FoundTable], list[Finding]]:
    rows: dict[int, dict[int, Any]] = {}
    for (row, column), cell in sorted(sheet._cells.items()):
        if cell.value is not None and not (isinstance(cell.value, str) and not cell.value.strip()):
            rows.setdefault(row, {})[column] = cell
    heads = [row for row, cells in rows.items() if _mark(cells) == HEADINGS]
    if not heads:
        return [], [_not_read(sheet.title, names, file)] if rows else []
    tables: list[FoundTable] = []
    findings: list[Finding] = []
    for row, next_head in zip(heads, [*heads[1:], None], strict=True):
        title_row, title = _title(rows, row)
        if title not in names:
            findings.append(_unnamed(sheet.title, row, title, names, file))
            continue
        headings = {column: str(cell.value).strip() for column, cell in rows[row].items() if column > 1}
        table = FoundTable(title, sheet.title, row, headings)
        end = None if next_head is None else _title(rows, next_head)[0]
        for number, cells in rows.items():
            if number <= row + _HELP_ROWS or (end is not None and number >= end):
                continue
            mark = _mark(cells)
            if mark == EXAMPLE:
                continue
            if mark:
                place = f"sheet {sheet.title}, row {number}, first column"
                accepted = f"{EXAMPLE}, {HEADINGS} or nothing"
                findings.append(_stop(file, place, mark[:40], accepted, "move the entry to its column, or delete it"))
                continue
            table.rows[number] = cells
        tables.append(table)
        del title_row
    return tables, findings


def _mark(cells: dict[int, Any]) -> str:
    cell = cells.get(1)
    return "" if cell is None else str(cell.value).strip()


def _title(rows: dict[int, dict[int, Any]], head: int) -> tuple[int, str]:
    """Row and text of the last entry in the first column above the headings."""
    above = [row for row, cells in rows.items() if row < head and _mark(cells)]
    return (max(above), _mark(rows[max(above)])) if above else (head, "")


def _not_read(sheet: str, names: tuple[str, ...], file: str) -> Finding:
    place = f"sheet {sheet}"
    if sheet in names:
        accepted = f"the mark {HEADINGS} in the first column, beside the headings"
        return _stop(file, place, f"no row marked {HEADINGS}", accepted, "copy the headings from an unaltered workbook")
    found = "a sheet of your own, which is not read"
    return Finding("note", file, place, found, "sheets of your own for notes", "nothing, if it holds notes alone")


def _unnamed(sheet: str, row: int, title: str, names: tuple[str, ...], file: str) -> Finding:
    nearest = difflib.get_close_matches(title, names, n=1)
    remedy = f"did you mean {nearest[0]}?" if nearest else "copy the headings from an unaltered workbook"
    place = f"sheet {sheet}, above row {row}, first column"
    found = f"the unknown table {title[:40]}" if title else "no name of a table"
    return _stop(file, place, found, ", ".join(names), remedy)


def _hidden(sheet: Any, tables: list[FoundTable], file: str) -> Iterator[Finding]:
    """Hidden entries are read like the others; a person should know of them."""
    if not any(table.rows for table in tables):
        return
    if sheet.sheet_state != "visible":
        yield _attend(file, f"sheet {sheet.title}", "a hidden sheet")
    used = [row for table in tables for row in table.rows]
    for row in used:
        if sheet.row_dimensions[row].hidden:
            yield _attend(file, f"sheet {sheet.title}, row {row}", "a hidden row")
    columns = {column for table in tables for cells in table.rows.values() for column in cells}
    for dimension in list(sheet.column_dimensions.values()):
        if dimension.hidden:
            first, last = dimension.min or 0, dimension.max or 0
            for column in sorted(columns & set(range(first, min(last, 16_384) + 1))):
                yield _attend(file, f"sheet {sheet.title}, column {get_column_letter(column)}", "a hidden column")


def _attend(file: str, place: str, found: str) -> Finding:
    return Finding(
        "attend",
        file,
        place,
        f"{found} with entries, which are read like the others",
        "what is read is seen",
        "show it",
    )


def _stop(file: str, place: str, found: str, accepted: str, remedy: str) -> Finding:
    return Finding("stop", file, place, found, accepted, remedy)
