"""Sheet `record`: the original records as text, so that a workbook can be read back and checked without other files."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ubudget.pages.book import Band, BandColumn, LooseCell, Origin, Sheet, Value
from ubudget.pages.layout import RECORD, headline
from ubudget.quantity.spelling import column_letters
from ubudget.records.fingerprint import fingerprint as fingerprint
from ubudget.records.records import Records

LAYOUT = "4"
"""Version of the workbook's layout; another version is said, not guessed."""
LONGEST_LINE = 30_000
TOP = 10
LAYOUT_CELL, PROGRAM_CELL, FINGERPRINT_CELL = (4, 2), (5, 2), (6, 2)
EDITS_CELL = (7, 2)
"""How many edits the records had that the workbook was written from."""
SPARE_CELL = (8, 2)
"""Numbers of spare rows, in a workbook that has them."""


def record_sheet(records: Records, program: str) -> Sheet:
    roles: list[Value] = []
    names: list[Value] = []
    numbers: list[Value] = []
    lines: list[Value] = []
    for source in records.texts:
        for number, line in enumerate(source.text.split("\n"), start=1):
            for piece in _pieces(line):
                roles.append(source.role)
                names.append(source.name)
                numbers.append(number)
                lines.append(piece or None)
    columns = (
        BandColumn("record", roles, "record", width=11.0),
        BandColumn("file", names, "record", width=16.0),
        BandColumn("line", numbers, "record", width=7.0, number_format="0"),
        BandColumn("text", lines, "record", width=100.0),
    )
    band = Band("record", TOP, 1, columns, "Original records, line by line")
    cells = [
        *headline(RECORD, "Kept for reading back and checking. Nothing here is meant to be edited."),
        LooseCell(4, 1, "layout", "label"),
        LooseCell(*LAYOUT_CELL, LAYOUT, "record"),
        LooseCell(5, 1, "program", "label"),
        LooseCell(*PROGRAM_CELL, program, "record", across=3),
        LooseCell(6, 1, "fingerprint", "label"),
        LooseCell(*FINGERPRINT_CELL, fingerprint(records.texts), "record", across=3),
        LooseCell(7, 1, "edits", "label"),
        LooseCell(*EDITS_CELL, len(records.edits), "record"),
    ]
    return Sheet(
        RECORD,
        (band,),
        tuple(cells),
        freeze=f"A{band.first_row}",
        repeat_rows=(TOP, TOP + Band.HEADING_ROWS - 1),
        widths={1: 12.0, 2: 18.0, 3: 7.0, 4: 100.0},
        landscape=False,
        print_to=(band.last_row, len(columns)),
    )


def _pieces(line: str) -> list[str]:
    """A line cut to what a cell holds; a continued line repeats its number."""
    return [line[start : start + LONGEST_LINE] for start in range(0, len(line), LONGEST_LINE)] or [""]


@dataclass(frozen=True)
class OpenCell:
    """An open cell that shows a field of a record."""

    sheet: str
    row: int
    column: int
    heading: str
    row_name: str
    value: Value
    origin: Origin
    number_format: str

    @property
    def address(self) -> str:
        return f"{column_letters(self.column)}{self.row}"


def open_cells(sheets: Iterable[Sheet]) -> list[OpenCell]:
    """All open cells with an origin, in sheet order."""
    found = []
    for sheet in sheets:
        for band in sheet.bands:
            named = [column for column in band.columns if column.style in ("label", "text")]
            for number, column in enumerate(band.columns):
                for row, is_open in enumerate(column.open or ()):
                    origin = column.origins[row] if column.origins else None
                    if is_open and origin is not None:
                        name = " ".join(str(label.values[row] or "") for label in named[:4]).strip()
                        found.append(
                            OpenCell(
                                sheet.name,
                                band.first_row + row,
                                band.left + number,
                                column.heading,
                                name,
                                column.values[row],
                                origin,
                                column.number_format,
                            )
                        )
    return found
