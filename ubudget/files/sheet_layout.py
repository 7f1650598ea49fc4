"""Widths of the columns and heights of the rows of a sheet."""

from __future__ import annotations

from typing import Final

from ubudget.files.text_measure import broken_words, line_count, longest_piece, text_width
from ubudget.files.workbook_styles import BOLD, FIXED_WIDTH, SIZE, SIZES, WRAPPED, look_of
from ubudget.pages.book import Sheet, Value

DEFAULT_WIDTH: Final = 10.0
DEFAULT_HEIGHT: Final = 13.5
"""Points; one line of the body text with a little air."""
POINTS_PER_WIDTH: Final = 7 * 72 / 96
"""A unit of column width is one digit of the standard font: 7 pixels of 1/96 inch."""
_TALLEST: Final = 409.0
"""Points; the file format knows no higher row."""
_VACANT_HEIGHT: Final = 4.0
_LEAST: Final = {"title": 24.0, "sign": 21.0, "open_sign": 21.0, "band_title": 20.0}
_PADDING: Final = 11.0
"""Points that a cell keeps free left and right together, indent included."""
_WIDEST_HEADING: Final = 28.0
"""Column width beyond which a heading is broken after all."""
_LEADING: Final = 1.28
"""Distance of lines in units of the letter size."""


def column_widths(sheet: Sheet) -> dict[int, float]:
    """Width of every column in use: as planned for the sheet, else the widest band column, else a default."""
    widths: dict[int, float] = {}
    for band in sheet.bands:
        for number, column in enumerate(band.columns, band.left):
            widths[number] = max(widths.get(number, 0.0), column.width, _least_width(column.heading, column.unit))
    for cell in sheet.cells:
        for number in range(cell.column, cell.column + cell.across):
            widths.setdefault(number, DEFAULT_WIDTH)
    return widths | sheet.widths


def _least_width(heading: str, unit: str) -> float:
    """Width that a heading and its unit need so that no word of theirs is cut."""
    widest = max(longest_piece(heading, SIZE, bold=True), text_width(unit, SIZE))
    return min(_WIDEST_HEADING, (widest + _PADDING) / POINTS_PER_WIDTH)


def shown_heading(heading: str, width: float) -> str:
    """The heading as written: names of quantities that are wider than the column in several lines."""
    return broken_words(heading, width * POINTS_PER_WIDTH - _PADDING, SIZE, bold=True)


def text_height(text: str, look: str, width: float) -> float:
    """Height in points that a cell of `width` (column units) needs to show `text`."""
    least = _LEAST.get(look, DEFAULT_HEIGHT)
    if not text or look not in WRAPPED:
        return least
    size = SIZES[look]
    room = max(size, width * POINTS_PER_WIDTH - _PADDING)
    lines = line_count(text, room, size, bold=look in BOLD, fixed=look in FIXED_WIDTH)
    return least if lines == 1 else min(_TALLEST, max(least, lines * size * _LEADING + 3.0))


def row_heights(sheet: Sheet, widths: dict[int, float]) -> dict[int, float]:
    """Heights in points of the rows that need another one than the default."""
    heights: dict[int, float] = {}

    def claim(row: int, value: Value, look: str, width: float) -> None:
        height = text_height(value if isinstance(value, str) else "", look, width)
        if height > heights.get(row, DEFAULT_HEIGHT):
            heights[row] = height

    for cell in sheet.cells:
        span = sum(widths[number] for number in range(cell.column, cell.column + cell.across))
        claim(cell.row, cell.value, look_of(cell.style, cell.open, cell.value), span)
    for band in sheet.bands:
        if band.title:
            claim(band.top - 1, band.title, "band_title", 0.0)
        for number, column in enumerate(band.columns, band.left):
            claim(band.top, shown_heading(column.heading, widths[number]), "heading", widths[number])
            claim(band.top + 2, column.remark, "remark", widths[number])
            look = look_of(column.style, False, "")
            if look in WRAPPED:
                for row, value in enumerate(column.longest or column.values, band.first_row):
                    if isinstance(value, str):
                        claim(row, value, look, widths[number])
    return dict.fromkeys(_vacant_rows(sheet), _VACANT_HEIGHT) | heights


def _vacant_rows(sheet: Sheet) -> set[int]:
    """Unit and remark rows in which no band of the sheet and no loose cell says anything."""
    vacant = {band.top + 1 for band in sheet.bands if not any(column.unit for column in band.columns)}
    vacant |= {band.top + 2 for band in sheet.bands if not any(column.remark for column in band.columns)}
    spoken = {cell.row for cell in sheet.cells}
    for band in sheet.bands:
        spoken |= {band.top - 1, band.top}
        spoken |= {band.top + 1 for column in band.columns if column.unit}
        spoken |= {band.top + 2 for column in band.columns if column.remark}
        spoken |= {row for row in vacant if band.first_row <= row <= band.last_row}
    return vacant - spoken
