"""Sheet `calibration charts`: for each curve, or line of additions, its readings, and the residuals."""

from __future__ import annotations

from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Chart, Series, Sheet
from ubudget.pages.layout import CHARTS, headline
from ubudget.pages.placement import Placement, Placements
from ubudget.quantity.graph import Span

ROWS_EACH = 15
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
    abscissa = _ABSCISSA[home.table.name]
    charts: list[Chart] = []
    for number, label in enumerate(_labels(home)):
        first, last = int(span.start[number]), int(span.stop[number]) - 1
        row = 4 + number * ROWS_EACH
        x = _range(points, "x", first, last)
        drawn = [
            Series("readings", _range(points, reading, first, last), x, "points"),
            Series("line", _range(points, "fitted", first, last), x, "line"),
        ]
        if home.table.name == ADDITION_LINES:
            end = _range(home, "x0", number, number)
            drawn.append(Series("reading zero", _range(home, "y0", number, number), end, "points"))
        charts.append(
            Chart(
                "scatter",
                f"A{row}",
                f"{label}: readings and line",
                abscissa,
                f"reading, {unit}",
                tuple(drawn),
                width_cm=13.0,
                height_cm=7.0,
            )
        )
        charts.append(
            Chart(
                "scatter",
                f"H{row}",
                f"{label}: residuals",
                abscissa,
                f"residual, {unit}",
                (Series("residuals", _range(points, "residual", first, last), x, "points"),),
                width_cm=13.0,
                height_cm=7.0,
            )
        )
    note = "A reading that is left out shows in the left chart and has residual 0 in the right one."
    return Sheet(CHARTS, (), tuple(headline(CHARTS, note)), tuple(charts))


def _labels(home: Placement) -> list[str]:
    """What names each fit, from the labels of its table."""
    names = [home.table.texts(name) for name in ("solution", "analyte", "line") if name in home.table.by_name]
    return [" ".join(part for part in parts if part) for parts in zip(*names, strict=True)]


def _range(table: Placement, column: str, first: int, last: int) -> str:
    letter = table.letters[column]
    return f"{table.prefix(CHARTS)}${letter}${table.row(first)}:${letter}${table.row(last)}"
