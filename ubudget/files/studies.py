"""From the record of a study and its table to its outcome; both files are only read."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.studies import EvaluatedStudy, Outcome, outcome_of
from ubudget.files.cell_numbers import cell_number
from ubudget.files.csv_text import CsvTable, Heading, parse_csv, row_place
from ubudget.files.fault_words import shown, validate_document
from ubudget.files.reading import read_text
from ubudget.files.toml_text import parse_toml
from ubudget.records.finding import Finding, stops
from ubudget.records.studies import COLUMNS, PARTS, Study, StudyData, study_findings
from ubudget.records.unit_comparison import in_unit

OPTIONAL_TEXTS = ("robust",)


def evaluate_study(path: str | os.PathLike[str]) -> EvaluatedStudy:
    """Figures of a study of precision or bias: ISO 5725-2, ISO 13528, ISO 11352, Nordtest TR 537.

    `path`: the TOML record, `kind = "study"`, with its table beside it. Raises `UnusableInput` with every finding that
    stops."""
    place = Path(path)
    study, findings = _record(place)
    if study is None or stops(findings):
        raise UnusableInput(findings)
    text, faults = read_text(place.parent / study.data, "readings", study.data)
    findings += faults
    table, faults = parse_csv(text.text, study.data) if text is not None else (None, [])
    findings += faults
    if table is None or stops(findings):
        raise UnusableInput(findings)
    outcomes: list[Outcome] = []
    for data in _parts(study, table, study.data, findings):
        try:
            outcomes.append(outcome_of(study, data))
        except UbudgetError as fault:
            found, _, accepted = str(fault).partition("; accepted: ")
            where = f"data of {data.label}" if data.label else "data"
            findings.append(Finding("stop", study.data, where, found, accepted or "other data", "mend the table"))
    if stops(findings):
        raise UnusableInput(findings)
    return EvaluatedStudy(study, tuple(outcomes))


def _record(path: Path) -> tuple[Study | None, list[Finding]]:
    text, findings = read_text(path, "method")
    document, faults = parse_toml(text.text, text.name) if text is not None else (None, [])
    findings += faults
    if text is None or document is None:
        return None, findings
    study = validate_document(_adapter(), document, text.name, findings)
    if study is not None:
        findings += study_findings(study, text.name)
    return study, findings


@cache
def _adapter() -> TypeAdapter[Study]:
    return TypeAdapter(Study)


def _parts(study: Study, table: CsvTable, file: str, findings: list[Finding]) -> Sequence[StudyData]:
    """The rows by analyte, matrix and level, in the order in which these first stand; all faults of the table."""
    columns = COLUMNS[study.design]
    texts = (*study.factors, *columns.texts)
    named = (*texts, *columns.amounts, *columns.others)
    required = [name for name in named if name not in (*OPTIONAL_TEXTS, *columns.optional)]
    findings += _heading_findings(study, table, file, required, (*named, *PARTS))
    if stops(findings):
        return ()
    groups: dict[tuple[str, ...], tuple[dict[str, list[str]], dict[str, list[float]]]] = {}
    for row in range(len(table.rows)):
        place = row_place(row, "")
        part = tuple(table.cell(row, name) for name in PARTS)
        own_texts, numbers = groups.setdefault(
            part, ({name: [] for name in texts}, {name: [] for name in (*columns.amounts, *columns.others)})
        )
        for name in texts:
            cell = table.cell(row, name)
            if not cell and name not in OPTIONAL_TEXTS:
                findings.append(_empty(file, place, name))
            if name == "robust" and cell not in ("", "yes", "no"):
                findings.append(Finding("stop", file, f"{place}, robust", shown(cell), "yes or no", "correct the cell"))
            own_texts[name].append(cell)
        for name in numbers:
            numbers[name].append(_number(study, table, row, name, file, place, findings))
    return [
        StudyData(
            part,
            {name: tuple(cells) for name, cells in own_texts.items()},
            {name: tuple(values) for name, values in numbers.items()},
        )
        for part, (own_texts, numbers) in groups.items()
    ]


def _heading_findings(
    study: Study, table: CsvTable, file: str, required: Sequence[str], known: Sequence[str]
) -> list[Finding]:
    findings = []
    keys = [heading.key for heading in table.headings]
    for name in required:
        if name not in keys:
            accepted = f"the columns {', '.join(required)}"
            findings.append(Finding("stop", file, "headings", f"no column {name}", accepted, f"add the column {name}"))
    for number, heading in enumerate(table.headings, start=1):
        if heading.key not in known:
            findings.append(
                Finding(
                    "stop",
                    file,
                    f"heading {number}",
                    f"the unknown heading {shown(heading.text)}",
                    ", ".join(known),
                    "delete the column or correct its heading",
                )
            )
        elif heading.unit is not None and not _unit_fits(study, heading):
            unit = study.unit if heading.key in COLUMNS[study.design].amounts else "no unit"
            accepted = f"a unit that converts to {unit}" if unit != "no unit" else unit
            findings.append(
                Finding("stop", file, f"heading {number}", shown(heading.text), accepted, "correct the unit")
            )
    if not table.rows:
        findings.append(Finding("stop", file, "whole file", "no row", "one row for each result", "fill it in"))
    return findings


def _unit_fits(study: Study, heading: Heading) -> bool:
    if heading.key in COLUMNS[study.design].amounts:
        return in_unit(1.0, heading.unit or "", study.unit) is not None
    return (heading.key, heading.unit) == ("recovery", "%")


def _number(
    study: Study, table: CsvTable, row: int, name: str, file: str, place: str, findings: list[Finding]
) -> float:
    at = table.position(name)
    if name in COLUMNS[study.design].optional and (at is None or not table.rows[row][at]):
        return math.nan
    assert at is not None
    heading, cell = table.headings[at], table.rows[row][at]
    if not cell:
        findings.append(_empty(file, place, heading.text))
        return 0.0
    value = cell_number(cell, heading, file, place, findings)
    if value is None or heading.unit is None or name not in COLUMNS[study.design].amounts:
        return value or 0.0
    return in_unit(value, heading.unit, study.unit) or 0.0


def _empty(file: str, place: str, name: str) -> Finding:
    return Finding("stop", file, f"{place}, {name}", "an empty cell", "an entry", "fill in the cell or delete the row")


def study_object(evaluated: EvaluatedStudy) -> dict[str, Any]:
    """The outcome in plain objects, numbers unrounded."""
    study = evaluated.study
    return {
        "id": study.id,
        "title": study.title,
        "design": study.design,
        "outcomes": [
            {
                "part": outcome.part,
                "figures": [
                    {
                        "name": figure.name,
                        "value": figure.value,
                        "unit": figure.unit,
                        "degrees_of_freedom": figure.degrees_of_freedom,
                    }
                    for figure in outcome.figures
                ],
                "parameters": [
                    {
                        "use": parameter.use,
                        "value": parameter.value,
                        "unit": parameter.unit,
                        "degrees_of_freedom": parameter.degrees_of_freedom,
                    }
                    for parameter in outcome.parameters
                ],
                "to_look_at": list(outcome.told),
            }
            for outcome in evaluated.outcomes
        ],
    }
