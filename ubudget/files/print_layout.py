"""What goes on paper: the area to print, and page breaks that keep charts whole."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from openpyxl.utils.cell import column_index_from_string as column_number
from openpyxl.utils.cell import coordinate_from_string, get_column_letter

from ubudget.files.sheet_layout import DEFAULT_HEIGHT, DEFAULT_WIDTH, POINTS_PER_WIDTH
from ubudget.pages.book import Chart, Sheet
from ubudget.pages.layout import FIRST_BAND

_SAFETY: Final = 0.97
"""Of a page; spreadsheets round heights and the scale a little differently."""
_ROWS_KEPT: Final = 3
"""First rows of a band that stay with its heading."""
_POINTS_PER_CM: Final = 72 / 2.54
_CLEAR: Final = 0.06
"""Inches between a printed line and the cells."""


@dataclass(frozen=True)
class Paper:
    """Edges and margins in inches; A4 (ISO 216) unless said otherwise."""

    code: int = 9
    """Number of the size in the file format (ECMA-376 part 1, 18.3.1.63, paperSize)."""
    short_edge: float = 210 / 25.4
    long_edge: float = 297 / 25.4
    left: float = 0.5
    right: float = 0.5
    top: float = 0.75
    bottom: float = 0.65
    header: float = 0.35
    """From the upper edge to the printed header."""
    footer: float = 0.3

    def with_room(self, header_end: float, footer_end: float) -> Paper:
        """Margins that hold a header and a footer which end that far from the edges."""
        return replace(self, top=max(self.top, header_end + _CLEAR), bottom=max(self.bottom, footer_end + _CLEAR))


A4: Final = Paper()


def print_area(sheet: Sheet, widths: dict[int, float], heights: dict[int, float]) -> str:
    """The range to print, from `A1` to the last cell or chart."""
    row, column = _last_corner(sheet, widths, heights)
    return f"A1:{get_column_letter(column)}{row}"


def breaks_before(
    sheet: Sheet, widths: dict[int, float], heights: dict[int, float], paper: Paper = A4
) -> tuple[int, ...]:
    """Rows that start a new page because a chart or rows that belong together would else be cut in two, or a
    band's title and heading would stand apart from its first rows.

    A chart beside a table is left where it is: a break there would tear the table.
    """
    last_row, last_column = _last_corner(sheet, widths, heights)
    page = _page_height(sheet, sum(widths.get(n, DEFAULT_WIDTH) for n in range(1, last_column + 1)), paper)
    first_repeated, last_repeated = sheet.repeat_rows or (1, 0)
    repeated = sum(heights.get(row, DEFAULT_HEIGHT) for row in range(first_repeated, last_repeated + 1))
    needs: dict[int, float] = {}
    for chart in sheet.charts:
        row = coordinate_from_string(chart.anchor)[1]
        if not any(band.top <= row <= band.last_row for band in sheet.bands):
            needs[row] = max(needs.get(row, 0.0), chart.height_cm * _POINTS_PER_CM)
    for band in sheet.bands:
        head = range(band.top - 1, min(band.first_row + _ROWS_KEPT, band.last_row + 1))
        if band.top > FIRST_BAND and band.left == 1:
            needs[band.top - 1] = sum(heights.get(row, DEFAULT_HEIGHT) for row in head)
    for first, last in sheet.whole:
        needs[first] = max(
            needs.get(first, 0.0), sum(heights.get(row, DEFAULT_HEIGHT) for row in range(first, last + 1))
        )
    breaks = []
    used = top = 0.0
    for row in range(1, last_row + 1):
        height = heights.get(row, DEFAULT_HEIGHT)
        forced = used > top and used + needs.get(row, 0.0) > page
        if forced or used + height > page:
            top = used = repeated if row > last_repeated else 0.0
        if forced:
            breaks.append(row)
        used += height
    return tuple(breaks)


def _page_height(sheet: Sheet, width: float, paper: Paper) -> float:
    """Height in points of what fits on a page once the sheet is scaled to one page wide."""
    edges = (paper.long_edge, paper.short_edge)
    across, down = edges if sheet.landscape else reversed(edges)
    scale = min(1.0, (across - paper.left - paper.right) * 72 / (width / sheet.pages_across * POINTS_PER_WIDTH))
    return (down - paper.top - paper.bottom) * 72 / scale * _SAFETY


def _last_corner(sheet: Sheet, widths: dict[int, float], heights: dict[int, float]) -> tuple[int, int]:
    """Row and column of the last cell to print; charts count."""
    if sheet.print_to is not None:
        return sheet.print_to
    corners = [(1, 1)]
    corners += [(band.last_row, band.left + len(band.columns) - 1) for band in sheet.bands]
    corners += [(cell.row, cell.column + cell.across - 1) for cell in sheet.cells]
    corners += [_chart_corner(chart, widths, heights) for chart in sheet.charts]
    return max(row for row, _ in corners), max(column for _, column in corners)


def _chart_corner(chart: Chart, widths: dict[int, float], heights: dict[int, float]) -> tuple[int, int]:
    """Row and column of the lower right corner of a chart."""
    letters, row = coordinate_from_string(chart.anchor)
    column = column_number(letters)
    across, down = chart.width_cm * _POINTS_PER_CM, chart.height_cm * _POINTS_PER_CM
    while (across := across - widths.get(column, DEFAULT_WIDTH) * POINTS_PER_WIDTH) > 0:
        column += 1
    while (down := down - heights.get(row, DEFAULT_HEIGHT)) > 0:
        row += 1
    return row, column
