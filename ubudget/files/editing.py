"""Edits of a workbook put back into the raw documents, before they are validated like any other input."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from ubudget.files.csv_text import CsvTable
from ubudget.files.exclusion_edits import apply_trail, is_trail, misfit
from ubudget.records.amount import parse_amount
from ubudget.records.finding import Finding
from ubudget.records.records import Edit, Role
from ubudget.records.unit_comparison import in_unit

Document = dict[str, Any] | CsvTable
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
        if is_trail(edit):
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
            findings.append(misfit(edit, fault, files))
    run = edited.get("run")
    if isinstance(run, dict):
        findings.extend(apply_trail(run, edits, files.get("run", "run.toml")))
    return edited, findings


def edited_amount(old: Any, value: float, unit: str) -> Any:
    """The new content of a number field: text with unit where a unit is given or the old field was such a
    text, else a bare number; whole numbers stay whole."""
    if unit == "1" and isinstance(old, str) and (value_there := in_unit(value, unit, _unit_of(old))) is not None:
        value, unit = value_there, ""  # a plain number that the record writes in a unit, 999.5 mg/g
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
