"""The cells of a sheet as XML of our own: value *and* formula, streamed.

The element names are those of ECMA-376 part 1, section 18.3.1 (SpreadsheetML): `<c r s t><f/><v/></c>` in
`<row>` in `<sheetData>`. Writing them ourselves gives each formula its calculated value, which the library
that builds the rest of the file cannot, and costs a fraction of its time. Text stands in its cell
(`inlineStr`): every common reader takes it, and the archive packs repetitions away.

Rows are made in the order of the sheet, a block at a time, so that a sheet is never in memory whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from heapq import merge
from itertools import groupby, pairwise, repeat
from math import isfinite
from operator import attrgetter
from typing import Final, NamedTuple
from xml.sax.saxutils import escape

from openpyxl.utils.cell import get_column_letter

from ubudget.files.sheet_layout import shown_heading
from ubudget.files.workbook_styles import Look, StyleTable, look_of, shown_format
from ubudget.pages.book import Band, BandColumn, LooseCell, Sheet, Value
from ubudget.pages.spelled import BLOCK

LONGEST_TEXT: Final = 32_767
LONGEST_FORMULA: Final = 8_192
"""Limits of the common spreadsheets; longer entries make them call the file damaged."""
_DAY_ZERO: Final = datetime(1899, 12, 30)
_FIRST_SAFE_DAY: Final = datetime(1900, 3, 1)

_ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_LOOKS_ESCAPED = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
_LIKE_FORMULA: Final = ("=", "+", "-", "@")
_RIGHT: Final[frozenset[str]] = frozenset({"number", "fixed", "input", "date"})


class _Strip(NamedTuple):
    """Neighbouring cells of one row, from column `left` to column `right`."""

    row: int
    left: int
    right: int
    xml: str


def markup(text: str) -> str:
    """Text ready to stand in XML. Raises `ValueError` on a character that XML cannot hold."""
    if text.isprintable() and "&" not in text and "<" not in text and ">" not in text:
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
    """The cells of one planned sheet, written row by row.

    Styles are registered at once, in the order of the plan; what a cell shows is asked for when its row is written."""

    def __init__(self, sheet: Sheet, styles: StyleTable, widths: Mapping[int, float]) -> None:
        self._name = sheet.name
        self._styles = styles
        self._widths = widths
        self._bands = [band for band in sheet.bands if band.columns]
        self._looks: list[list[_Looks]] = []
        strips: list[_Strip] = []
        for band in self._bands:
            strips += self._heading_strips(band)
            self._looks.append([self._registered(column, band) for column in band.columns])
        strips += [self._loose(cell) for cell in sheet.cells]
        self._strips = sorted(strips)
        """Headings and loose cells; the rows of bands follow when they are written."""
        self.rows = max(1, sum(band.rows for band in self._bands))
        self.size = sum(band.rows * len(band.columns) for band in self._bands)
        """Cells of the bands."""

    def xml(self, heights: Mapping[int, float]) -> Iterator[str]:
        """The `<sheetData>` element in pieces; `heights` in points for rows that need another one than the default.

        Raises `ValueError` and `TypeError` naming the cell as `cell_xml` does, and for a cell that is planned twice.
        """
        yield "<sheetData>"
        yield from self._row_elements(heights)
        yield "</sheetData>"

    def dimension(self) -> str:
        """The range from the first to the last cell, `A1` for an empty sheet."""
        if not self._strips:
            return "A1"
        left = min(strip.left for strip in self._strips)
        right = max(strip.right for strip in self._strips)
        first = self._strips[0].row
        last = max(self._strips[-1].row, max((band.last_row for band in self._bands), default=0))
        return f"{get_column_letter(left)}{first}:{get_column_letter(right)}{last}"

    def _row_elements(self, heights: Mapping[int, float]) -> Iterator[str]:
        tall = (_Strip(row, 0, 0, "") for row in sorted(heights))
        bands = [self._band_rows(band, looks) for band, looks in zip(self._bands, self._looks, strict=True)]
        for row, strips in groupby(merge(self._strips, tall, *bands), attrgetter("row")):
            cells = list(strips)
            for before, after in pairwise(cells):
                if after.left <= before.right:
                    raise self._fault(f"{get_column_letter(after.left)}{row}", "the cell is planned twice")
            height = f' ht="{heights[row]:.1f}" customHeight="1"' if row in heights else ""
            yield f'<row r="{row}"{height}>{"".join(strip.xml for strip in cells)}</row>'

    def _fault(self, place: str, what: object) -> ValueError:
        return ValueError(f"sheet {self._name!r}, cell {place}: {what}")

    def _cell(self, place: str, look: Look, value: Value, formula: str | None, number_format: str) -> str:
        number = self._styles.number(look, number_format, _is_quoted(value, formula))
        return self._numbered(place, number, value, formula)

    def _numbered(self, place: str, style: int, value: Value, formula: str | None) -> str:
        try:
            return cell_xml(place, style, value, formula)
        except ValueError as fault:
            raise self._fault(place, fault) from fault
        except TypeError as fault:
            raise TypeError(str(self._fault(place, fault))) from fault

    def _loose(self, cell: LooseCell) -> _Strip:
        look = look_of(cell.style, cell.open, cell.value)
        shown = shown_format(cell.number_format, cell.style, cell.value)
        place = f"{get_column_letter(cell.column)}{cell.row}"
        merged = [
            f'<c r="{get_column_letter(number)}{cell.row}" s="{self._styles.number(look)}"/>'
            for number in range(cell.column + 1, cell.column + cell.across)
        ]
        xml = self._cell(place, look, cell.value, cell.formula, shown) + "".join(merged)
        return _Strip(cell.row, cell.column, cell.column + cell.across - 1, xml)

    def _heading_strips(self, band: Band) -> Iterator[_Strip]:
        right = band.left + len(band.columns) - 1
        if band.title:
            place = f"{get_column_letter(band.left)}{band.top - 1}"
            title = self._cell(place, "band_title", band.title, None, "General")
            yield _Strip(band.top - 1, band.left, band.left, title)
        for row, xml in enumerate(self._heading_rows(band), band.top):
            yield _Strip(row, band.left, right, xml)

    def _heading_rows(self, band: Band) -> tuple[str, str, str]:
        headings, units, remarks = [], [], []
        for number, column in enumerate(band.columns, band.left):
            letter, right = get_column_letter(number), _reads_right(column)
            heading: Look = "heading_right" if right else "heading"
            unit: Look = "unit_right" if right else "unit"
            written = shown_heading(column.heading, self._widths[number])
            headings.append(self._cell(f"{letter}{band.top}", heading, written, None, "General"))
            units.append(self._cell(f"{letter}{band.top + 1}", unit, column.unit or None, None, "General"))
            remarks.append(self._cell(f"{letter}{band.top + 2}", "remark", column.remark or None, None, "General"))
        return "".join(headings), "".join(units), "".join(remarks)

    def _registered(self, column: BandColumn, band: Band) -> _Looks:
        parts = (column.values, column.formulas, column.open, column.number_formats)
        if any(part is not None and len(part) != band.rows for part in parts):
            raise ValueError(
                f"sheet {self._name!r}, band {band.name!r}, column {column.heading!r}: "
                f"values, formulas, open marks and formats must have {band.rows} entries each"
            )
        return _Looks(column, self._styles)

    def _band_rows(self, band: Band, looks: Sequence[_Looks]) -> Iterator[_Strip]:
        """The rows of a band below its heading, made a block at a time."""
        right = band.left + len(band.columns) - 1
        letters = [get_column_letter(number) for number in range(band.left, right + 1)]
        for start in range(0, band.rows, BLOCK):
            rows = range(band.first_row + start, band.first_row + min(start + BLOCK, band.rows))
            stacks = [
                [
                    self._numbered(f"{letter}{row}", style, value, formula)
                    for row, (style, value, formula) in zip(rows, cells.block(start, start + len(rows)), strict=True)
                ]
                for letter, cells in zip(letters, looks, strict=True)
            ]
            for row, cells in zip(rows, zip(*stacks, strict=True), strict=True):
                yield _Strip(row, band.left, right, "".join(cells))


class _Looks:
    """Style numbers of the cells of a column; each different one is asked for once, in the order of the rows."""

    def __init__(self, column: BandColumn, styles: StyleTable) -> None:
        self._column, self._styles = column, styles
        self._known: dict[tuple[bool, type, str, bool], int] = {}
        for row, (value, is_open, shown) in enumerate(
            zip(column.values, *self._marks(0, len(column.values)), strict=False)
        ):
            like_formula = value.__class__ is str and value.startswith(_LIKE_FORMULA)
            formula = column.formulas[row] if like_formula and column.formulas is not None else None
            self._number(value, formula, is_open, shown)

    def block(self, start: int, stop: int) -> Iterator[tuple[int, Value, str | None]]:
        """Style, value and formula of some rows."""
        column = self._column
        formulas = repeat(None) if column.formulas is None else column.formulas[start:stop]
        for value, formula, is_open, shown in zip(
            column.values[start:stop], formulas, *self._marks(start, stop), strict=False
        ):
            yield self._number(value, formula, is_open, shown), value, formula

    def _marks(self, start: int, stop: int) -> tuple[Iterable[bool], Iterable[str]]:
        """Whether each row is open, and its number format."""
        column = self._column
        return (
            repeat(False) if column.open is None else column.open[start:stop],
            repeat(column.number_format) if column.number_formats is None else column.number_formats[start:stop],
        )

    def _number(self, value: Value, formula: str | None, is_open: bool, shown: str) -> int:
        key = (is_open, value.__class__, shown, _is_quoted(value, formula))
        known = self._known.get(key)
        if known is None:
            look, style = look_of(self._column.style, is_open, value), self._column.style
            known = self._known[key] = self._styles.number(look, shown_format(shown, style, value), key[3])
        return known


def _is_quoted(value: Value, formula: str | None) -> bool:
    """Whether a text would be taken for a formula once somebody edits its cell."""
    return formula is None and isinstance(value, str) and value.startswith(_LIKE_FORMULA)
