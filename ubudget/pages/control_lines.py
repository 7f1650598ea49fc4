"""Control charts for a terminal: limits, the last values, and what a person must look at."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.control_charts import Charted
from ubudget.pages.figures import plain, unit_text
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped

DIGITS = 4
LATEST = 10
"""Values shown; the picture and the workbook show all."""


def chart_lines(one: Charted, width: int = WIDTH) -> Iterator[str]:
    """One chart: its lines, its latest values, the patterns that it shows, the latest first."""
    chart, limits = one.chart, one.limits
    title = f": {chart.title}" if chart.title else ""
    yield from wrapped(f"{chart.id}{title}", width=width)
    unit = unit_text(chart.unit)
    what = {"individual": "single values", "mean": "means", "range": "ranges"}[chart.chart]
    yield from wrapped(f"{len(one.points)} {what}; limits: {limits.source}", width=width)
    yield f"centre {plain(limits.centre, DIGITS)}{unit}, s {plain(limits.s, DIGITS)}{unit}"
    for name, (low, high) in (("warning", limits.warning), ("action", limits.action)):
        yield f"{name:<8}{plain(low, DIGITS)} to {plain(high, DIGITS)}{unit}"
    yield ""
    shown = range(max(0, len(one.points) - LATEST), len(one.points))
    if len(shown) < len(one.points):
        yield f"the latest {len(shown)} of {len(one.points)} values"
    at = {signal.at for signal in one.signals}
    yield from table_lines(
        [
            TextColumn("date", [one.entries[row].date.isoformat() for row in shown]),
            TextColumn("run", [one.entries[row].run for row in shown]),
            TextColumn("value", [plain(one.points[row], DIGITS + 1) for row in shown], "right"),
            TextColumn("in s", [f"{one.zones[row]:+.2f}" for row in shown], "right"),
            TextColumn("", ["see below" if row in at else "" for row in shown]),
        ],
        width=width,
    )
    for signal in reversed(one.signals):
        words = f"{one.entries[signal.at].date}: {signal.rule.words} (rule {signal.rule.number})"
        yield from wrapped(words, hanging="  ", width=width)
    for words in one.told:
        yield from wrapped(f"{words}.", hanging="  ", width=width)
