"""The texts that an import leaves: readings.csv, and its part of the run file between two marks."""

from __future__ import annotations

import csv
import dataclasses
import io
from collections.abc import Sequence
from typing import Any

from ubudget.files.export_readings import ReadingRow, Readings
from ubudget.files.toml_writing import toml_text
from ubudget.records.amount import parse_amount
from ubudget.records.finding import Finding
from ubudget.records.import_record import BY_OPERATOR, ImportRecord
from ubudget.records.read_order import positions
from ubudget.records.run import Reading, Run
from ubudget.records.unit_comparison import in_unit

BEGIN = "# -- import: written by ubudget; a new import replaces all down to the end mark --"
END = "# -- end of import --"


def readings_text(rows: Sequence[ReadingRow], *, as_means: bool) -> str:
    """The text of readings.csv."""
    placed = any(row.position for row in rows)
    most = max((len(row.values) for row in rows), default=0)
    values = ["mean", "s", "n"] if as_means else [f"r{number}" for number in range(1, most + 1)]
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["solution", "analyte", "line", *(["position"] if placed else []), *values])
    for row in rows:
        filled = [*row.values, *[""] * (len(values) - len(row.values))]
        writer.writerow([row.solution, row.analyte, row.line, *([row.position] if placed else []), *filled])
    return stream.getvalue()


def without_block(text: str) -> str:
    """A run file without what an earlier import wrote."""
    begin, end = text.find(BEGIN), text.find(END)
    if begin < 0 or end < begin:
        return text
    return text[:begin].rstrip("\n") + "\n" + text[end + len(END) :].lstrip("\n")


def with_block(text: str, block: str) -> str:
    """A run file with the part of an import behind all else."""
    return f"{text.rstrip()}\n\n{BEGIN}\n\n{block.strip()}\n\n{END}\n"


def import_block(record: ImportRecord, readings: Readings, run: Run, file: str) -> tuple[str, list[str], list[Finding]]:
    """Standards that only the export states, readings left out, and the record of the import, as text.

    A standard of the run whose concentration the export states otherwise is a finding."""
    findings: list[Finding] = []
    stated = {
        (standard.label, analyte): amount
        for standard in run.file.standards
        for analyte, amount in standard.concentration.items()
    }
    labels = {standard.label for standard in run.file.standards}
    added: dict[str, dict[str, str]] = {}
    for (label, analyte), text in readings.nominals.items():
        given, known = parse_amount(text), stated.get((label, analyte))
        if label not in labels:
            added.setdefault(label, {})[analyte] = text
        elif known is not None:
            there = in_unit(given.value, given.unit, known.unit)
            if there is None or abs(there - known.value) > 1e-9 * abs(known.value):
                accepted = f"{known.text}, as the run states"
                found = f"{text} of {analyte} in standard {label}"
                findings.append(Finding("stop", file, "nominal", found, accepted, "correct the run or the export"))
    document: dict[str, Any] = {
        "standard": [{"label": label, "concentration": contents} for label, contents in added.items()],
        "exclude_reading": _exclusions(readings, run, file),
        "import": [_plain(record)],
    }
    return toml_text({key: entries for key, entries in document.items() if entries}), list(added), findings


def _exclusions(readings: Readings, run: Run, file: str) -> list[dict[str, Any]]:
    rows = tuple(
        Reading(number, row.solution, row.analyte, row.line, (), position=int(row.position) if row.position else None)
        for number, row in enumerate(readings.rows)
    )
    places: dict[tuple[str, str, str], list[int]] = {}
    for reading, position in zip(rows, positions(Run(run.file, readings=rows)), strict=True):
        places.setdefault((reading.solution, reading.analyte, reading.line), []).append(position)
    entries = []
    for one in readings.left_out:
        entry: dict[str, Any] = {"solution": one.solution, "analyte": one.analyte}
        entry |= {"line": one.line} if one.line else {}
        entry |= {"replicate": one.replicate, "reason": f"{BY_OPERATOR} {file}, line {one.row}"[:240]}
        of_line = places[one.solution, one.analyte, one.line]
        if one.repeated:
            entry["position"] = of_line[one.turn - 1]
        entries.append(entry)
    return entries


def _plain(record: ImportRecord) -> dict[str, Any]:
    fields = dataclasses.asdict(record)
    plain = {key: list(value) if isinstance(value, tuple) else value for key, value in fields.items()}
    return {key: value for key, value in plain.items() if value != []}
