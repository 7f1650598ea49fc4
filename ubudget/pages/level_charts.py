"""Sheet `charts by level`: U and relative U against the level, one pair of charts for each level function."""

from __future__ import annotations

from ubudget.evaluation.level_tables import ALONG, FROM_RELATIVE, FUNCTIONS, STEPS
from ubudget.pages.book import Chart, Series, Sheet
from ubudget.pages.layout import LEVEL_CHARTS, headline
from ubudget.pages.placement import Placement

ROWS_EACH, WIDTH_CM, HEIGHT_CM = 19, 12.5, 8.5


def level_charts_sheet(placements: dict[str, Placement]) -> Sheet | None:
    """The charts, where the method has level functions."""
    if ALONG not in placements:
        return None
    home, functions = placements[ALONG], placements[FUNCTIONS].table
    charts: list[Chart] = []
    names = zip(*(functions.texts(name) for name in ("analyte", "line", "origin", "unit")), strict=True)
    for number, (analyte, line, origin, unit) in enumerate(names):
        label = " ".join(part for part in (analyte, line) if part)
        first, last = number * STEPS, (number + 1) * STEPS - 1
        for column, letter, start, title, axis in (
            ("U", "A", first, "expanded uncertainty", f"U, {unit}"),
            ("relative U", "H", first + FROM_RELATIVE - 1, "relative expanded uncertainty", "U/x, %"),
        ):
            cells = [_range(home, name, start, last) for name in (column, "x")]
            drawn = Series(f"{origin} level function", cells[0], cells[1], "line")
            anchor = f"{letter}{4 + number * ROWS_EACH}"
            level = f"level x, {unit}"
            charts.append(Chart("scatter", anchor, f"{label}: {title}", level, axis, (drawn,), WIDTH_CM, HEIGHT_CM))
    note = "Drawn within the range in which each level function holds; the relative U leaves out the lowest levels."
    return Sheet(LEVEL_CHARTS, (), tuple(headline(LEVEL_CHARTS, note)), tuple(charts))


def _range(table: Placement, column: str, first: int, last: int) -> str:
    letter = table.letters[column]
    return f"{table.prefix(LEVEL_CHARTS)}${letter}${table.row(first)}:${letter}${table.row(last)}"
