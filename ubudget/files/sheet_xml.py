"""The cells of a sheet as XML of our own: value *and* formula, streamed.

The element names are those of ECMA-376 part 1, section 18.3.1 (SpreadsheetML): `<c r s t><f/><v/></c>` in
`<row>` in `<sheetData>`. Writing them ourselves gives each formula its calculated value, which the library
that builds the rest of the file cannot, and costs a fraction of its time. Text stands in its cell
(`inlineStr`): every common reader takes it, and the archive packs repetitions away.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from math import isfinite
from typing import Final, NamedTuple
from xml.sax.saxutils import escape

from openpyxl.utils.cell import get_column_letter

from ubudget.files.sheet_layout import shown_heading
from ubudget.files.workbook_styles import Look, StyleTable, look_of, shown_format
from ubudget.pages.book import Band, BandColumn, LooseCell, Sheet, Value

LONGEST_TEXT: Final = 32_767
LONGEST_FORMULA: Final = 8_192
"""Limits of the common spreadsheets; longer entries make them call the file damaged."""
_DAY_ZERO: Final = datetime(1899, 12, 30)
_FIRST_SAFE_DAY: Final = datetime(1900, 3, 1)

_ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_MARKUP = re.compile("[&<>\r\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_LOOKS_ESCAPED = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
_LIKE_FORMULA: Final = ("=", "+", "-", "@")
_RIGHT: Final[frozenset[str]] = frozenset({"number", "fixed", "input", "date"})


class _Strip(NamedTuple):
    """Neighbouring cells of one row, from column `left` to column `right`."""

    left: int
    right: int
    xml: str


def markup(text: str) -> str:
    """Text ready to stand in XML. Raises `ValueError` on a character that XML cannot hold."""
    if not _MARKUP.search(text):
        return text
    if illegal := _ILLEGAL.search(text):
        raise ValueError(f"the text holds the control character U+{ord(illegal.group()):04X}")
    return escape(text, {"\r": "&#13;"})


def text_markup(text: str) -> str:
    """Text of a cell ready to stand in XML. Raises `ValueError` when no cell can hold it.

    Spreadsheets read `_x0041_` as an escaped letter (ECMA-376 part 1, section 22.9.2.19, ST_Xstring); the
    underscore of text that only looks so is escaped itself.
    """
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"the text has {len(text)} characters, a cell holds {LONGEST_TEXT}")
    return markup(_LOOKS_ESCAPED.sub("_x005F_", text) if "_x" in text else text)


def text_as_stored(stored: str) -> str:
    """The text of a cell from what readers that know nothing of such escapes return for it."""
    return stored.replace("_x005F_", "_")


def formula_markup(formula: str) -> str:
    """A formula ready to stand in XML. Raises `ValueError` when it cannot be one."""
    if not formula or formula[0] == "=":
        raise ValueError(f"the formula {formula!r} is empty or starts with '='")
    if len(formula) > LONGEST_FORMULA:
        raise ValueError(f"the formula has {len(formula)} characters, a cell holds {LONGEST_FORMULA}")
    return markup(formula)


def number_markup(value: float) -> str:
    """The shortest decimal that reads back as the same double (at most 17 digits)."""
    if not isfinite(value):
        raise ValueError(f"the number {value} is not finite")
    return float.__repr__(value + 0.0)  # + 0.0 turns a negative zero into zero


def serial(day: date) -> float:
    """Day number of spreadsheets: days since 1899-12-30; a time of day is a fraction.

    Raises `ValueError` for days before 1900-03-01, which spreadsheets number differently.
    """
    moment = datetime.combine(day, time()) if not isinstance(day, datetime) else day.replace(tzinfo=None)
    if moment < _FIRST_SAFE_DAY:
        raise ValueError(f"spreadsheets disagree about the day number of {day.isoformat()}")
    return (moment - _DAY_ZERO) / timedelta(days=1)


def cell_xml(place: str, style: int, value: Value, formula: str | None) -> str:
    """One `<c>` element. Raises `ValueError` for what a cell cannot hold, `TypeError` for another type."""
    head = f'<c r="{place}" s="{style}"'
    f = f"<f>{formula_markup(formula)}</f>" if formula is not None else ""
    if isinstance(value, float):
        return f"{head}>{f}<v>{number_markup(value)}</v></c>"
    if value is None:
        # A formula always shows something: the stored value of one that shows nothing is the empty text.
        return f'{head} t="str">{f}<v></v></c>' if f else f"{head}/>"
    if isinstance(value, bool):
        return f'{head} t="b">{f}<v>{value:d}</v></c>'
    if isinstance(value, int):
        return f"{head}>{f}<v>{value:d}</v></c>"
    if isinstance(value, str):
        text = text_markup(value)
        if f:
            return f'{head} t="str">{f}<v xml:space="preserve">{text}</v></c>'
        return f'{head} t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'
    if isinstance(value, date):
        return f"{head}>{f}<v>{number_markup(serial(value))}</v></c>"
    raise TypeError(f"a cell cannot hold a value of type {type(value).__name__}")


def _reads_right(column: BandColumn) -> bool:
    """Whether heading and unit stand on the right, over numbers."""
    if column.style == "result":
        return not any(isinstance(value, str) for value in column.values)
    return column.style in _RIGHT


class SheetData:
    """Collects the cells of one planned sheet and writes them row by row."""

    def __init__(self, sheet: Sheet, styles: StyleTable, widths: Mapping[int, float]) -> None:
        self._name = sheet.name
        self._styles = styles
        self._widths = widths
        self._rows: dict[int, list[_Strip]] = {}
        for band in sheet.bands:
            self._add_band(band)
        for cell in sheet.cells:
            self._add_loose(cell)

    def xml(self, heights: dict[int, float]) -> str:
        """The `<sheetData>` element; `heights` in points for rows that need another one than the default."""
        return f"<sheetData>{''.join(self._row_elements(heights))}</sheetData>"

    def dimension(self) -> str:
        """The range from the first to the last cell, `A1` for an empty sheet."""
        if not self._rows:
            return "A1"
        left = min(strip.left for strips in self._rows.values() for strip in strips)
        right = max(strip.right for strips in self._rows.values() for strip in strips)
        first, last = min(self._rows), max(self._rows)
        return f"{get_column_letter(left)}{first}:{get_column_letter(right)}{last}"

    def _row_elements(self, heights: dict[int, float]) -> Iterator[str]:
        for row in sorted(self._rows.keys() | heights.keys()):
            strips = sorted(self._rows.get(row, []))
            for before, after in pairwise(strips):
                if after.left <= before.right:
                    raise self._fault(f"{get_column_letter(after.left)}{row}", "the cell is planned twice")
            tall = f' ht="{heights[row]:.1f}" customHeight="1"' if row in heights else ""
            yield f'<row r="{row}"{tall}>{"".join(strip.xml for strip in strips)}</row>'

    def _put(self, row: int, left: int, right: int, xml: str) -> None:
        self._rows.setdefault(row, []).append(_Strip(left, right, xml))

    def _fault(self, place: str, what: object) -> ValueError:
        return ValueError(f"sheet {self._name!r}, cell {place}: {what}")

    def _cell(self, place: str, look: Look, value: Value, formula: str | None, number_format: str) -> str:
        quoted = formula is None and isinstance(value, str) and value.startswith(_LIKE_FORMULA)
        try:
            number = self._styles.number(look, number_format, quoted)
            return cell_xml(place, number, value, formula)
        except ValueError as fault:
            raise self._fault(place, fault) from fault
        except TypeError as fault:
            raise TypeError(str(self._fault(place, fault))) from fault

    def _add_loose(self, cell: LooseCell) -> None:
        look = look_of(cell.style, cell.open, cell.value)
        shown = shown_format(cell.number_format, cell.style, cell.value)
        place = f"{get_column_letter(cell.column)}{cell.row}"
        merged = [
            f'<c r="{get_column_letter(number)}{cell.row}" s="{self._styles.number(look)}"/>'
            for number in range(cell.column + 1, cell.column + cell.across)
        ]
        xml = self._cell(place, look, cell.value, cell.formula, shown) + "".join(merged)
        self._put(cell.row, cell.column, cell.column + cell.across - 1, xml)

    def _add_band(self, band: Band) -> None:
        if not band.columns:
            return
        right = band.left + len(band.columns) - 1
        letters = [get_column_letter(number) for number in range(band.left, right + 1)]
        if band.title:
            title = self._cell(f"{letters[0]}{band.top - 1}", "band_title", band.title, None, "General")
            self._put(band.top - 1, band.left, band.left, title)
        for row, xml in enumerate(self._heading_rows(band, letters), band.top):
            self._put(row, band.left, right, xml)
        stacks = [self._column(column, letter, band) for column, letter in zip(band.columns, letters, strict=True)]
        for row, cells in enumerate(zip(*stacks, strict=True), band.first_row):
            self._put(row, band.left, right, "".join(cells))

    def _heading_rows(self, band: Band, letters: list[str]) -> tuple[str, str, str]:
        headings, units, remarks = [], [], []
        for number, (column, letter) in enumerate(zip(band.columns, letters, strict=True), band.left):
            right = _reads_right(column)
            heading: Look = "heading_right" if right else "heading"
            unit: Look = "unit_right" if right else "unit"
            written = shown_heading(column.heading, self._widths[number])
            headings.append(self._cell(f"{letter}{band.top}", heading, written, None, "General"))
            units.append(self._cell(f"{letter}{band.top + 1}", unit, column.unit or None, None, "General"))
            remarks.append(self._cell(f"{letter}{band.top + 2}", "remark", column.remark or None, None, "General"))
        return "".join(headings), "".join(units), "".join(remarks)

    def _column(self, column: BandColumn, letter: str, band: Band) -> list[str]:
        """The cells of one column below its heading."""
        rows = band.rows
        formulas = column.formulas if column.formulas is not None else [None] * rows
        opens = column.open if column.open is not None else [False] * rows
        formats = column.number_formats if column.number_formats is not None else [column.number_format] * rows
        if not len(column.values) == len(formulas) == len(opens) == len(formats) == rows:
            raise ValueError(
                f"sheet {self._name!r}, band {band.name!r}, column {column.heading!r}: "
                f"values, formulas, open marks and formats must have {rows} entries each"
            )
        return [
            self._cell(
                f"{letter}{row}",
                look_of(column.style, is_open, value),
                value,
                formula,
                shown_format(number_format, column.style, value),
            )
            for row, (value, formula, is_open, number_format) in enumerate(
                zip(column.values, formulas, opens, formats, strict=True), band.first_row
            )
        ]
