"""Edits of a workbook put back into the raw documents, before they are validated like any other input."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, cast

from ubudget.files.csv_text import CsvTable
from ubudget.records.amount import parse_amount
from ubudget.records.finding import Finding
from ubudget.records.records import Edit, Role
from ubudget.records.unit_comparison import in_unit

Document = dict[str, Any] | CsvTable
NO_REASON = "no reason given in the workbook"
_TRAIL = ("include", "reason")
_BY_DEFAULT = (("coverage", "probability"),)
"""Fields that a record may leave to their default, and that a workbook shows nevertheless."""


def apply_edits(
    documents: dict[Role, Document], edits: Sequence[Edit], files: dict[Role, str]
) -> tuple[dict[Role, Document], list[Finding]]:
    """The documents with the edits in them; edits that fit no field are findings.

    The given documents stay as they are."""
    edited: dict[Role, Document] = {
        role: document if isinstance(document, CsvTable) else copy.deepcopy(document)
        for role, document in documents.items()
    }
    findings: list[Finding] = []
    for edit in edits:
        if edit.document == "run" and edit.path[:1] and edit.path[0] in _TRAIL:
            continue
        document = edited.get(edit.document)
        fault = "a record that is missing" if document is None else ""
        if isinstance(document, CsvTable):
            changed = _with_cell(document, edit)
            if isinstance(changed, CsvTable):
                edited[edit.document] = changed
            else:
                fault = changed
        elif document is not None:
            fault = _set_field(document, edit)
        if fault:
            findings.append(_misfit(edit, fault, files))
    run = edited.get("run")
    if isinstance(run, dict):
        findings.extend(_apply_trail(run, edits, files.get("run", "run.toml")))
    return edited, findings


def edited_amount(old: Any, value: float, unit: str) -> Any:
    """The new content of a number field: text with unit where a unit is given or the old field was such a
    text, else a bare number; whole numbers stay whole."""
    written = unit or (_unit_of(old) if isinstance(old, str) else "")
    if unit or isinstance(old, str):
        return f"{value:.15g} {written}".strip()
    if isinstance(old, bool):
        return bool(value) if value in (0, 1) else value
    number = float(f"{value:.15g}")
    return int(number) if number.is_integer() and not isinstance(old, float) else number


def _unit_of(text: str) -> str:
    try:
        amount = parse_amount(text)
    except ValueError:
        return ""
    return amount.unit


def _with_cell(table: CsvTable, edit: Edit) -> CsvTable | str:
    """The table with the new cell, or what is wrong with the edit."""
    row, name = edit.path if len(edit.path) == 2 else ("", "")
    if not isinstance(row, int) or not isinstance(name, str):
        return "a place that is no data row and heading"
    columns = [at for at, heading in enumerate(table.headings) if name in (heading.text, heading.key)]
    if not 0 <= row < len(table.rows) or not columns:
        return "a row or column that the table does not have"
    at = columns[0]
    cell = edit.value
    if not isinstance(cell, str):
        heading_unit = table.headings[at].unit or ""
        value = in_unit(cell, edit.unit or heading_unit, heading_unit)
        if value is None:
            return f"a value in {edit.unit} for the column {table.headings[at].text}"
        cell = f"{value:.15g}"
    cells = (*table.rows[row][:at], cell.strip(), *table.rows[row][at + 1 :])
    return replace(table, rows=(*table.rows[:row], cells, *table.rows[row + 1 :]))


def _set_field(document: dict[str, Any], edit: Edit) -> str:
    """Changes the field in place; returns what is wrong with the edit, empty where nothing is."""
    if not edit.path:
        return "no place"
    holder: Any = document
    if edit.path in _BY_DEFAULT:
        holder = document.setdefault(edit.path[0], {})
        if isinstance(holder, dict):
            holder.setdefault(edit.path[1], 0.0)
    else:
        for step in edit.path[:-1]:
            holder = _inside(holder, step)
    last = edit.path[-1]
    fits_table = isinstance(holder, dict) and isinstance(last, str)
    fits_list = isinstance(holder, list) and isinstance(last, int) and 0 <= last < len(holder)
    if not (fits_table or fits_list):
        return "a field that the record does not have"
    old = _inside(holder, last)
    if isinstance(old, (dict, list)):
        return "a table, not a single field"
    holder[last] = (
        _edited_text(old, edit.value) if isinstance(edit.value, str) else edited_amount(old, edit.value, edit.unit)
    )
    return ""


def _edited_text(old: Any, value: str) -> Any:
    if isinstance(old, dt.date):
        try:
            return dt.date.fromisoformat(value.strip())
        except ValueError:
            return value  # validation says what a date looks like
    return value


def _inside(holder: Any, step: str | int) -> Any:
    if isinstance(holder, dict) and isinstance(step, str):
        return holder.get(step)
    if isinstance(holder, list) and isinstance(step, int) and 0 <= step < len(holder):
        return holder[step]
    return None


def _misfit(edit: Edit, fault: str, files: dict[Role, str]) -> Finding:
    place = ", ".join(str(step + 1 if isinstance(step, int) else step) for step in edit.path) or "no place"
    return Finding(
        "stop",
        files.get(edit.document, edit.document),
        place,
        f"an edit of {fault}",
        "edits of fields that the record has",
        "make the workbook anew from the records",
    )


def _apply_trail(run: dict[str, Any], edits: Iterable[Edit], file: str) -> list[Finding]:
    """Excluded readings: marks first, then reasons, so that the order of the cells does not matter."""
    trail = [edit for edit in edits if edit.document == "run" and edit.path[:1] and edit.path[0] in _TRAIL]
    findings = [
        _misfit(edit, "a reading that the edit does not name", {"run": file})
        for edit in trail
        if _reading_of(edit) is None
    ]
    named = [edit for edit in trail if _reading_of(edit) is not None]
    entries = run.get("exclude_reading", [])
    if not named or not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        return findings
    for edit in (edit for edit in named if edit.path[0] == "include"):
        key = _reading_of(edit)
        if edit.value == 1:
            entries = [entry for entry in entries if _key(entry) != key]
        elif edit.value != 0:
            findings.append(_bad_mark(edit, file))
        elif key is not None and not any(_key(entry) == key for entry in entries):
            entries = [*entries, _exclusion(key)]
    for edit in (edit for edit in named if edit.path[0] == "reason"):
        excluded = [entry for entry in entries if _key(entry) == _reading_of(edit)]
        for entry in excluded:
            entry["reason"] = str(edit.value).strip() or NO_REASON
        if not excluded and str(edit.value).strip():
            findings.append(_reason_alone(edit, file))
    run["exclude_reading"] = entries
    findings.extend(_without_reason(entry, file) for entry in entries if entry.get("reason") == NO_REASON)
    return findings


_ReadingKey = tuple[str, str, str, int, int | None]
"""Solution, analyte, line, replicate, and the position where a solution was read several times."""


def _reading_of(edit: Edit) -> _ReadingKey | None:
    names, numbers = edit.path[1:4], edit.path[4:]
    if not all(isinstance(name, str) for name in names) or not all(isinstance(number, int) for number in numbers):
        return None
    if len(names) != 3 or len(numbers) not in (1, 2):
        return None
    return cast(_ReadingKey, (*names, *numbers, None)[:5])


def _key(entry: dict[str, Any]) -> tuple[Any, ...]:
    return (
        entry.get("solution"),
        entry.get("analyte"),
        entry.get("line", ""),
        entry.get("replicate"),
        entry.get("position"),
    )


def _exclusion(key: _ReadingKey) -> dict[str, Any]:
    solution, analyte, line, replicate, position = key
    entry = {
        "solution": solution,
        "analyte": analyte,
        "line": line,
        "replicate": replicate,
        "reason": NO_REASON,
    }
    return entry if position is None else {**entry, "position": position}


def _named(key: tuple[Any, ...]) -> str:
    solution, analyte, line, replicate, *position = key
    where = f" at position {position[0]}" if position and position[0] is not None else ""
    return " ".join(str(part) for part in (solution, analyte, line) if part) + f" replicate {replicate}{where}"


def _without_reason(entry: dict[str, Any], file: str) -> Finding:
    place = f"exclude_reading {_named(_key(entry))}"
    return Finding(
        "attend",
        file,
        place,
        "a reading left out without a reason",
        "a reason for every reading left out",
        "write the reason beside the mark",
    )


def _reason_alone(edit: Edit, file: str) -> Finding:
    place = f"exclude_reading {_named(edit.path[1:])}"
    return Finding(
        "attend",
        file,
        place,
        "a reason beside a reading that is included",
        "a reason with the include mark 0",
        "set the mark to 0 or delete the reason",
    )


def _bad_mark(edit: Edit, file: str) -> Finding:
    place = f"include mark of {_named(edit.path[1:])}"
    return Finding("stop", file, place, str(edit.value)[:60], "1 (included) or 0 (left out)", "correct the mark")
