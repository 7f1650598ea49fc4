"""A hand-edited fill-in workbook as records: its rows become the documents that text files would hold.

The documents go through the same validation as text files; what is found there is told by sheet, row and column. The
file is only read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import IO

from ubudget.files.filled_places import tell_strays, told
from ubudget.files.filled_sheets import is_fill_in, names_table, tables_in
from ubudget.files.filled_tables import Reading, read_entries, read_grid, read_rows, record_tables
from ubudget.files.opening import opened
from ubudget.files.reading import USUAL_NAMES, in_order, records_from_texts
from ubudget.files.toml_writing import toml_text
from ubudget.pages.fill_in_blocks import GRIDS
from ubudget.pages.fill_in_rows import Assembled, documents_of
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Records, Role, SourceText
from ubudget.records.ware_calibration import KIND

_DOCUMENTS: tuple[Role, ...] = ("run", "method", "register")


def read_fill_in(path: Path | IO[bytes], file: str = "") -> tuple[Records | None, list[Finding]]:
    """Records of a fill-in workbook; `None`, with findings, where they cannot be used. `file` is its name."""
    name = file or (path.name if isinstance(path, Path) else "workbook")
    book, unreadable = opened(path)
    if book is None:
        return None, [Finding("stop", name, "file", unreadable, "a fill-in workbook", "open it and save it again")]
    if not is_fill_in(book):
        found = "no row marked headings in the first column of any sheet"
        accepted = "a fill-in workbook, or a workbook written by ubudget workbook"
        return None, [Finding("stop", name, "file", found, accepted, "begin with ubudget start DIR --workbook")]
    if names_table(book, KIND):
        accepted, remedy = "the records of a run or a method", "give it to ubudget ware"
        return None, [Finding("stop", name, "file", "the record of a calibration of ware", accepted, remedy)]
    reading, known = Reading(name), record_tables()
    tables, faults = tables_in(book, (*known, *GRIDS), name)
    reading.findings += faults
    for found_table in tables:
        if found_table.name in GRIDS:
            read_grid(reading, found_table)
        elif known[found_table.name].form == "entries":
            read_entries(reading, found_table, known[found_table.name])
        else:
            read_rows(reading, found_table, known[found_table.name])
    made = documents_of(reading.rows)
    tell_strays(reading, made)
    return _validated(reading, made)


def _validated(reading: Reading, made: Assembled) -> tuple[Records | None, list[Finding]]:
    texts = _texts(reading, made)
    if not texts:
        reading.stop(
            "whole file", "no entry", "a filled-in method, and a run unless the method stands alone", "fill it in"
        )
        return None, in_order(reading.findings)
    records, findings = records_from_texts(texts)
    afterwards = list(told(reading, made, texts, findings))
    findings = in_order([*reading.findings, *afterwards])
    if records is None or stops(findings):
        return None, findings

    def by_sheet(found: Sequence[Finding]) -> list[Finding]:
        return list(told(reading, made, texts, found))

    return replace(records, findings=tuple(findings), told=by_sheet), findings


def _texts(reading: Reading, made: Assembled) -> list[SourceText]:
    """The documents as the text files would hold them."""
    documents = made.documents
    run = documents.get("run")
    if run is not None:
        sheet = run.setdefault("run", {})
        for role, name in USUAL_NAMES.items():
            present = role == "method" or role in documents or role in reading.texts
            if role not in sheet and present:
                sheet[role] = name
    texts = [
        SourceText(role, f"{reading.file}, {role}", toml_text(documents[role]))
        for role in _DOCUMENTS
        if role in documents
    ]
    if run is not None:
        texts += [SourceText(role, f"{reading.file}, {role}", text) for role, text in reading.texts.items()]
    elif reading.texts:
        reading.stop(
            "sheet run", "no entry, beside filled-in samples or readings", "the entries of the run", "fill it in"
        )
    return texts
