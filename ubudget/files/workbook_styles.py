"""The looks of cells: one shared named style per look, registered once per workbook.

Quiet on purpose: white ground, thin rules, one accent. The warm fill belongs to open cells alone, so that
what may be edited is seen at a glance; on a black-and-white print the frame round the cell says the same. A
Font or Border object per cell would make a workbook of 6,000 rows six times slower to write.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime
from typing import Any, Final, Literal

from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.formatting.rule import Rule
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Protection, Side
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.styles.numbers import NumberFormat
from openpyxl.utils.indexed_list import IndexedList

from ubudget.pages.book import Highlight, Style, Value

Look = (
    Style
    | Literal["band_title", "heading_right", "unit_right", "remark", "result_text"]
    | Literal["open_number", "open_text", "open_date", "open_sign"]
)
"""A style of the plan, or what the writer makes of it."""

FONT: Final = "Arial"
"""Present or replaced at the same widths nearly everywhere, so that estimated row heights hold."""
FIXED_FONT: Final = "Courier New"
SIZE: Final = 9.0

GROUND: Final = "FFFFFF"
INK: Final = "1F2A33"
FAINT_INK: Final = "5E6B75"
HEADING_FILL: Final = "DCE5ED"
REMARK_FILL: Final = "EFF3F7"
OPEN_FILL: Final = "FFF1CF"
OPEN_EDGE: Final = "A88A4A"
RULE: Final = "7D8B97"
HAIRLINE: Final = "D5DBE0"
ATTENTION: Final = "8C1C13"

TABS: Final = {"run": OPEN_EDGE, "method": RULE, "register": HEADING_FILL}
"""Colours of the tabs by part of the records; the index on the first sheet says the same in words."""

ISO_DATE: Final = "yyyy-mm-dd"
ISO_MOMENT: Final = "yyyy-mm-dd hh:mm"

WRAPPED: Final[frozenset[str]] = frozenset(
    {"box", "note", "heading", "heading_right", "remark", "text", "label", "flag", "record", "open_text"}
    | {"result_text"}
)
"""Looks whose text wraps, so that their rows may need more height."""
BOLD: Final[frozenset[str]] = frozenset({"heading", "heading_right", "result", "result_text", "flag"})
FIXED_WIDTH: Final[frozenset[str]] = frozenset({"record"})
SIZES: Final[defaultdict[str, float]] = defaultdict(lambda: SIZE, remark=8.0, record=8.0)
"""Letter sizes of wrapping looks in points."""

_HAIR = Side(style="thin", color=HAIRLINE)
_THIN = Side(style="thin", color=RULE)
_EDGE = Side(style="thin", color=OPEN_EDGE)
_UNDER_ROW = Border(bottom=_HAIR)
_FRAME = Border(left=_EDGE, right=_EDGE, top=_EDGE, bottom=_EDGE)
_BOX = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
_RULED = Border(top=_THIN, bottom=_THIN)


def _font(size: float = SIZE, color: str = INK, name: str = FONT, bold: bool = False, italic: bool = False) -> Font:
    return Font(name=name, size=size, color=color, bold=bold, italic=italic)


def _fill(color: str) -> PatternFill:
    return PatternFill("solid", start_color=color, end_color=color)


def _named(
    look: Look,
    font: Font | None = None,
    *,
    fill: str | None = None,
    border: Border | None = None,
    across: str | None = None,
    down: str = "top",
) -> NamedStyle:
    wrap = look in WRAPPED
    # Keeps text clear of a number in the column before. Numbers are not indented: LibreOffice 7.4 forgets the
    # indent of a number beside another of the same look and another number format.
    indent = 1 if across == "left" and look != "record" else 0
    return NamedStyle(
        name=f"ubudget {look.replace('_', ' ')}",
        font=font or _font(),
        fill=_fill(fill) if fill else PatternFill(),
        border=border or Border(),
        alignment=Alignment(horizontal=across, vertical=down, wrap_text=wrap, indent=indent),
        protection=Protection(locked=not look.startswith("open_")),
    )


def _looks() -> dict[Look, NamedStyle]:
    """Every look by name; `input` and `input_text` are open looks, so they appear under `open_*` only."""
    heading, unit = _font(bold=True), _font(color=FAINT_INK)
    over = Border(top=_THIN)
    looks: dict[Look, NamedStyle] = {
        "title": _named("title", _font(15, bold=True), down="center"),
        "note": _named("note", _font(color=FAINT_INK)),
        "band_title": _named("band_title", _font(11, bold=True), down="bottom"),
        "heading": _named("heading", heading, fill=HEADING_FILL, border=over, across="left", down="bottom"),
        "heading_right": _named(
            "heading_right", heading, fill=HEADING_FILL, border=over, across="right", down="bottom"
        ),
        "unit": _named("unit", unit, fill=HEADING_FILL, across="left"),
        "unit_right": _named("unit_right", unit, fill=HEADING_FILL, across="right"),
        "remark": _named(
            "remark",
            _font(SIZES["remark"], FAINT_INK, italic=True),
            fill=REMARK_FILL,
            border=Border(bottom=_THIN),
            across="left",
        ),
        "label": _named("label", border=_UNDER_ROW, across="left"),
        "text": _named("text", border=_UNDER_ROW, across="left"),
        "number": _named("number", border=_UNDER_ROW, across="right"),
        "fixed": _named("fixed", _font(color=FAINT_INK), border=_UNDER_ROW, across="right"),
        "date": _named("date", border=_UNDER_ROW, across="right"),
        "result": _named("result", _font(bold=True), border=_RULED, across="right"),
        "result_text": _named("result_text", _font(bold=True), border=_RULED, across="left"),
        "flag": _named("flag", _font(color=ATTENTION, bold=True), border=_UNDER_ROW, across="left"),
        "box": _named("box", border=_BOX, across="left", down="center"),
        "sign": _named("sign", border=Border(bottom=_THIN), across="left", down="bottom"),
        "record": _named("record", _font(SIZES["record"], name=FIXED_FONT), across="left"),
        "open_number": _named("open_number", fill=OPEN_FILL, border=_FRAME, across="right"),
        "open_text": _named("open_text", fill=OPEN_FILL, border=_FRAME, across="left"),
        "open_date": _named("open_date", fill=OPEN_FILL, border=_FRAME, across="right"),
        "open_sign": _named("open_sign", fill=OPEN_FILL, border=_FRAME, across="left", down="bottom"),
    }
    return looks


_OPEN: Final[dict[str, Look]] = {
    "label": "open_text",
    "text": "open_text",
    "note": "open_text",
    "input_text": "open_text",
    "record": "open_text",
    "flag": "open_text",
    "date": "open_date",
    "sign": "open_sign",
}
_LOCKED: Final[dict[str, Look]] = {"input": "fixed", "input_text": "text"}


def look_of(style: Style, is_open: bool, value: Value) -> Look:
    """The look of a cell: whether it is open decides, not what the plan calls its style."""
    if is_open:
        return _OPEN.get(style, "open_number")
    if style == "result" and isinstance(value, str):
        return "result_text"
    return _LOCKED.get(style, style)


def shown_format(number_format: str, style: Style, value: Value) -> str:
    """The number format of a cell; dates without a format of their own are shown in ISO 8601 order."""
    if number_format != "General":
        return number_format
    if isinstance(value, datetime):
        return ISO_MOMENT
    return ISO_DATE if isinstance(value, date) or style == "date" else number_format


def _in_font(font: Font, name: str) -> Font:
    """The same letters in a laboratory's font; those of fixed width stay as they are."""
    if font.name != FONT or name == FONT:
        return font
    return Font(name=name, size=font.sz, color=font.color, bold=font.b, italic=font.i)


def _set_standard_font(workbook: Any, name: str) -> None:
    """Take a standard font that every system can measure: column widths are counted in its digits.

    The library offers no public way to change it.
    """
    standard = Font(name=name, size=10)
    workbook._fonts = IndexedList([standard])
    workbook._named_styles["Normal"].font = standard


class StyleTable:
    """The numbers under which one workbook knows its looks (`s` attribute of a cell)."""

    def __init__(self, workbook: Workbook, font: str = FONT, *, title_low: bool = False) -> None:
        """`font` of everything but the record; `title_low` sets titles to the foot of their row, below a logo."""
        self._probe: Any = Cell(workbook.worksheets[0], row=1, column=1)
        """Never part of a sheet: it only turns a combination of look and format into a number."""
        self._numbers: dict[tuple[Look, str, bool], int] = {}
        _set_standard_font(workbook, font)
        self._named = _looks()
        if title_low:
            self._named["title"].alignment = Alignment(vertical="bottom")
        for style in self._named.values():
            style.font = _in_font(style.font, font)
            workbook.add_named_style(style)

    def number(self, look: Look, number_format: str = "General", quoted: bool = False) -> int:
        """`quoted` marks text that starts like a formula, so that editing the cell leaves it text."""
        key = (look, number_format, quoted)
        known = self._numbers.get(key)
        if known is None:
            self._probe.style = self._named[look].name
            self._probe.number_format = number_format
            self._probe.quotePrefix = quoted
            known = self._numbers[key] = self._probe.style_id
        return known


def emphasis(highlight: Highlight) -> Rule:
    """The conditional format of a highlight; each look differs by weight, line or slant besides colour."""
    if highlight.look == "vacant":
        # A rule in the colour of the ground: not every program takes a rule away by condition.
        unruled = Border(bottom=Side(style="thin", color=GROUND))
        return Rule(type="expression", formula=[highlight.formula], dxf=DifferentialStyle(border=unruled))
    if highlight.look == "decimals":
        # Numbers 0 to 163 are those of the format itself (ECMA-376 part 1, 18.8.30).
        shown = NumberFormat(numFmtId=164, formatCode=highlight.number_format)
        return Rule(type="expression", formula=[highlight.formula], dxf=DifferentialStyle(numFmt=shown))
    fonts = {
        "attention": Font(color=ATTENTION, bold=True, underline="single"),
        "struck": Font(color=FAINT_INK, strike=True),
        "faint": Font(color=FAINT_INK, italic=True),
    }
    return Rule(type="expression", formula=[highlight.formula], dxf=DifferentialStyle(font=fonts[highlight.look]))
