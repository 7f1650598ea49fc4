"""One side of a comparison of versions: a workbook, a run, or a method alone, with all that can be said of it.

A workbook of another layout cannot be read back, since its cells are not where this program plans them; the records on
its record sheet still can."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from ubudget.errors import UnusableInput
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.amended_run import documents_as_they_stand
from ubudget.files.csv_text import CsvTable
from ubudget.files.editing import apply_edits
from ubudget.files.fault_words import validate_document
from ubudget.files.opening import opened_values, stored_values
from ubudget.files.reading import read_text, records_from_texts
from ubudget.files.toml_text import parse_toml
from ubudget.files.verbs import evaluate, read_run
from ubudget.files.workbook_reading import is_budget_workbook, texts_of
from ubudget.pages.layout import RECORD, RESULTS
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import FINGERPRINT_CELL, LAYOUT, LAYOUT_CELL, PROGRAM_CELL, SPARE_CELL
from ubudget.pages.results_sheet import REPORTED_BAND
from ubudget.pages.results_table import result_label
from ubudget.quantity.spelling import column_letters
from ubudget.records.crosscheck_method import method_findings
from ubudget.records.finding import Finding, stops
from ubudget.records.fingerprint import fingerprint, method_fingerprint
from ubudget.records.method import Document, Method
from ubudget.records.records import Records, SourceText
from ubudget.version import __version__


@dataclass(frozen=True)
class Side:
    """`evaluation` None: a method that needs a run. `documents` are the parsed records with amendments and edits in
    them, tables as rows."""

    file: str
    program: str
    layout: str
    texts: tuple[SourceText, ...]
    document: Document
    run: str
    documents: Mapping[str, Any]
    findings: tuple[Finding, ...]
    evaluation: Evaluation | None
    remarks: tuple[str, ...] = ()
    stored: tuple[str, ...] = ()
    """Reported figures stored in a workbook that are not those calculated here from its records."""


def read_side(path: Path) -> Side:
    """Raises `UnusableInput` with every finding that stops."""
    if path.suffix.lower() == ".xlsx" and path.is_file() and is_budget_workbook(path):
        return _workbook(path)
    method = _method_alone(path)
    return _of_records(path, read_run(path)) if method is None else method


def _of_records(path: Path, records: Records, program: str = "", layout: str = "", remarks: Sequence[str] = ()) -> Side:
    evaluation = evaluate(records)
    return Side(
        str(path),
        program or f"ubudget {__version__}",
        layout,
        records.texts,
        records.method.document,
        records.run.file.run.id if records.run else "",
        _documents(records),
        tuple(evaluation.findings),
        evaluation,
        tuple(remarks),
    )


def _documents(records: Records) -> dict[str, Any]:
    files = {text.role: text.name for text in records.texts}
    documents, _ = apply_edits(documents_as_they_stand(records.texts), records.edits, files)
    return {
        role: _rows(document) if isinstance(document, CsvTable) else document for role, document in documents.items()
    }


def _rows(table: CsvTable) -> list[dict[str, str]]:
    return [{heading.text: cell for heading, cell in zip(table.headings, row, strict=True)} for row in table.rows]


def _workbook(path: Path) -> Side:
    book, unreadable = opened_values(path)
    if book is None or RECORD not in book.sheetnames:
        found = unreadable or f"no sheet called {RECORD}"
        raise UnusableInput([Finding("stop", path.name, "file", found, "a workbook of ubudget", "name another")])
    sheet = book.of(RECORD)
    layout, program = (str(sheet.get(place) or "") for place in (LAYOUT_CELL, PROGRAM_CELL))
    if layout == LAYOUT:
        side = _of_records(path, read_run(path), program, layout)
        return replace(side, stored=tuple(_stored_otherwise(path, side)))
    texts, spare = texts_of(sheet), str(sheet.get(SPARE_CELL) or "")
    if sheet.get(FINGERPRINT_CELL) != fingerprint(texts, spare):
        found = f"layout {layout or 'unknown'}, and records that do not give the fingerprint stored beside them"
        remedy = "use an unaltered copy, or the program that wrote it"
        raise UnusableInput([Finding("stop", path.name, f"sheet {RECORD}", found, f"layout {LAYOUT}", remedy)])
    records, findings = records_from_texts(texts)
    if records is None:
        raise UnusableInput(findings)
    remark = (
        f"{path.name}: layout {layout}, this program reads cells of layout {LAYOUT}: compared are its records as they "
        "were written into it, without what was changed in its cells"
    )
    return _of_records(path, records, program, layout, [remark])


def _stored_otherwise(path: Path, side: Side) -> Iterator[str]:
    """Edited cells change what a workbook would show when calculated; then nothing is said of what it stores."""
    if side.evaluation is None or side.evaluation.records.edits:
        return
    sheets = {sheet.name: sheet for sheet in plan_book(side.evaluation).sheets}
    (band,) = (band for band in sheets[RESULTS].bands if band.name == REPORTED_BAND)
    stored = stored_values(path, RESULTS)
    for number, column in enumerate(band.columns):
        if column.heading in ("value", "U"):
            for row, (result, planned) in enumerate(zip(side.evaluation.results, column.values, strict=True)):
                found = stored.get(f"{column_letters(band.left + number)}{band.first_row + row}")
                if not isinstance(planned, int | float) or not isinstance(found, int | float):
                    continue
                if not math.isclose(found, planned, rel_tol=1e-9, abs_tol=1e-15):
                    label = f"{path.name} ({side.program}) stores {column.heading} of {result_label(result)}"
                    yield f"{label} as {found:.9g}, calculated here {planned:.9g}"


def _method_alone(path: Path) -> Side | None:
    """A method that needs a run; `None` for all else, also for a method that can be evaluated alone."""
    file = path
    if path.is_dir():
        file = path / "method.toml"
        if (path / "run.toml").exists() or not file.is_file():
            return None
    if file.suffix.lower() == ".xlsx" or not file.is_file():
        return None
    text, findings = read_text(file, "method")
    document, faults = parse_toml(text.text, text.name) if text is not None else (None, [])
    if text is None or document is None or "method" not in document or "run" in document:
        return None
    findings += faults
    method = validate_document(_adapter(), document, text.name, findings)
    if method is None or records_from_texts([text])[0] is not None:
        return None
    findings += method_findings(method, text.name)
    if stops(findings):
        raise UnusableInput(findings)
    return Side(str(path), f"ubudget {__version__}", "", (text,), method.document, "", {"method": document}, (), None)


@cache
def _adapter() -> TypeAdapter[Method]:
    return TypeAdapter(Method)


def told_of(side: Side) -> dict[str, str]:
    """What stands at the head of the comparison."""
    document = side.document
    told = {
        "program": side.program,
        "layout": side.layout,
        "run": side.run,
        "method": f"{document.id}, version {document.version}, {document.status}",
        "method_fingerprint": method_fingerprint(side.texts),
        "records_fingerprint": fingerprint(side.texts) if side.run else "",
    }
    return {name: text for name, text in told.items() if text}
