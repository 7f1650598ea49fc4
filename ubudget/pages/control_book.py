"""Control charts as a workbook: one sheet a chart, limits and rules as live formulas over the history."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from ubudget.evaluation.control_charts import Charted
from ubudget.evaluation.control_limits import ACTION, WARNING, range_constants
from ubudget.evaluation.control_rules import RULES, Signal
from ubudget.pages.book import Band, BandColumn, Book, Chart, Highlight, LooseCell, Series, Sheet
from ubudget.pages.formats import format_for
from ubudget.quantity.spelling import column_letters, number_text

TOP = 22
CENTRE, S, WARN_LOW, WARN_HIGH, ACT_LOW, ACT_HIGH = "$B$4", "$B$5", "$B$6", "$B$7", "$B$8", "$B$9"
FLAG = "patterns that end here"


def control_book(charts: Sequence[Charted], title: str, program: str) -> Book:
    """One sheet for each chart; the newest day of the history dates the workbook."""
    last = max(entry.date for one in charts for entry in one.entries)
    sheets = tuple(_sheet(one, number) for number, one in enumerate(charts, start=1))
    return Book(sheets, title, title, program, datetime(last.year, last.month, last.day))


def _sheet(one: Charted, number: int) -> Sheet:
    band, value = _band(one)
    rows = f"{band.first_row}:${{0}}${band.last_row}"
    name = f"chart {number}"

    def column(letter: str) -> str:
        return f"${letter}${rows.format(letter)}"

    headings = [column_.heading for column_ in band.columns]
    flags = column_letters(headings.index(FLAG) + 1)
    x = f"'{name}'!{column('A')}"
    drawn = [Series("value", f"'{name}'!{column(value)}", x, "points")]
    for heading in ("centre", "warning, low", "warning, high", "action, low", "action, high"):
        letter = column_letters(headings.index(heading) + 1)
        drawn.append(Series(heading, f"'{name}'!{column(letter)}", x, "line"))
    unit = f", {one.chart.unit}" if one.chart.unit else ""
    chart = Chart("scatter", "E3", one.chart.id, "number", f"value{unit}", tuple(drawn), 20.0, 8.0)
    return Sheet(
        name,
        (band,),
        tuple(_head(one, band, value)),
        (chart,),
        highlights=(
            Highlight(f"A{band.first_row}:{flags}{band.last_row}", f'${flags}{band.first_row}<>""', "attention"),
        ),
        freeze=f"A{band.first_row}",
        widths={1: 18.0},
        repeat_rows=(band.top, band.first_row - 1),
    )


def _head(one: Charted, band: Band, value: str) -> list[LooseCell]:
    limits, unit = one.limits, one.chart.unit
    look = _look(one)
    cells = [
        LooseCell(1, 1, "Control chart", "title"),
        LooseCell(2, 1, f"{one.chart.id}. {one.chart.title}".strip(), "note", across=4),
        LooseCell(3, 1, limits.source, "text", across=3),
    ]
    lines = [
        ("centre", limits.centre, _centre(one, band, value)),
        ("s of a point", limits.s, _s(one, band, value)),
        ("warning, low", limits.warning[0], _line(one, -WARNING)),
        ("warning, high", limits.warning[1], _line(one, WARNING)),
        ("action, low", limits.action[0], _line(one, -ACTION)),
        ("action, high", limits.action[1], _line(one, ACTION)),
    ]
    for row, (words, number, formula) in enumerate(lines, start=4):
        cells.append(LooseCell(row, 1, words, "label"))
        cells.append(LooseCell(row, 2, number, "number" if formula else "input", formula, formula is None, None, look))
        cells.append(LooseCell(row, 3, unit, "text"))
    return cells


def _base(one: Charted, band: Band, letter: str) -> str:
    """The rows that the limits come from: the first ones, since days rise."""
    return f"${letter}${band.first_row}:${letter}${band.first_row + len(one.base) - 1}"


def _centre(one: Charted, band: Band, value: str) -> str | None:
    if one.chart.chart == "range" and not one.base:
        return None
    if not one.base or one.chart.centre is not None:
        return None
    return f"AVERAGE({_base(one, band, value)})"


def _s(one: Charted, band: Band, value: str) -> str | None:
    if one.chart.chart == "range":
        constants = range_constants(len(one.entries[0].values))
        return f"{CENTRE}*{number_text(constants.d3 / constants.d2)}"
    if not one.base:
        return None
    if one.chart.moving_range:
        steps = column_letters(_headings(one).index("moving range") + 1)
        first = band.first_row + 1
        return f"AVERAGE(${steps}${first}:${steps}${first + len(one.base) - 2})/{number_text(range_constants(2).d2)}"
    return f"STDEV({_base(one, band, value)})"


def _line(one: Charted, factor: float) -> str:
    line = f"{CENTRE}{factor:+g}*{S}"
    return f"MAX(0,{line})" if one.chart.chart == "range" and factor < 0 else line


def _headings(one: Charted) -> list[str]:
    most = max(len(entry.values) for entry in one.entries)
    moving = ["moving range"] if one.chart.moving_range else []
    return ["number", "date", "run", "who", *(f"result {at + 1}" for at in range(most)), "value", *moving, "in s"]


def _band(one: Charted) -> tuple[Band, str]:
    """The history, with the letter of its column of values."""
    entries, unit = one.entries, one.chart.unit
    most = max(len(entry.values) for entry in entries)
    headings = _headings(one)
    letter = {heading: column_letters(at + 1) for at, heading in enumerate(headings)}
    first = TOP + Band.HEADING_ROWS
    rows = range(first, first + len(entries))
    ends = (letter["result 1"], letter[f"result {most}"])
    results = [
        BandColumn(
            f"result {at + 1}",
            [entry.values[at] if at < len(entry.values) else None for entry in entries],
            "input",
            unit,
            open=[at < len(entry.values) for entry in entries],
        )
        for at in range(most)
    ]
    look = _look(one)
    points = [_value(one.chart.chart, ends, row) for row in rows]
    value = BandColumn("value", list(one.points), "number", unit, points, number_format=look)
    zones = [f"({letter['value']}{row}-{CENTRE})/{S}" for row in rows]
    moving = []
    if one.chart.moving_range:
        at = letter["value"]
        steps = [None, *(abs(b - a) for a, b in zip(one.points, one.points[1:], strict=False))]
        formulas = [None, *(f"ABS({at}{row}-{at}{row - 1})" for row in rows[1:])]
        moving = [BandColumn("moving range", steps, "number", unit, formulas, number_format=look)]
    by_row: dict[int, list[Signal]] = {}
    for signal in one.signals:
        by_row.setdefault(signal.at, []).append(signal)
    flags = [_words([signal.rule.number for signal in by_row.get(at, [])]) for at in range(len(entries))]
    limits = one.limits
    limit_lines = (
        ("centre", limits.centre, CENTRE),
        ("warning, low", limits.warning[0], WARN_LOW),
        ("warning, high", limits.warning[1], WARN_HIGH),
        ("action, low", limits.action[0], ACT_LOW),
        ("action, high", limits.action[1], ACT_HIGH),
    )
    columns = (
        BandColumn("number", [float(at) for at in range(1, len(entries) + 1)], "fixed", number_format="0"),
        BandColumn("date", [entry.date for entry in entries], "date"),
        BandColumn("run", [entry.run for entry in entries], "label", width=16.0),
        BandColumn("who", [entry.who for entry in entries], "label", width=16.0),
        *results,
        value,
        *moving,
        BandColumn("in s", list(one.zones), "number", "", zones, number_format="0.00", remark="(value - centre)/s"),
        BandColumn(FLAG, flags, "flag", formulas=[_flags(one, letter["in s"], row) for row in rows], width=44.0),
        *(
            BandColumn(name, [figure] * len(entries), "number", unit, [cell] * len(entries), number_format=look)
            for name, figure, cell in limit_lines
        ),
    )
    return Band("history", TOP, 1, columns), letter["value"]


def _look(one: Charted) -> str:
    return format_for(np.array(one.points, dtype=np.float64))


def _value(kind: str, ends: tuple[str, str], row: int) -> str:
    cells = f"{ends[0]}{row}:{ends[1]}{row}"
    if kind == "mean":
        return f"AVERAGE({cells})"
    return f"MAX({cells})-MIN({cells})" if kind == "range" else f"{ends[0]}{row}"


def _words(numbers: Sequence[int]) -> str:
    return "".join(f"{RULES[number].words} (rule {number}). " for number in numbers)


def _flags(one: Charted, letter: str, row: int) -> str:
    first = TOP + Band.HEADING_ROWS
    parts = []
    for number in one.chart.rules:
        start = row - RULES[number].length + 1
        if start >= first:
            condition = RULES[number].cell(f"{letter}{start}:{letter}{row}", f"{letter}{row}")
            parts.append(f'IF({condition},"{_words([number])}","")')
    return "&".join(parts) or '""'
