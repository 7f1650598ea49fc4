"""The history of control charts, a CSV file that the laboratory owns: read, and rows appended when a person asks.

A row that was appended bears a mark: a digest of all that stands above and in it. Rows typed by hand need none."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from pydantic import TypeAdapter

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.chart_sources import values_for
from ubudget.evaluation.control_charts import Charted, charted
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.cell_numbers import cell_number, number_in
from ubudget.files.csv_text import CsvTable, parse_csv, row_place, safe_text
from ubudget.files.fault_words import shown, validate_document
from ubudget.files.foreign_files import NotRead, bounded_bytes, faulty_name
from ubudget.files.one_at_a_time import replace_unchanged
from ubudget.files.reading import LARGEST_TABLE, read_text
from ubudget.files.toml_text import parse_toml
from ubudget.records.control_charts import (
    ControlChart,
    ControlCharts,
    Entry,
    chart_findings,
    history_findings,
)
from ubudget.records.finding import Finding, stops

FIRST_COLUMNS, LAST_COLUMNS = ("chart", "date"), ("run", "who", "remark", "mark")
_RESULT = re.compile(r"r[1-9][0-9]?")
MARK_LETTERS = 16


@dataclass(frozen=True)
class History:
    """The charts of a laboratory with their history as it stands."""

    path: Path
    content: bytes
    """The history as read."""
    charts: ControlCharts
    table: CsvTable
    entries: tuple[Entry, ...]
    findings: tuple[Finding, ...]

    def charted(self) -> tuple[Charted, ...]:
        """Each chart over its rows. Raises `UnusableInput` where rows do not suffice for a chart."""
        found, faults = [], []
        for chart in self.charts.charts:
            try:
                found.append(charted(chart, [entry for entry in self.entries if entry.chart == chart.id]))
            except UbudgetError as fault:
                words, _, accepted = str(fault).partition("; accepted: ")
                place, _, what = words.partition(": ")
                what = what.removeprefix("found ")
                faults.append(Finding("stop", self.path.name, place, what, accepted or "other rows", "add rows"))
        if faults:
            raise UnusableInput(faults)
        return tuple(found)


def read_history(path: str | os.PathLike[str]) -> History:
    """Charts and history from the TOML record, `kind = "control charts"`, with its history beside it.

    Raises `UnusableInput` with every finding that stops."""
    record = Path(path)
    text, findings = read_text(record, "method")
    document, faults = parse_toml(text.text, text.name) if text is not None else (None, [])
    findings += faults
    charts = validate_document(_adapter(), document, text.name, findings) if document is not None and text else None
    if charts is not None and text is not None:
        findings += chart_findings(charts, text.name)
    if charts is None or stops(findings):
        raise UnusableInput(findings)
    place = record.parent / charts.history
    # Before the table: rows are appended to no later state than this.
    content = _content(place, charts.history)
    table, faults = _table(place, charts.history)
    findings += faults
    entries = _entries(table, charts.history, findings)
    if not stops(findings):
        findings += history_findings(charts, entries, charts.history)
        findings += _mark_findings(table, charts.history)
    if stops(findings):
        raise UnusableInput(findings)
    return History(place, content, charts, table, entries, tuple(findings))


@cache
def _adapter() -> TypeAdapter[ControlCharts]:
    return TypeAdapter(ControlCharts)


def _content(place: Path, name: str) -> bytes:
    """The bytes of the history; why there are none is told where it is read as a table."""
    if faulty_name(name, place, "readings") is not None:
        return b""
    try:
        return bounded_bytes(place, LARGEST_TABLE)
    except (NotRead, OSError, ValueError):
        return b""


def _table(place: Path, name: str) -> tuple[CsvTable, list[Finding]]:
    text, findings = read_text(place, "readings", name)
    table, faults = parse_csv(text.text, name) if text is not None else (None, [])
    findings += faults
    if table is None:
        return CsvTable((), ()), findings
    keys = [heading.text for heading in table.headings]
    for key in (*FIRST_COLUMNS, "r1"):
        if key not in keys:
            accepted = "chart, date, r1, r2 …, run, who, remark, mark"
            findings.append(Finding("stop", name, "headings", f"no column {key}", accepted, f"add the column {key}"))
    for number, key in enumerate(keys, start=1):
        if key not in (*FIRST_COLUMNS, *LAST_COLUMNS) and not _RESULT.fullmatch(key):
            accepted = "chart, date, r1, r2 …, run, who, remark, mark"
            found = f"the unknown heading {shown(key)}"
            findings.append(Finding("stop", name, f"heading {number}", found, accepted, "delete or correct it"))
    return table, findings


def _entries(table: CsvTable, file: str, findings: list[Finding]) -> tuple[Entry, ...]:
    entries = []
    columns = [heading for heading in table.headings if _RESULT.fullmatch(heading.text)]
    for row in range(len(table.rows)):
        chart = table.cell(row, "chart")
        place = row_place(row, chart)
        day = table.cell(row, "date")
        try:
            date = dt.date.fromisoformat(day)
        except ValueError:
            accepted = "a date, year-month-day, such as 2025-03-04"
            findings.append(Finding("stop", file, f"{place}, date", shown(day), accepted, "correct the cell"))
            continue
        values = []
        for heading in columns:
            cell = table.cell(row, heading.key)
            value = cell_number(cell, heading, file, place, findings) if cell else None
            if value is not None:
                values.append(value)
        if not values:
            findings.append(Finding("stop", file, place, "no result", "one at least", "fill it in or delete the row"))
            continue
        run, who, remark = (table.cell(row, key) for key in LAST_COLUMNS[:3])
        entries.append(Entry(row, chart, date, tuple(values), run, who, remark))
    return tuple(entries)


def _marks(table: CsvTable) -> list[str]:
    """The mark that each row should bear: a digest of the numbers and texts down to it."""
    digest = hashlib.sha256()
    marks = []
    for row in range(len(table.rows)):
        for heading, cell in zip(table.headings, table.rows[row], strict=True):
            if heading.text != "mark" and cell:
                digest.update(f"{heading.text}={_alike(cell)}\n".encode())
        marks.append(digest.hexdigest()[:MARK_LETTERS])
    return marks


def _alike(cell: str) -> str:
    """A number by its value: 84.10 and 84.1 are the same result."""
    try:
        return repr(number_in(cell))
    except ValueError:
        return cell


def _mark_findings(table: CsvTable, file: str) -> list[Finding]:
    for row, mark in enumerate(_marks(table)):
        there = table.cell(row, "mark")
        if there and there != mark:
            return [
                Finding(
                    "attend",
                    file,
                    row_place(row, table.cell(row, "chart")),
                    "a mark that does not fit: this row or one above it was changed, added or deleted since",
                    "rows as they were appended",
                    "find out what was changed and why; say it in the remark of the row",
                )
            ]
    return []


def rows_from(history: History, evaluation: Evaluation, who: str) -> tuple[Entry, ...]:
    """What a run adds to the charts that name a check of it.

    Raises `UnusableInput` where a chart has this run already or a later day, or where nothing of the run is charted."""
    run = evaluation.records.run
    if run is None:
        raise UbudgetError("found a method alone; accepted: a run, whose checks are charted")
    day, name = run.file.run.date, safe_text(run.file.run.id)
    rows: list[Entry] = []
    faults: list[Finding] = []
    for chart in history.charts.charts:
        values = values_for(chart, evaluation)
        if values is None:
            continue
        last = next((entry for entry in reversed(history.entries) if entry.chart == chart.id), None)
        twice = any(entry.chart == chart.id and entry.run == name for entry in history.entries)
        place = f"chart {chart.id}"
        if twice:
            faults.append(
                Finding(
                    "stop", history.path.name, place, f"run {name} already", "each run once", "nothing is to be done"
                )
            )
        elif last is not None and last.date > day:
            found = f"a last row of {last.date}, after the run's {day}"
            faults.append(
                Finding("stop", history.path.name, place, found, "days that rise down the table", "append in order")
            )
        rows.append(Entry(len(history.entries) + len(rows), chart.id, day, values, name, safe_text(who)))
    if not rows:
        known = ", ".join(chart.id for chart in history.charts.charts if chart.source) or "none with a source"
        faults.append(
            Finding("stop", history.path.name, "run", f"no check of {name} that is charted", known, "name a source")
        )
    if faults:
        raise UnusableInput(faults)
    return tuple(rows)


def append_rows(history: History, rows: Sequence[Entry]) -> None:
    """Writes the history anew with the rows at its end, whole or not at all. Raises `NotWritable`."""
    headings = [heading.text for heading in history.table.headings]
    most = max(len(row.values) for row in rows)
    wanted = [*FIRST_COLUMNS, *(f"r{number}" for number in range(1, most + 1)), *LAST_COLUMNS]
    results = [name for name in (*headings, *wanted) if _RESULT.fullmatch(name)]
    # Results stand together, before who measured them.
    kept = [name for name in headings if name in FIRST_COLUMNS]
    order = [*kept, *sorted(dict.fromkeys(results), key=lambda name: int(name[1:])), *LAST_COLUMNS]
    old = [[history.table.cell(row, name) for name in order] for row in range(len(history.table.rows))]
    new = [[_cell(row, name) for name in order] for row in rows]
    whole, _ = parse_csv(_text([order, *old, *new]), history.path.name)
    assert whole is not None
    marks = _marks(whole)
    for number, cells in enumerate(new):
        cells[order.index("mark")] = marks[len(old) + number]
    replace_unchanged(history.path, history.content, _text([order, *old, *new]).encode("utf-8"))


def _cell(row: Entry, name: str) -> str:
    if _RESULT.fullmatch(name):
        at = int(name[1:]) - 1
        return f"{row.values[at]:.15g}" if at < len(row.values) else ""
    return {"chart": row.chart, "date": row.date.isoformat(), "run": row.run, "who": row.who}.get(name, "")


def _text(rows: Sequence[Sequence[str]]) -> str:
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows(rows)
    return stream.getvalue()


def chart_of(history: History, name: str) -> ControlChart:
    """A chart by its id. Raises `UbudgetError`."""
    for chart in history.charts.charts:
        if chart.id == name:
            return chart
    known = ", ".join(chart.id for chart in history.charts.charts)
    raise UbudgetError(f"found no chart {name}; accepted: {known}")
