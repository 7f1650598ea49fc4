"""Charts of the workbook: few marks, no grid, series told apart by lightness, shape and dash besides hue."""

from __future__ import annotations

from typing import Any, Final, Literal

from openpyxl.chart import BarChart, Reference, ScatterChart
from openpyxl.chart import Series as make_series
from openpyxl.chart.data_source import AxDataSource, NumFmt, StrRef
from openpyxl.chart.legend import Legend
from openpyxl.chart.marker import Marker
from openpyxl.chart.series import Series as DrawnSeries
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText, Text
from openpyxl.chart.title import Title
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import (
    CharacterProperties,
    Paragraph,
    ParagraphProperties,
    RegularTextRun,
)
from openpyxl.drawing.text import Font as DrawingFont

from ubudget.files.workbook_styles import FAINT_INK, FONT, INK, RULE
from ubudget.pages.book import Chart, Series

PALETTE: Final = ("24507A", "C9862B", "6F7F8C", "7A2E3A", "7FA7C7")
"""Dark blue, ochre, grey, wine, light blue: neighbours differ in lightness, no red against green."""
MARKERS: Final = ("circle", "diamond", "square", "triangle", "x")
DASHES: Final[tuple[Literal["solid", "dash", "sysDot", "dashDot", "lgDash"], ...]] = (
    "solid",
    "dash",
    "sysDot",
    "dashDot",
    "lgDash",
)
_HAIR: Final = 9_525
"""Width of a line of 0.75 points in English metric units (12,700 to the point)."""


def draw(chart: Chart, font: str = FONT) -> ScatterChart | BarChart:
    """The chart as the writing library draws it, in `font`. Raises `ValueError` for bars in a scatter chart."""
    drawing = _scatter(chart) if chart.kind == "scatter" else _bars(chart)
    _dress(drawing, chart, font)
    return drawing


def _dress(drawing: Any, chart: Chart, font: str) -> None:
    """Titles, axes, legend and frame; the same for every kind of chart."""
    drawing.title = _title(chart.title, 1000, font, bold=True)
    drawing.width, drawing.height = chart.width_cm, chart.height_cm
    drawing.roundedCorners = False
    drawing.graphical_properties = GraphicalProperties(ln=LineProperties(noFill=True))
    drawing.legend = Legend(legendPos="b", txPr=_text(800, FAINT_INK, font)) if len(chart.series) > 1 else None
    for axis, title in ((drawing.x_axis, chart.x_title), (drawing.y_axis, chart.y_title)):
        axis.delete = False
        axis.title = _title(title, 800, font) if title else None
        axis.majorGridlines = None
        axis.majorTickMark = "out"
        axis.txPr = _text(800, FAINT_INK, font)
        axis.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill=RULE, w=_HAIR))


def _scatter(chart: Chart) -> ScatterChart:
    drawing = ScatterChart()
    drawing.scatterStyle = "lineMarker"
    lines = 0
    for position, series in enumerate(chart.series):
        drawing.series.append(_marks(series, position, lines))
        lines += series.look == "line"
    for axis in (drawing.x_axis, drawing.y_axis):
        axis.number_format = "General"
        axis.tickLblPos = "low"  # beside the plot also where an axis runs through its middle (residuals)
    return drawing


def _marks(series: Series, position: int, lines: int) -> DrawnSeries:
    """`lines`: how many lines were drawn before; the first is solid."""
    if series.look == "bars":
        raise ValueError(f"series {series.title!r}: a scatter chart shows points or lines, not bars")
    x = Reference(range_string=series.x) if series.x is not None else None
    drawn: DrawnSeries = make_series(Reference(range_string=series.y), x, title=series.title)
    colour = PALETTE[position % len(PALETTE)]
    drawn.smooth = False
    if series.look == "points":
        drawn.marker = Marker(symbol=MARKERS[position % len(MARKERS)], size=6)
        drawn.marker.graphicalProperties = GraphicalProperties(solidFill=colour, ln=LineProperties(solidFill=colour))
        drawn.graphicalProperties = GraphicalProperties(ln=LineProperties(noFill=True))
    else:
        drawn.marker = Marker(symbol="none")
        dash = DASHES[lines % len(DASHES)]
        drawn.graphicalProperties = GraphicalProperties(ln=LineProperties(solidFill=colour, w=2 * _HAIR, prstDash=dash))
    return drawn


def _bars(chart: Chart) -> BarChart:
    """Lying bars, first category on top, so that long names stay readable."""
    drawing = BarChart()
    drawing.type = "bar"
    drawing.gapWidth = 45
    for position, series in enumerate(chart.series):
        drawn = make_series(Reference(range_string=series.y), title=series.title)
        drawn.graphicalProperties = GraphicalProperties(
            solidFill=PALETTE[position % len(PALETTE)], ln=LineProperties(noFill=True)
        )
        drawn.invertIfNegative = False
        if series.x is not None:
            drawn.cat = AxDataSource(strRef=StrRef(f=series.x))
        drawing.series.append(drawn)
    drawing.x_axis.scaling.orientation = "maxMin"
    drawing.x_axis.tickLblPos = "low"
    drawing.x_axis.tickLblSkip = 1  # every bar has its name
    drawing.y_axis.axPos = "b"
    drawing.y_axis.crosses = "max"  # with the first category on top, the far end is the bottom
    drawing.y_axis.numFmt = NumFmt(formatCode="General", sourceLinked=True)
    return drawing


def _letters(size: int, colour: str, font: str, bold: bool = False) -> CharacterProperties:
    return CharacterProperties(sz=size, b=bold, solidFill=colour, latin=DrawingFont(typeface=font))


def _text(size: int, colour: str, font: str) -> RichText:
    return RichText(p=[Paragraph(pPr=ParagraphProperties(defRPr=_letters(size, colour, font)), r=[])])


def _title(text: str, size: int, font: str, bold: bool = False) -> Title:
    letters = _letters(size, INK if bold else FAINT_INK, font, bold)
    title = Title(overlay=False)
    paragraph = Paragraph(pPr=ParagraphProperties(defRPr=letters), r=[RegularTextRun(rPr=letters, t=text)])
    title.tx = Text(rich=RichText(p=[paragraph]))
    return title
