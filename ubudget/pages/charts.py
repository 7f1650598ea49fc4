"""Sheet `calibration charts`: for each line the curve with its readings, and the residuals."""

from __future__ import annotations

from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Chart, Series, Sheet
from ubudget.pages.layout import CALIBRATION, CHARTS, headline
from ubudget.pages.placement import Placement, Placements
from ubudget.pages.wording import line_label
from ubudget.quantity.graph import Span

ROWS_EACH = 15


def charts_sheet(evaluation: Evaluation, placements: Placements) -> Sheet | None:
    structure = evaluation.assembly.structure
    if structure is None or "curves" not in placements:
        return None
    curves = placements["curves"].table
    span = curves.references["all mark"]
    assert isinstance(span, Span)
    points = placements[span.table]
    corrected = "correction factor" in evaluation.graph.tables[span.table].by_name
    reading = "y" if corrected else "mean" if span.table == "levels" else "reading"
    run = evaluation.records.run
    unit = run.file.run.reading_unit if run else ""
    charts: list[Chart] = []
    for number, (analyte, line) in enumerate(structure.lines):
        first, last = int(span.start[number]), int(span.stop[number]) - 1
        row = 4 + number * ROWS_EACH
        label = line_label(analyte, line)
        x = _range(points, "x", first, last)
        charts.append(
            Chart(
                "scatter",
                f"A{row}",
                f"{label}: readings and line",
                "concentration of the standard",
                f"reading, {unit}",
                (
                    Series("readings", _range(points, reading, first, last), x, "points"),
                    Series("line", _range(points, "fitted", first, last), x, "line"),
                ),
                width_cm=13.0,
                height_cm=7.0,
            )
        )
        charts.append(
            Chart(
                "scatter",
                f"H{row}",
                f"{label}: residuals",
                "concentration of the standard",
                f"residual, {unit}",
                (Series("residuals", _range(points, "residual", first, last), x, "points"),),
                width_cm=13.0,
                height_cm=7.0,
            )
        )
    note = "A reading that is left out shows in the left chart and has residual 0 in the right one."
    return Sheet(CHARTS, (), tuple(headline(CHARTS, note)), tuple(charts))


def _range(points: Placement, column: str, first: int, last: int) -> str:
    letter = points.letters[column]
    return f"{CALIBRATION}!${letter}${points.row(first)}:${letter}${points.row(last)}"
