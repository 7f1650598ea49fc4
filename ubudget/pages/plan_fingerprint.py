"""The fingerprint of a plan: formulas, headings and texts of all sheets, and which cells are open.

Calculated numbers are left out: their last digits may differ between machines. With the fingerprint of the records it
tells whether the program that checks a workbook plans what the program that wrote it did.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import replace
from itertools import repeat

from ubudget.pages.book import Band, Book, LooseCell, Sheet
from ubudget.pages.layout import RECORD

PLAN_CELL = (3, 2)
"""Row and column on the record sheet."""


def with_plan_fingerprint(book: Book) -> Book:
    """The book with the fingerprint of its plan on the record sheet."""
    row, column = PLAN_CELL
    cells = (
        LooseCell(row, 1, "plan", "label"),
        LooseCell(row, column, plan_fingerprint(book), "record", across=3),
    )

    def written(sheet: Sheet) -> Sheet:
        kept = tuple(cell for cell in sheet.cells if cell.row != row)
        return replace(sheet, cells=(*kept, *cells))

    return replace(book, sheets=tuple(written(sheet) if sheet.name == RECORD else sheet for sheet in book.sheets))


def plan_fingerprint(book: Book) -> str:
    """SHA-256 over all sheets but the record, as 64 hexadecimal digits."""
    digest = hashlib.sha256()
    for sheet in book.sheets:
        if sheet.name != RECORD:
            digest.update(f"\x1d{sheet.name}\x1e".encode())
            for piece in _pieces(sheet):
                digest.update(piece.encode("utf-8"))
                digest.update(b"\x1e")
    return digest.hexdigest()


def _pieces(sheet: Sheet) -> Iterator[str]:
    for band in sheet.bands:
        yield f"{band.title}\x1f{band.top}\x1f{band.left}\x1f{band.rows}"
        yield from _columns(band)
    for cell in sorted(sheet.cells, key=lambda cell: (cell.row, cell.column)):
        content = f"={cell.formula}" if cell.formula is not None else cell.value if isinstance(cell.value, str) else ""
        yield f"{cell.row}\x1f{cell.column}\x1f{content}\x1f{cell.open:d}"


def _columns(band: Band) -> Iterator[str]:
    for column in band.columns:
        yield f"{column.heading}\x1f{column.unit}\x1f{column.remark}"
        formulas = repeat(None) if column.formulas is None else column.formulas
        yield "\x1f".join(
            f"={formula}" if formula is not None else value if isinstance(value, str) else ""
            for formula, value in zip(formulas, column.values, strict=False)
        )
        if column.open is not None:
            yield "".join("1" if each else "0" for each in column.open)
