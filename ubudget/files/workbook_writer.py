"""A planned workbook becomes bytes.

One library builds what is intricate and small (looks, print set-up, protection, drop-down lists, charts);
the cells, large and simple, are written by `sheet_xml` with value and formula. The same plan gives the same
bytes: every time inside the file is the plan's own.
"""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import tostring

from openpyxl import Workbook
from openpyxl.utils.cell import get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.workbook.properties import CalcProperties
from openpyxl.worksheet.cell_range import CellRange
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.header_footer import HeaderFooterItem
from openpyxl.worksheet.page import PageMargins
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from ubudget.files.atomic import replace_file
from ubudget.files.letterhead import (
    PLAIN,
    Letterhead,
    Printed,
    height_of_pictures,
    paper_for,
    place_pictures,
    printed_footer,
    printed_header,
    scaled_pictures,
)
from ubudget.files.print_layout import Paper, breaks_before, print_area
from ubudget.files.sheet_layout import DEFAULT_HEIGHT, POINTS_PER_WIDTH, column_widths, row_heights
from ubudget.files.sheet_xml import SheetData, markup
from ubudget.files.workbook_charts import draw
from ubudget.files.workbook_styles import TABS, StyleTable, emphasis
from ubudget.pages.book import Book, Choice, Sheet

_EMPTY_CELLS: Final = re.compile(rb"<sheetData\s*/>|<sheetData>\s*</sheetData>")
_DIMENSION: Final = re.compile(rb'<dimension ref="[^"]*"\s*/>')
_EARLIEST: Final = datetime(1980, 1, 1)
"""A zip archive knows no earlier time."""
_COMPRESSION: Final = 4
"""Of 9; higher levels take twice the time for a few per cent."""


@dataclass(frozen=True)
class _Print:
    """What is the same on every page of a workbook."""

    header: Printed
    footer: Printed
    paper: Paper
    font: str


def write_book(book: Book, path: Path, *, force: bool = False, letterhead: Letterhead = PLAIN) -> None:
    """Write the workbook to `path`, whole or not at all.

    Raises `OutputExists` when the file is there and `force` is false, `NotWritable` when the system refuses,
    and what `book_bytes` raises.
    """
    replace_file(path, book_bytes(book, letterhead), force=force)


def book_bytes(book: Book, letterhead: Letterhead = PLAIN) -> bytes:
    """The workbook as the bytes of an `.xlsx` file (ECMA-376, transitional), with the looks of a laboratory's own.

    Raises `ValueError` naming sheet and cell for what no cell can hold (NaN, infinity, control characters,
    over-long text, a cell planned twice), `TypeError` for a value of another type than `Value`, `UnusableInput`
    for a letterhead beside which the document's number finds no room.
    """
    header, footer = printed_header(letterhead, book.header), printed_footer(letterhead, book.program)
    printing = _Print(header, footer, paper_for(letterhead, header, footer), letterhead.font)
    moment = _naive_utc(book.modified)
    workbook = Workbook()
    workbook.remove(workbook.worksheets[0])
    pages = [workbook.create_sheet(sheet.name) for sheet in book.sheets]
    _describe(workbook, book, moment)
    styles = StyleTable(workbook, letterhead.font, title_low=bool(letterhead.pictures))
    cells: dict[str, tuple[str, str]] = {}
    for number, (sheet, page) in enumerate(zip(book.sheets, pages, strict=True), 1):
        widths = column_widths(sheet)
        heights = row_heights(sheet, widths)
        if number == 1 and letterhead.pictures:
            _put_pictures(page, letterhead, printing.paper, widths, heights)
        _set_up(page, sheet, printing, widths, heights)
        data = SheetData(sheet, styles, widths)
        cells[f"xl/worksheets/sheet{number}.xml"] = (data.dimension(), data.xml(heights))
    skeleton = io.BytesIO()
    workbook.save(skeleton)
    # Saving stamps the present time on the properties; the plan's own time replaces it.
    workbook.properties.modified = moment
    parts = {
        "docProps/core.xml": tostring(workbook.properties.to_tree(), encoding="utf-8"),
        "docProps/app.xml": _application(book.program),
    }
    return _sealed(skeleton, cells, parts, moment)


def _naive_utc(moment: datetime) -> datetime:
    """The time as the file stores it: UTC, whole seconds; a time without zone is taken as UTC."""
    if moment.tzinfo is not None:
        moment = moment.astimezone(UTC).replace(tzinfo=None)
    return max(moment.replace(microsecond=0), _EARLIEST)


def _describe(workbook: Workbook, book: Book, moment: datetime) -> None:
    """Properties, defined names and the wish to be calculated on opening."""
    properties = workbook.properties
    properties.title, properties.creator = book.title, book.program
    properties.created = properties.modified = moment
    workbook.calculation = CalcProperties(fullCalcOnLoad=True)
    for name, reference in book.names.items():
        workbook.defined_names[name] = DefinedName(name, attr_text=reference)


def _application(program: str) -> bytes:
    """The extended properties: which program wrote the file and calculated its stored values."""
    space = "http://schemas.openxmlformats.org/officeDocument/2006/extended-properties"
    return (
        f'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
        f'<Properties xmlns="{space}"><Application>{markup(program)}</Application></Properties>'
    ).encode()


def _put_pictures(
    page: Worksheet, letterhead: Letterhead, paper: Paper, widths: dict[int, float], heights: dict[int, float]
) -> None:
    """The logo above the title, in the first row, which is made higher for it."""
    across = min(sum(widths.values()) * POINTS_PER_WIDTH, (paper.short_edge - paper.left - paper.right) * 72)
    pictures = scaled_pictures(letterhead.pictures, across)
    place_pictures(page, pictures)
    heights[1] = heights.get(1, DEFAULT_HEIGHT) + height_of_pictures(pictures)


def _set_up(
    page: Worksheet, sheet: Sheet, printing: _Print, widths: dict[int, float], heights: dict[int, float]
) -> None:
    """Everything of a sheet but its cells."""
    for number, width in sorted(widths.items()):
        page.column_dimensions[get_column_letter(number)].width = width
    page.sheet_format.defaultRowHeight = DEFAULT_HEIGHT
    page.sheet_format.customHeight = True
    page.sheet_view.showGridLines = False
    page.freeze_panes = sheet.freeze
    for cell in sheet.cells:
        if cell.across > 1:
            last = cell.column + cell.across - 1
            page.merged_cells.add(CellRange(min_col=cell.column, min_row=cell.row, max_col=last, max_row=cell.row))
    if sheet.protected:
        _protect(page)
    if sheet.tab:
        page.sheet_properties.tabColor = TABS[sheet.tab]
    _prepare_print(page, sheet, printing)
    page.print_area = print_area(sheet, widths, heights)
    for row in breaks_before(sheet, widths, heights, printing.paper):
        page.row_breaks.append(Break(id=row - 1))
    for choice in sheet.choices:
        page.add_data_validation(_drop_down(choice))
    for highlight in sheet.highlights:
        page.conditional_formatting.add(highlight.range.replace("$", ""), emphasis(highlight))
    for chart in sheet.charts:
        page.add_chart(draw(chart, printing.font), chart.anchor)


def _protect(page: Worksheet) -> None:
    """Lock the sheet without password; columns and rows may still be made wider or higher."""
    page.protection.sheet = True
    page.protection.formatColumns = False
    page.protection.formatRows = False


def _prepare_print(page: Worksheet, sheet: Sheet, printing: _Print) -> None:
    """One page wide, repeated headings, header and footer that say what the sheet is."""
    paper = printing.paper
    page.page_setup.paperSize = paper.code
    page.page_setup.orientation = "landscape" if sheet.landscape else "portrait"
    page.page_setup.fitToWidth, page.page_setup.fitToHeight = sheet.pages_across, 0
    page.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    page.page_margins = PageMargins(
        paper.left, paper.right, paper.top, paper.bottom, header=paper.header, footer=paper.footer
    )
    if sheet.repeat_rows is not None:
        page.print_title_rows = f"{sheet.repeat_rows[0]}:{sheet.repeat_rows[1]}"
    if sheet.repeat_columns:
        page.print_title_cols = f"A:{get_column_letter(sheet.repeat_columns)}"
    page.HeaderFooter.oddHeader = _PrintedItem(printing.header)
    page.HeaderFooter.oddFooter = _PrintedItem(printing.footer)


class _PrintedItem(HeaderFooterItem):
    """Printed lines with their line feeds as they are; the library's escapes are shown as letters by LibreOffice."""

    def __init__(self, printed: Printed) -> None:
        super().__init__()
        self._text = printed.text()

    def __str__(self) -> str:
        return self._text

    def __bool__(self) -> bool:
        return bool(self._text)


def _drop_down(choice: Choice) -> DataValidation:
    rule = DataValidation(type="list", formula1=choice.source, allow_blank=True, showErrorMessage=choice.only)
    rule.errorTitle, rule.error = "Not in the list", "Choose one of the entries of the list."
    if choice.message:
        rule.prompt, rule.showInputMessage = choice.message, True
    rule.add(choice.range.replace("$", ""))
    return rule


def _sealed(
    skeleton: io.BytesIO, cells: dict[str, tuple[str, str]], parts: dict[str, bytes], moment: datetime
) -> bytes:
    """The skeleton with the cells put in, some parts replaced and every time in the archive `moment`."""
    sealed = io.BytesIO()
    with zipfile.ZipFile(skeleton) as source, zipfile.ZipFile(sealed, "w") as target:
        for name in source.namelist():
            content = parts.get(name) or source.read(name)
            if name in cells:
                content = _filled(content, *cells[name])
            entry = zipfile.ZipInfo(name, moment.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 0  # else the archive would tell on which system it was made
            target.writestr(entry, content, compresslevel=_COMPRESSION)
    return sealed.getvalue()


def _filled(empty: bytes, dimension: str, cells: str) -> bytes:
    """The XML of an empty sheet with its cells put in, at the place the schema wants them."""
    found = _EMPTY_CELLS.search(empty)
    if found is None:
        raise ValueError("the empty sheet has no place for its cells")
    before = _DIMENSION.sub(f'<dimension ref="{dimension}"/>'.encode(), empty[: found.start()])
    return b"".join((before, cells.encode(), empty[found.end() :]))
