"""A planned workbook becomes bytes.

One library builds what is intricate and small (looks, print set-up, protection, drop-down lists, charts);
the cells, large and simple, are written by `sheet_xml` with value and formula. The same plan gives the same
bytes: every time inside the file is the plan's own.
"""

from __future__ import annotations

import io
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import BinaryIO, Final
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
from openpyxl.writer.excel import ExcelWriter

from ubudget.errors import NotWritable
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
from ubudget.pages.spelled import BLOCK

_EMPTY_CELLS: Final = re.compile(rb"<sheetData\s*/>|<sheetData>\s*</sheetData>")
_DIMENSION: Final = re.compile(rb'<dimension ref="[^"]*"\s*/>')
_EARLIEST: Final = datetime(1980, 1, 1)
"""A zip archive knows no earlier time."""
_COMPRESSION: Final = 4
"""Of 9; higher levels take twice the time for a few per cent."""


Done = Callable[[float], None]
"""Hears which part of the work is done, from 0 to 1."""


@dataclass(frozen=True)
class _Print:
    """What is the same on every page of a workbook."""

    header: Printed
    footer: Printed
    paper: Paper
    font: str


def _unheard(part: float) -> None:
    """Where nobody waits for news."""


def write_book(
    book: Book, path: Path, *, force: bool = False, letterhead: Letterhead = PLAIN, done: Done = _unheard
) -> None:
    """Write the workbook to `path`, whole or not at all; `done` hears of the progress.

    Raises `OutputExists` when the file is there and `force` is false, `NotWritable` when the system refuses;
    `ValueError` naming sheet and cell for what no cell can hold, `TypeError` for a value of another type than `Value`.
    """
    # In memory first: an archive that is half written to a full disk tries again and again to be closed.
    content = io.BytesIO()
    write_book_to(book, content, done, letterhead)
    replace_file(path, lambda stream: stream.write(content.getbuffer()), force=force)


def book_bytes(book: Book, letterhead: Letterhead = PLAIN) -> bytes:
    """The workbook as the bytes of an `.xlsx` file, with the looks of a laboratory's own. Raises as `write_book`, but
    for the file."""
    stream = io.BytesIO()
    write_book_to(book, stream, _unheard, letterhead)
    return stream.getvalue()


def write_book_to(book: Book, stream: BinaryIO, done: Done, letterhead: Letterhead = PLAIN) -> None:
    """Writes an `.xlsx` file (ECMA-376, transitional), sheet by sheet and block by block.

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
    cells: dict[str, tuple[SheetData, dict[int, float]]] = {}
    for number, (sheet, page) in enumerate(zip(book.sheets, pages, strict=True), 1):
        widths = column_widths(sheet)
        heights = row_heights(sheet, widths)
        if number == 1 and letterhead.pictures:
            _put_pictures(page, letterhead, printing.paper, widths, heights)
        _set_up(page, sheet, printing, widths, heights)
        cells[f"xl/worksheets/sheet{number}.xml"] = (SheetData(sheet, styles, widths), heights)
    skeleton = _saved(workbook)
    # Saving stamps the present time on the properties; the plan's own time replaces it.
    workbook.properties.modified = moment
    parts = {
        "docProps/core.xml": tostring(workbook.properties.to_tree(), encoding="utf-8"),
        "docProps/app.xml": _application(book.program),
    }
    _seal(stream, skeleton, cells, parts, moment, done)


def _saved(workbook: Workbook) -> io.BytesIO:
    """The workbook as the library writes it, by way of temporary files. Raises `NotWritable`."""
    stream = io.BytesIO()
    archive = zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED)
    try:
        ExcelWriter(workbook, archive).save()
    except OSError as refusal:
        # Nothing is left to be closed: an open part would make the archive complain when it is collected.
        archive.fp = None
        raise NotWritable(
            f"{tempfile.gettempdir()}: cannot be written ({refusal.strerror or refusal}); a folder for temporary files "
            "with room in it is needed; make room, or set TMPDIR to another folder"
        ) from refusal
    return stream


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


def _seal(
    stream: BinaryIO,
    skeleton: io.BytesIO,
    cells: Mapping[str, tuple[SheetData, dict[int, float]]],
    parts: Mapping[str, bytes],
    moment: datetime,
    done: Done,
) -> None:
    """Writes the skeleton with the cells put in, some parts replaced and every time in the archive `moment`."""
    written, total = 0, max(1, sum(data.size for data, _ in cells.values()))
    with zipfile.ZipFile(skeleton) as source, zipfile.ZipFile(stream, "w") as target:
        for name in source.namelist():
            content = parts.get(name) or source.read(name)
            entry = zipfile.ZipInfo(name, moment.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 0  # else the archive would tell on which system it was made
            # The only way to set the level of an entry that is written in pieces.
            entry._compresslevel = _COMPRESSION  # type: ignore[attr-defined]  # public under another name from 3.13 on
            with target.open(entry, "w") as part:
                if name not in cells:
                    part.write(content)
                    continue
                data, heights = cells[name]
                for piece, rows in _filled(content, data, heights):
                    part.write(piece)
                    done((written + data.size * rows) / total)
                written += data.size


def _filled(empty: bytes, data: SheetData, heights: Mapping[int, float]) -> Iterator[tuple[bytes, float]]:
    """The XML of an empty sheet with its cells put in, at the place the schema wants them; with each piece the part of
    the rows that is done."""
    found = _EMPTY_CELLS.search(empty)
    if found is None:
        raise ValueError("the empty sheet has no place for its cells")
    yield _DIMENSION.sub(f'<dimension ref="{data.dimension()}"/>'.encode(), empty[: found.start()]), 0.0
    pieces, rows = data.xml(heights), 0
    while batch := "".join(islice(pieces, BLOCK)):
        rows += BLOCK
        yield batch.encode(), min(1.0, rows / data.rows)
    yield empty[found.end() :], 1.0
