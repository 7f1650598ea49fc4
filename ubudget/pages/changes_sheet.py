"""Sheet `changes`: what the record leaves out or changes, and which open cells were changed since.

The changed cells are listed live, for paper as well; the list of all open cells below serves the comparison.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ubudget.pages.amendment_words import amended_lines
from ubudget.pages.book import Band, BandColumn, Highlight, LooseCell, Sheet, Value
from ubudget.pages.layout import CHANGES, headline
from ubudget.pages.placement import quoted
from ubudget.pages.record_sheet import OpenCell
from ubudget.quantity.spelling import column_letters
from ubudget.records.records import Records

SHOWN = 20
"""Changed cells that are listed; how many more there are is said."""
FIRST_TOP = 7
WIDTHS = (26.0, 34.0, 26.0, 20.0, 20.0, 14.0, 9.0)


@dataclass(frozen=True, eq=False)
class ChangesSheet:
    sheet: Sheet
    changed_count: str
    """Address of the cell that counts changed cells."""


def changes_sheet(records: Records, cells: Sequence[OpenCell]) -> ChangesSheet:
    """Amendments of the record, the changed cells, then all open cells as issued and as they stand."""
    bands = _amendments_band(records)
    count_cell = f"{CHANGES}!$C$3"
    note = "What the record itself leaves out or changes, and the open cells changed since this workbook was made."
    loose = [
        *headline(CHANGES, note),
        LooseCell(3, 1, "open cells that differ from the workbook as issued", "label", across=2),
    ]
    if not cells:
        loose.append(LooseCell(3, 3, 0, "number", "0", number_format="0"))
        return ChangesSheet(Sheet(CHANGES, tuple(bands), tuple(loose)), count_cell)
    top = (bands[-1].last_row + 4) if bands else FIRST_TOP
    size = min(SHOWN, len(cells))
    below = top + Band.HEADING_ROWS + size + 3
    every = _open_cells_band(cells, below)
    changed = _changed_band(every, size, top)
    loose += [
        LooseCell(3, 3, 0, "result", f"SUM(F{every.first_row}:F{every.last_row})", number_format="0"),
        LooseCell(
            4,
            1,
            None,
            "flag",
            f'IF($C$3>{size},$C$3-{size}&" more changed cells than are listed: see the mark 1 in the list of all open '
            'cells","")',
            across=3,
        ),
    ]
    sheet = Sheet(
        CHANGES,
        (*bands, changed, every),
        tuple(loose),
        highlights=(
            Highlight(f"A{changed.first_row}:F{changed.last_row}", f"$F{changed.first_row}=0", "vacant"),
            Highlight(f"A{every.first_row}:F{every.last_row}", f"$F{every.first_row}=1", "attention"),
        ),
        widths=dict(enumerate(WIDTHS, start=1)),
        # The list of all open cells is for the screen: on paper it would only repeat the other sheets.
        print_to=(changed.last_row, 6),
    )
    return ChangesSheet(sheet, count_cell)


def _open_cells_band(cells: Sequence[OpenCell], top: int) -> Band:
    first = top + Band.HEADING_ROWS
    now = [f"{quoted(cell.sheet)}!{cell.address}" for cell in cells]
    columns = (
        BandColumn("cell", [f"{cell.sheet}, {cell.address}" for cell in cells], "label"),
        BandColumn("belongs to", [cell.row_name for cell in cells], "label"),
        BandColumn("what", [cell.heading for cell in cells], "label"),
        BandColumn(
            "as issued",
            [cell.value or ("" if isinstance(cell.value, str) else cell.value) for cell in cells],
            "fixed",
        ),
        BandColumn(
            "as it stands",
            [cell.value for cell in cells],
            "number",
            formulas=[f'IF({place}="","",{place})' for place in now],
        ),
        BandColumn(
            "changed (1 = yes)",
            [0] * len(cells),
            "number",
            formulas=[f"IF(E{first + number}=D{first + number},0,1)" for number in range(len(cells))],
            number_format="0",
        ),
        BandColumn(
            "count",
            [0] * len(cells),
            "number",
            formulas=[
                f"F{first + number}" if number == 0 else f"G{first + number - 1}+F{first + number}"
                for number in range(len(cells))
            ],
            number_format="0",
        ),
    )
    return Band("open cells", top, 1, columns, "All open cells as issued and as they stand")


def _changed_band(every: Band, size: int, top: int) -> Band:
    """The first `size` changed cells; column F finds the place of each in the list, 0 = none."""
    first = top + Band.HEADING_ROWS

    def area(letter: str) -> str:
        return f"${letter}${every.first_row}:${letter}${every.last_row}"

    def looked_up(letter: str) -> list[str | None]:
        found = [f"INDEX({area(letter)},$F{first + number})" for number in range(size)]
        return [f'IF($F{first + number}=0,"",IF({text}="","",{text}))' for number, text in enumerate(found)]

    columns = [
        BandColumn(column.heading, [None] * size, "text", formulas=looked_up(column_letters(number)))
        for number, column in enumerate(every.columns[:5], start=1)
    ]
    places = BandColumn(
        "place in the list",
        [0] * size,
        formulas=[f"IFERROR(MATCH({number + 1},{area('G')},0),0)" for number in range(size)],
        number_format="0;;",
    )
    title = "Open cells changed since this workbook was made"
    return Band("changed cells", top, 1, (*columns, places), title)


def _amendments_band(records: Records) -> list[Band]:
    amendments = _amendments(records)
    if not amendments[0]:
        return []
    headings = ("what", "reason", "who", "from", "to", "when")
    columns = tuple(BandColumn(heading, values, "text") for heading, values in zip(headings, amendments, strict=True))
    return [Band("amendments", FIRST_TOP, 1, columns, "Left out or changed in the record")]


def _amendments(records: Records) -> list[list[Value]]:
    columns: list[list[Value]] = [[], [], [], [], [], []]
    for line in amended_lines(records):
        for column, text in zip(columns, line, strict=True):
            column.append(text or None)
    return columns
