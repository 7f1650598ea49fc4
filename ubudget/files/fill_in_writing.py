"""Records as a fill-in workbook: the documents of their texts, laid out in tables."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from ubudget.errors import UbudgetError
from ubudget.files.csv_text import CsvTable, parse_csv
from ubudget.files.fill_in_reading import read_fill_in
from ubudget.files.letterhead import PLAIN, Letterhead
from ubudget.files.reading import USUAL_NAMES, read_records
from ubudget.files.shipped import shipped_folder
from ubudget.files.tables import is_number_column, usual_columns
from ubudget.files.toml_text import parse_toml
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages.book import Book
from ubudget.pages.fill_in_blocks import GRIDS, Content, Grid
from ubudget.pages.fill_in_book import plan_fill_in
from ubudget.pages.fill_in_rows import Row, rows_of
from ubudget.records.records import Records, Role, SourceText
from ubudget.version import __version__

_EXAMPLES = (
    "harbour_sediment",
    "river_manganese",
    "published/quam_a2.toml",
    "published/gum_h1.toml",
    "published/gum_h3.toml",
    "published/ea402_s2.toml",
)
"""Worked examples from which empty tables take a row that shows how it is done."""
_NO_DATE = dt.date(2000, 1, 1)
"""Time inside the file where the records name no date."""


def fill_in_bytes(records: Records, letterhead: Letterhead = PLAIN) -> bytes:
    """The records as a fill-in workbook; the same records and letterhead give the same bytes.

    Edits of a workbook are not in the texts of its records: give records without edits. Raises `UbudgetError` where
    reading the workbook would not give the same records."""
    data = book_bytes(fill_in_book(records.texts), letterhead)
    again, findings = read_fill_in(io.BytesIO(data), "the workbook")
    if again is None or not same_records(records, again):
        reason = findings[0].line() if again is None and findings else "something that no cell can show"
        raise UbudgetError(f"{records.name}: these records cannot be laid out as a fill-in workbook ({reason})")
    return data


def same_records(first: Records, second: Records) -> bool:
    """Whether two records say the same, whatever files they come from."""
    bare = [replace(records, texts=(), edits=(), findings=()) for records in (first, second)]
    return bare[0] == bare[1]


def fill_in_book(texts: Sequence[SourceText]) -> Book:
    """The plan of the workbook for the texts of records."""
    documents, tables = documents_of_texts(texts)
    grids = {role: _grid(role, tables.get(role)) for role in GRIDS} if "run" in documents else {}
    for role in GRIDS:
        _drop_usual_name(documents, role, bool(grids and grids[role].rows))
    _drop_usual_name(documents, "method", True)
    _drop_usual_name(documents, "register", "register" in documents)
    identity = documents.get("method", {}).get("method", {})
    title = str(identity.get("title", "")) or "Records"
    header = ", ".join(str(identity[key]) for key in ("id", "version", "status") if identity.get(key))
    roles: set[Role] = {*documents, *(("register",) if "run" in documents else ())}
    rows = rows_of(documents)
    content = Content(rows, frozenset(roles), grids, _examples(), identity.get("cautions", ()))
    return plan_fill_in(content, title, header, f"ubudget {__version__}", _moment(documents))


def documents_of_texts(texts: Iterable[SourceText]) -> tuple[dict[Role, dict[str, Any]], dict[Role, CsvTable]]:
    """The plain documents and tables of texts that were read without fault."""
    documents: dict[Role, dict[str, Any]] = {}
    tables: dict[Role, CsvTable] = {}
    for text in texts:
        if text.role in GRIDS:
            table, _ = parse_csv(text.text, text.name)
            if table is not None:
                tables[text.role] = table
        else:
            document, _ = parse_toml(text.text, text.name)
            if document is not None:
                documents[text.role] = document
    return documents, tables


def _drop_usual_name(documents: dict[Role, dict[str, Any]], role: Role, present: bool) -> None:
    """The workbook holds the table itself; the name of its file is said only where it is not the usual one."""
    sheet = documents.get("run", {}).get("run", {})
    if present and sheet.get(role) == USUAL_NAMES[role]:
        del sheet[role]


def _grid(role: Role, table: CsvTable | None) -> Grid:
    headings = usual_columns(role) if table is None else tuple(heading.text for heading in table.headings)
    return Grid(
        headings, () if table is None else table.rows, tuple(is_number_column(role, heading) for heading in headings)
    )


def _moment(documents: dict[Role, dict[str, Any]]) -> dt.datetime:
    """Midnight of a date that the records name."""
    dates = (
        documents.get("run", {}).get("run", {}).get("date"),
        documents.get("method", {}).get("method", {}).get("effective"),
        documents.get("register", {}).get("date"),
    )
    day = next((date for date in dates if isinstance(date, dt.date)), _NO_DATE)
    return dt.datetime(day.year, day.month, day.day)


@cache
def _examples() -> dict[str, Row]:
    """For each table the fullest row of the worked examples."""
    found: dict[str, Row] = {}
    for name in _EXAMPLES:
        records, _ = read_records(shipped_folder("worked_examples") / name)
        if records is None:
            continue
        for table, rows in rows_of(documents_of_texts(records.texts)[0]).items():
            if rows and table not in found:
                found[table] = max(rows, key=lambda row: len(row.values))
    return found
