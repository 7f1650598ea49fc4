"""The workbook as planned data: what each cell shows, how it is calculated, and whether it may be edited.

A sheet is planned by *bands* (one heading over many rows, column by column) and a few loose cells. Nothing here
knows a file format; `ubudget.files.workbook_writer` turns a `Book` into bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

Value = float | int | str | date | None
"""What a cell shows. `None` is an empty cell. NaN and infinity are refused by the writer."""

Style = Literal[
    "title",  # name of the sheet, first line
    "note",  # explanation in words, wraps
    "heading",  # column heading of a band, wraps
    "unit",  # unit line below a heading
    "label",  # text that names a row (sample, item ...)
    "text",  # other text, locked, wraps
    "number",  # a calculated number
    "fixed",  # a number from the records that may not be edited here
    "input",  # an open number: visibly open
    "input_text",  # an open text
    "date",  # a date, locked
    "result",  # a reported result (calculated number or text), emphasised
    "flag",  # text that asks for attention when not empty
    "sign",  # an empty field that a person fills by hand (prepared, checked, authorised)
    "box",  # a framed text of a drawing made of cells
    "record",  # fixed-width text of the record sheet
]


@dataclass(frozen=True)
class Origin:
    """The field of a record that an input cell shows: document name and path of keys and 0-based positions."""

    document: str
    path: tuple[str | int, ...]
    unit: str = ""
    """Unit in which the cell shows the field; empty where the field is a bare number or a text."""


@dataclass(frozen=True)
class BandColumn:
    """One column of a band; every sequence has one entry per row of the band."""

    heading: str
    values: Sequence[Value]
    style: Style = "number"
    unit: str = ""
    formulas: Sequence[str | None] | None = None
    """Formula text without the leading `=`; `None` (whole or one entry) writes the value itself."""
    open: Sequence[bool] | None = None
    """Which cells are unlocked; `None` = none of them."""
    origins: Sequence[Origin | None] | None = None
    number_format: str = "General"
    number_formats: Sequence[str] | None = None
    """One for each row, where they differ; before `number_format`."""
    width: float = 12.0
    longest: Sequence[str] | None = None
    """The longest text that each cell may come to show; heights of rows are made for it."""
    remark: str = ""
    """What the column is and which clause it follows; written as the third line of the heading block."""


@dataclass(frozen=True)
class Band:
    """Columns side by side from `left` (1-based), heading in row `top`, unit in `top + 1`, remark in `top + 2`,
    first data row in `top + 3`."""

    name: str
    top: int
    left: int
    columns: tuple[BandColumn, ...]
    title: str = ""
    """Written in row `top - 1` when not empty."""

    HEADING_ROWS = 3

    @property
    def first_row(self) -> int:
        return self.top + self.HEADING_ROWS

    @property
    def rows(self) -> int:
        return len(self.columns[0].values) if self.columns else 0

    @property
    def last_row(self) -> int:
        return self.first_row + self.rows - 1


@dataclass(frozen=True)
class LooseCell:
    """A cell outside any band. `row` and `column` are 1-based; `across` merges that many columns."""

    row: int
    column: int
    value: Value
    style: Style = "text"
    formula: str | None = None
    open: bool = False
    origin: Origin | None = None
    number_format: str = "General"
    across: int = 1


@dataclass(frozen=True)
class Choice:
    """A drop-down list on a cell range; `source` is a range (`'samples'!$A$5:$A$20`) or quoted items (`"1,0"`)."""

    range: str
    source: str
    message: str = ""
    only: bool = True
    """Whether the spreadsheet refuses what the list does not hold."""


@dataclass(frozen=True)
class Highlight:
    """Conditional emphasis; the meaning also stands in words in the cell itself."""

    range: str
    formula: str
    """Condition, without `=`, relative to the first cell of the range."""
    look: Literal["attention", "struck", "faint", "vacant", "decimals"]
    """`vacant`: rows that show nothing lose their rules; `decimals`: numbers take `number_format`."""
    number_format: str = ""


@dataclass(frozen=True)
class Series:
    """One series of a chart: references to cell ranges, sheet name included."""

    title: str
    y: str
    x: str | None = None
    look: Literal["points", "line", "bars"] = "points"


@dataclass(frozen=True)
class Chart:
    """A chart anchored at a cell (`"H5"`). `bars` charts take categories from `x` of their series."""

    kind: Literal["scatter", "bars"]
    anchor: str
    title: str
    x_title: str
    y_title: str
    series: tuple[Series, ...]
    width_cm: float = 14.0
    height_cm: float = 7.5


@dataclass(frozen=True)
class Sheet:
    """One sheet; its name is ours, never text of a user."""

    name: str
    bands: tuple[Band, ...] = ()
    cells: tuple[LooseCell, ...] = ()
    charts: tuple[Chart, ...] = ()
    choices: tuple[Choice, ...] = ()
    highlights: tuple[Highlight, ...] = ()
    freeze: str | None = None
    """First cell that scrolls, e.g. `"B8"`."""
    widths: dict[int, float] = field(default_factory=dict)
    """Column number → width; otherwise the widest band column decides."""
    repeat_rows: tuple[int, int] | None = None
    """Rows printed again on every page."""
    landscape: bool = True
    repeat_columns: int = 0
    """Leading columns printed again on every page across."""
    pages_across: int = 1
    """How many pages wide the sheet is printed."""
    print_to: tuple[int, int] | None = None
    """Last row and column on paper; otherwise all that the sheet holds."""
    whole: tuple[tuple[int, int], ...] = ()
    """First and last rows of what should not be cut by the end of a page."""
    protected: bool = True
    """Locked but for its open cells; without, rows and columns may be added."""
    tab: Literal["", "run", "method", "register"] = ""
    """The part of the records to which the sheet belongs, told by the colour of its tab."""


@dataclass(frozen=True)
class Book:
    """A whole workbook."""

    sheets: tuple[Sheet, ...]
    title: str
    header: str
    """Document number, revision and status: printed at the head of every page."""
    program: str
    """Name and version of the program that calculated the stored values."""
    modified: datetime
    names: dict[str, str] = field(default_factory=dict)
    """Defined names → absolute reference (`'results'!$B$4`)."""
