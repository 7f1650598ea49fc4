"""What of a sheet of tables goes on paper, and how: which columns, upright or across, on how many pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

from ubudget.pages.book import Band, LooseCell, Sheet
from ubudget.pages.placement import Placement
from ubudget.quantity.graph import MAIN

ACROSS, UPRIGHT = 250.0, 165.0
"""Widths of columns that a page of A4 across or upright shows in letters that can be read."""
_POINTS = 5.25
_ROW = 13.5
_WRAPPED = 1.2
"""Rows with wrapped text are higher than one line."""
_HEADING_ROWS = 7
"""Rows' worth of title, heading and gap of a band."""
_MOST_NAMES = 4
LEFT_OUT = "On paper the columns of single deviations and of their propagation, to the right, are left out."


@dataclass(frozen=True)
class _Paper:
    landscape: bool
    pages_across: int
    pages: int


def on_paper(sheet: Sheet, placements: dict[str, Placement]) -> Sheet:
    """The sheet with its set-up for printing. Columns of deviations and of propagation are for the screen: the budget
    sheet prints them for the chosen result."""
    if not sheet.bands:
        return sheet
    last = max(_printed_columns(band, placements) for band in sheet.bands)
    whole = max(len(band.columns) for band in sheet.bands)
    rows = max(band.last_row for band in sheet.bands)
    names = _names(sheet.bands)
    paper = min(
        (_paper(sheet.bands, last, names, landscape) for landscape in (True, False)),
        key=lambda paper: (paper.pages, not paper.landscape),
    )
    return replace(
        sheet,
        cells=(*sheet.cells, LooseCell(3, 1, LEFT_OUT, "note", across=8)) if last < whole else sheet.cells,
        landscape=paper.landscape,
        pages_across=paper.pages_across,
        repeat_columns=names if paper.pages_across > 1 else 0,
        print_to=(rows, max(last, 8)) if last < whole else None,
    )


def _printed_columns(band: Band, placements: dict[str, Placement]) -> int:
    placement = placements.get(band.name)
    if placement is None:
        return len(band.columns)
    # Ranks rise from left to right.
    return sum(1 for column in placement.columns if column.rank == MAIN)


def _paper(bands: Sequence[Band], last: int, names: int, landscape: bool) -> _Paper:
    room, (broad, high) = (ACROSS, (770.0, 485.0)) if landscape else (UPRIGHT, (523.0, 735.0))
    widths = [max((b.columns[n].width for b in bands if n < len(b.columns)), default=0.0) for n in range(last)]
    named = sum(widths[:names])
    across = max(1, ceil((sum(widths) - named) / max(room - named, 1.0)))
    scale = min(1.0, broad / ((sum(widths) + named * (across - 1)) / across * _POINTS))
    height = sum(band.rows + _HEADING_ROWS for band in bands) * _ROW * scale * _WRAPPED
    return _Paper(landscape, across, across * ceil(height / high))


def _names(bands: Sequence[Band]) -> int:
    """How many leading columns name the rows of every band."""
    return min(_leading(band) for band in bands)


def _leading(band: Band) -> int:
    for number, column in enumerate(band.columns):
        if column.style not in ("label", "text") or number == _MOST_NAMES:
            return number
    return len(band.columns)
