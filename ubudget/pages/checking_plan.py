"""A plan made ready for comparison: what its open cells show, the record in its cells, the budget that is chosen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import cast, get_args

from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band, Book, LooseCell, Origin, Sheet
from ubudget.pages.budget_sheet import budget_sheet
from ubudget.pages.cells_as_read import BookAsRead, CellValue, SheetAsRead, address_of
from ubudget.pages.check_report import Field, Kind
from ubudget.pages.layout import BUDGET, RECORD
from ubudget.pages.plan import placements_of, plan_book
from ubudget.pages.results_sheet import key_text, results_sheet
from ubudget.pages.row_links import row_links
from ubudget.records.records import Records, Role, SourceText

CHOICES = ("B4", "B5")
"""Open cells of the budget sheet that choose a result."""
_LABELS = ("layout", "program", "fingerprint")
_TRAIL = ("include", "reason", "who", "when")
"""Fields of a reading that was left out (`ubudget.records.records.Edit`)."""
_NAMED = 4
"""Texts of a row that name it."""


def open_fields(book: Book, records: Records) -> dict[tuple[str, str], Field]:
    """What every open cell of a plan shows, by sheet and address."""
    fields: dict[tuple[str, str], Field] = {}
    for sheet in book.sheets:
        for band in sheet.bands:
            fields |= {(sheet.name, address): field for address, field in _of_band(band, records)}
        for cell in sheet.cells:
            if cell.open:
                kind = _kind(sheet, cell)
                label = next((c.value for c in sheet.cells if (c.row, c.column) == (cell.row, cell.column - 1)), "")
                field = Field(kind, str(label or "open cell"), "", "")
                for column in range(cell.column, cell.column + cell.across):
                    fields[sheet.name, address_of(column, cell.row)] = field
    return fields


def _kind(sheet: Sheet, cell: LooseCell) -> Kind:
    if cell.style == "sign":
        return "signature"
    return "choice" if sheet.name == BUDGET else "filled"


def _of_band(band: Band, records: Records) -> Iterator[tuple[str, Field]]:
    named = [column for column in band.columns if column.style in ("label", "text")]
    for number, column in enumerate(band.columns, band.left):
        for row, is_open in enumerate(column.open or ()):
            if is_open:
                origin = column.origins[row] if column.origins else None
                name = " ".join(str(label.values[row] or "") for label in named[:_NAMED]).strip()
                heading = column.heading + (f" [{column.unit}]" if column.unit else "")
                kind: Kind = "filled" if origin is None else "input"
                record = "" if origin is None else field_words(origin, records)
                yield address_of(number, band.first_row + row), Field(kind, heading, name, record)


def field_words(origin: Origin, records: Records) -> str:
    """A field of the records as people find it: file, tables, rows and keys, counted from 1."""
    file, path = records.file(cast(Role, origin.document)), origin.path
    if path[0] in _TRAIL and len(path) == 5:
        solution, analyte, line, replicate = (str(step) for step in path[1:])
        return f"{file}: {path[0]}, {' '.join((solution, analyte, line)).strip()} replicate {replicate}"
    if len(path) == 2 and isinstance(path[0], int):
        return f"{file}: data row {path[0] + 1}, {path[1]}"
    words = ""
    for step in path:
        words += f" {step + 1}" if isinstance(step, int) else f", {step}" if words else str(step)
    return f"{file}: {words}"


def record_in(book: BookAsRead) -> SheetAsRead | None:
    """The sheet with the original records, under whatever name it stands."""
    sheets = sorted(book.sheets, key=lambda sheet: sheet.name != RECORD)
    return next((sheet for sheet in sheets if {*_LABELS} <= {*labels_in(sheet)}), None)


def labels_in(sheet: SheetAsRead) -> Mapping[str, tuple[str, CellValue]]:
    """Names in the first column above the records → the address of what stands beside each, and this itself."""
    found: dict[str, tuple[str, CellValue]] = {}
    for row, cells in sheet.rows.items():
        name = cells[1].value if 1 in cells else None
        if name == "record":
            break
        if isinstance(name, str) and name not in found:
            found[name] = address_of(2, row), cells[2].value if 2 in cells else None
    return found


def texts_in(sheet: SheetAsRead) -> tuple[SourceText, ...]:
    """The original files, put together again from their lines, wherever these stand."""
    roles = get_args(Role)
    collected: dict[tuple[str, str], dict[int, str]] = {}
    for cells in sheet.rows.values():
        role, name, number, text = (cells[column].value if column in cells else None for column in (1, 2, 3, 4))
        if role in roles and isinstance(number, float):
            lines = collected.setdefault((str(role), str(name)), {})
            piece = "" if text is None else f"{text:.15g}" if isinstance(text, float) else str(text)
            lines[int(number)] = lines.get(int(number), "") + piece
    return tuple(
        SourceText(cast(Role, role), name, "\n".join(lines[number] for number in sorted(lines)))
        for (role, name), lines in collected.items()
    )


def book_showing(evaluation: Evaluation, chosen: int | None) -> Book:
    """The plan of an evaluation whose budget sheet shows a chosen result."""
    book = plan_book(evaluation)
    if chosen is None:
        return book
    placements = placements_of(evaluation)
    results = results_sheet(evaluation, placements)
    shown = budget_sheet(evaluation, placements, row_links(evaluation, placements), results, chosen)
    return replace(book, sheets=tuple(shown if sheet.name == BUDGET else sheet for sheet in book.sheets))


def result_chosen(evaluation: Evaluation, sample: CellValue, measured: CellValue) -> int | None:
    """The result that the two open cells of the budget sheet name; a look-up takes small and capital letters alike."""
    wanted = f"{_text(sample)} | {_text(measured)}".casefold()
    keys = (key_text(key.sample, key.analyte, key.line).casefold() for key in evaluation.keys)
    return next((row for row, key in enumerate(keys) if key == wanted), None)


def _text(value: CellValue) -> str:
    return f"{value:.15g}" if isinstance(value, float) else str(value or "")
