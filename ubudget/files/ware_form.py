"""The record of a calibration of ware, written as a fill-in workbook and read from one; the file is only read."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import IO, Any

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.files.atomic import replace_file
from ubudget.files.fault_words import place_words
from ubudget.files.filled_sheets import names_table, tables_in
from ubudget.files.filled_tables import Reading, read_entries
from ubudget.files.letterhead import PLAIN, Letterhead
from ubudget.files.opening import opened
from ubudget.files.reading import read_text
from ubudget.files.shipped import shipped_folder
from ubudget.files.starting import refuse_existing, write_files
from ubudget.files.toml_text import parse_toml
from ubudget.files.toml_writing import toml_text
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages.ware_form import WARE_TABLE, document_of, paths_of, plan_ware_form
from ubudget.records.finding import Finding, stops
from ubudget.records.records import SourceText
from ubudget.records.ware_calibration import KIND
from ubudget.version import __version__

FORM = "ware-calibration"
"""Name of the files that a person begins with."""
Telling = Callable[[Iterable[Finding]], list[Finding]]
"""Findings on the text of a record, told where the person wrote it."""


def is_ware_record(path: Path) -> bool:
    """Whether a file is the record of a calibration of ware, as text or as workbook."""
    if path.suffix.lower() == ".toml" and path.is_file():
        text, _ = read_text(path, "method")
        return text is not None and (parse_toml(text.text, text.name)[0] or {}).get("kind") == KIND
    if path.suffix.lower() != ".xlsx" or not path.is_file():
        return False
    book, _ = opened(path)
    return book is not None and names_table(book, KIND)


def read_ware_record(path: Path) -> tuple[SourceText | None, list[Finding], Telling]:
    """The record as text, with what is wrong so far, and how findings on that text are told."""
    if path.suffix.lower() == ".xlsx" and path.is_file():
        return read_ware_form(path, path.name)
    text, findings = read_text(path, "method")
    return text, findings, list


def read_ware_form(file: Path | IO[bytes], name: str) -> tuple[SourceText | None, list[Finding], Telling]:
    """The same from a fill-in workbook."""
    reading = Reading(name)
    book, unreadable = opened(file)
    tables, faults = ([], []) if book is None else tables_in(book, (WARE_TABLE.name,), name)
    reading.findings += faults
    if not tables:
        found = unreadable or f"no table {WARE_TABLE.name}"
        accepted, remedy = (
            "a workbook to fill in for a calibration of ware",
            "begin with ubudget start DIR --ware --workbook",
        )
        reading.stop("file", found, accepted, remedy)
        return None, reading.findings, list
    for table in tables[1:]:
        reading.stop(
            f"sheet {table.sheet}, row {table.heading_row}", "a second table", "one table", "delete one of them"
        )
    read_entries(reading, tables[0], WARE_TABLE)
    rows = reading.rows.get(WARE_TABLE.name, [])
    document = document_of(rows[0].values if rows else {})

    def told(findings: Iterable[Finding]) -> list[Finding]:
        return list(dict.fromkeys(_told(reading, tables[0].sheet, document, finding) for finding in findings))

    return SourceText("method", name, toml_text(document)), reading.findings, told


def _told(reading: Reading, sheet: str, document: dict[str, Any], finding: Finding) -> Finding:
    rows = reading.rows.get(WARE_TABLE.name, [])
    known = {}
    for path, part in paths_of(rows[0].values if rows else {}):
        words = place_words(path if part is None else (*path, part), document)
        known[words] = reading.cells[WARE_TABLE.name, 0, path if part is None else (*path, str(part))]
    if finding.place in known:
        found, row, _ = known[finding.place]
        return replace(finding, file=reading.file, place=f"sheet {found.sheet}, row {row} ({_entry(finding.place)})")
    entry = "" if finding.place == "whole file" else f", entry {_entry(finding.place)}"
    return replace(finding, file=reading.file, place=f"sheet {sheet}{entry}")


def _entry(place: str) -> str:
    """The entry of a place: `water temperature: value` for `water_temperature, value`."""
    return place.replace(", ", ": ").replace("_", " ")


def ware_form_bytes(text: SourceText, letterhead: Letterhead = PLAIN) -> bytes:
    """The record as a fill-in workbook; the same record and letterhead give the same bytes.

    Raises `UnusableInput`, and `UbudgetError` where it cannot be laid out."""
    document, faults = parse_toml(text.text, text.name)
    if document is None or stops(faults):
        raise UnusableInput(faults)
    day = document.get("date")
    moment = dt.datetime(day.year, day.month, day.day) if isinstance(day, dt.date) else dt.datetime(2000, 1, 1)
    data = book_bytes(plan_ware_form(document, f"ubudget {__version__}", moment), letterhead)
    again, findings, _ = read_ware_form(io.BytesIO(data), "the workbook")
    if again is None or stops(findings) or parse_toml(again.text, again.name)[0] != document:
        reason = findings[0].line() if findings else "something that no cell can show"
        raise UbudgetError(f"{text.name}: this record cannot be laid out as a fill-in workbook ({reason})")
    return data


def convert_ware(path: Path, out: Path, *, force: bool = False, letterhead: Letterhead = PLAIN) -> list[Path]:
    """Writes the record as a workbook to fill in, or as a text file into a folder, and gives the path.

    Raises `UnusableInput`, `OutputExists`, `NotWritable`."""
    text, findings, told = read_ware_record(path)
    document, faults = parse_toml(text.text, text.name) if text is not None else (None, [])
    findings = [*findings, *told(faults)]
    if text is None or document is None or stops(findings):
        raise UnusableInput(findings)
    if out.suffix.lower() == ".xlsx":
        replace_file(out, ware_form_bytes(text, letterhead), force=force)
        return [out]
    files = {f"{path.stem}.toml": text.text.encode()}
    if not force:
        refuse_existing(out, files)
    write_files(out, files)
    return [out / name for name in files]


def shipped_record() -> SourceText:
    """The record that comes with the program; its figures are invented."""
    text, findings = read_text(shipped_folder("worked_examples") / "ware_calibration" / "flask.toml", "method")
    if text is None:
        raise UnusableInput(findings)
    return text


def lay_down_ware(
    folder: Path, *, as_workbook: bool = False, force: bool = False, letterhead: Letterhead = PLAIN
) -> Path:
    """Writes the shipped record into a folder, as text or as a workbook to fill in, and gives its path."""
    record = shipped_record()
    name = f"{FORM}.xlsx" if as_workbook else f"{FORM}.toml"
    files = {name: ware_form_bytes(record, letterhead) if as_workbook else record.text.encode()}
    if not force:
        refuse_existing(folder, files)
    write_files(folder, files)
    return folder / name
