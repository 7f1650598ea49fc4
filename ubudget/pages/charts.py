"""Sheet `calibration charts`: for each curve, or line of additions, its readings, and the residuals.

Residuals stand against the concentration, and in the order of reading."""

from __future__ import annotations

from ubudget.bench.drawn import DRAWN, POSITION
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Chart, Series, Sheet
from ubudget.pages.layout import CHARTS, headline
from ubudget.pages.placement import Placement, Placements
from ubudget.quantity.graph import Span

ROWS_EACH, WIDTH_CM, HALF_CM = 22, 13.0, 4.8
"""Rows and centimetres: the curve on the left, as high as both charts of residuals beside it."""
CURVES, ADDITION_LINES = "curves", "addition lines"
_ORDINATE = {"standard readings": "reading", "levels": "mean", "addition readings": "y"}
"""Table of points → the column that is fitted."""
_ABSCISSA = {CURVES: "concentration of the standard", ADDITION_LINES: "concentration added"}


def charts_sheet(evaluation: Evaluation, placements: Placements) -> Sheet | None:
    home = next((placements[name] for name in (CURVES, ADDITION_LINES) if name in placements), None)
    if home is None:
        return None
    span = home.table.references["all mark"]
    assert isinstance(span, Span)
    points = placements[span.table]
    corrected = "correction factor" in evaluation.graph.tables[span.table].by_name
    reading = "y" if corrected else _ORDINATE[span.table]
    run = evaluation.records.run
    unit = run.file.run.reading_unit if run else ""
    unit_x = getattr(points.table.by_name["x"], "unit", "")
    abscissa = f"{_ABSCISSA[home.table.name]}, {unit_x}" if unit_x else _ABSCISSA[home.table.name]
    charts: list[Chart] = []
    for number, label in enumerate(_labels(home)):
        first, last = int(span.start[number]), int(span.stop[number]) - 1
        row = 4 + number * ROWS_EACH

        def cells(column: str, first: int = first, last: int = last) -> str:
            return _range(points, column, first, last)

        drawn = [
            Series("readings", cells(reading), cells("x"), "points"),
            Series("curve", cells("fitted"), cells("x"), "line"),
        ]
        if home.table.name == ADDITION_LINES:
            end = _range(home, "x0", number, number)
            drawn.append(Series("reading zero", _range(home, "y0", number, number), end, "points"))
        title = f"{label}: readings and curve"
        charts.append(
            Chart("scatter", f"A{row}", title, abscissa, f"reading, {unit}", tuple(drawn), WIDTH_CM, 2 * HALF_CM)
        )
        for down, title, axis, x in (
            (0, f"{label}: residuals", abscissa, "x"),
            (ROWS_EACH // 2, f"{label}: residuals in order of reading", "position in the run", POSITION),
        ):
            series = Series("residuals", cells(DRAWN["residual"]), cells(DRAWN[x]), "points")
            charts.append(
                Chart("scatter", f"H{row + down}", title, axis, f"residual, {unit}", (series,), WIDTH_CM, HALF_CM)
            )
    note = "A reading that is left out shows in the chart of readings and curve alone."
    return Sheet(CHARTS, (), tuple(headline(CHARTS, note)), tuple(charts))


def _labels(home: Placement) -> list[str]:
    """What names each fit, from the labels of its table."""
    names = [home.table.texts(name) for name in ("solution", "analyte", "line", "block") if name in home.table.by_name]
    return [" ".join(part for part in parts if part) for parts in zip(*names, strict=True)]


def _range(table: Placement, column: str, first: int, last: int) -> str:
    letter = table.letters[column]
    return f"{table.prefix(CHARTS)}${letter}${table.row(first)}:${letter}${table.row(last)}"
