"""A workbook of ours read back: its original records, with the edits of its open cells put into them.

The file is only read. Which cell shows which field follows from planning the original records again, so that a
workbook carries no map of its own that could be wrong.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from ubudget.evaluation.evaluate import evaluate
from ubudget.files.edited_places import told_by_cell
from ubudget.files.opening import Cells, CellValues, UnreadableSheet, has_sheet, opened_values
from ubudget.files.reading import records_from_texts
from ubudget.files.sheet_xml import text_as_stored
from ubudget.files.spare_reading import read_filled
from ubudget.pages.book import Band
from ubudget.pages.layout import RECORD
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import (
    FINGERPRINT_CELL,
    LAYOUT,
    LAYOUT_CELL,
    SPARE_CELL,
    TOP,
    OpenCell,
    fingerprint,
    open_cells,
)
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Edit, Records, Role, SourceText

_ACCEPTED = "a workbook that ubudget wrote"


def is_budget_workbook(path: Path) -> bool:
    """Whether a workbook holds its records as text, or cannot be opened at all, which `read_workbook` tells."""
    return has_sheet(path, RECORD) is not False


def read_workbook(path: Path) -> tuple[Records | None, list[Finding]]:
    """Records of a workbook as its open cells stand; None, with findings, where it cannot be read."""
    book, unreadable = opened_values(path)
    if book is None:
        return None, [_stop(path, "file", unreadable, "open it and save it again")]
    try:
        return _read(path, book)
    except UnreadableSheet as found:
        return None, [_stop(path, "file", str(found), "open it and save it again")]


def _read(path: Path, book: CellValues) -> tuple[Records | None, list[Finding]]:
    if RECORD not in book.sheetnames:
        return None, [_stop(path, "sheets", f"no sheet called {RECORD}", "use a workbook written by ubudget workbook")]
    sheet = book.of(RECORD)
    layout = sheet.get(LAYOUT_CELL)
    if str(layout) != LAYOUT:
        found = f"layout version {layout}"
        return None, [
            _stop(
                path,
                f"sheet {RECORD}",
                found,
                f"use the program that wrote it; this one reads layout {LAYOUT}",
            )
        ]
    texts = texts_of(sheet)
    rows = str(sheet.get(SPARE_CELL) or "")
    if sheet.get(FINGERPRINT_CELL) != fingerprint(texts, rows):
        found = "records that do not give the fingerprint stored beside them"
        return None, [_stop(path, f"sheet {RECORD}", found, "use an unaltered copy of the workbook")]
    if rows:
        return read_filled(path, book, texts, rows, lambda cells: edits_of(path, book, cells))
    records, findings = records_from_texts(texts)
    if records is None:
        return None, findings
    evaluation, findings = evaluate(records)
    if evaluation is None:
        return None, findings
    edited, faults = edits_of(path, book, open_cells(plan_book(evaluation).sheets))
    if stops(faults):
        return None, faults
    if not edited:
        return records, list(records.findings)
    changed, findings = records_from_texts(texts, edited)

    findings = told_by_cell(
        findings, records.findings, edited, path.name, lambda some: records_from_texts(texts, some)[1]
    )
    return (None if changed is None else _telling_by_cell(changed, findings, path.name)), findings


def _telling_by_cell(records: Records, findings: Sequence[Finding], workbook: str) -> Records:
    """Records with edits of a workbook; what these bring about in the evaluation will be told by cell as well."""

    def evaluated_with(edits: Sequence[Edit]) -> Sequence[Finding]:
        changed, faults = records_from_texts(records.texts, edits)
        return faults if changed is None else evaluate(changed)[1]

    def told(found: Sequence[Finding]) -> list[Finding]:
        if set(found) <= set(findings):
            return list(found)
        before = [*findings, *evaluated_with(())]
        return told_by_cell(found, before, records.edits, workbook, evaluated_with)

    return replace(records, findings=tuple(findings), told=told)


def _cell_words(cell: OpenCell) -> str:
    return f"sheet {cell.sheet}, cell {cell.address}"


def _stop(path: Path, place: str, found: str, remedy: str) -> Finding:
    return Finding("stop", path.name, place, found, _ACCEPTED, remedy)


def texts_of(sheet: Mapping[tuple[int, int], Any]) -> tuple[SourceText, ...]:
    """The original files, put together again from their lines."""
    collected: dict[tuple[Any, str], dict[int, str]] = {}
    first = TOP + Band.HEADING_ROWS
    for row in [row for row, column in sheet if column == 1 and row >= first]:
        role, name, number, text = (sheet.get((row, column)) for column in range(1, 5))
        lines = collected.setdefault((role, text_as_stored(str(name))), {})
        piece = "" if text is None else text_as_stored(str(text))
        # A number that somebody overwrote alters the text, which the fingerprint tells.
        at = int(number) if isinstance(number, (int, float)) else 0
        lines[at] = lines.get(at, "") + piece
    return tuple(
        SourceText(role, name, "\n".join(lines[number] for number in sorted(lines)))
        for (role, name), lines in collected.items()
    )


def edits_of(path: Path, book: Cells, cells: list[OpenCell]) -> tuple[list[Edit], list[Finding]]:
    """Open cells that no longer hold what the records say, as edits."""
    edits: list[Edit] = []
    faults: list[Finding] = []
    for cell in cells:
        if cell.sheet not in book.sheetnames:
            faults.append(_stop(path, f"sheet {cell.sheet}", "no such sheet", "use an unaltered copy"))
            break
        stands = book.at(cell.sheet, cell.address)
        if isinstance(cell.value, str):
            # Spreadsheets make a date of what is typed like one.
            typed = stands.date().isoformat() if isinstance(stands, dt.datetime) else stands
            text = "" if typed is None else text_as_stored(str(typed))
            if text != cell.value:
                edits.append(Edit(cast(Role, cell.origin.document), cell.origin.path, text, cell=_cell_words(cell)))
            continue
        if isinstance(stands, bool) or not isinstance(stands, (int, float)):
            found = "an empty cell" if stands is None else f"the text {str(stands)[:40]!r}"
            faults.append(
                Finding(
                    "stop",
                    path.name,
                    f"{_cell_words(cell)} ({cell.heading})",
                    found,
                    "a number",
                    "type a number, with the decimal sign of the spreadsheet",
                )
            )
        elif float(stands) != cell.value:
            value = float(f"{float(stands):.15g}")
            role = cast(Role, cell.origin.document)
            edits.append(Edit(role, cell.origin.path, value, cell.origin.unit, _cell_words(cell)))
    return edits, faults
