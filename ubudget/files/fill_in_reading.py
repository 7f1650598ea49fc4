"""A hand-edited fill-in workbook as records: its rows become the documents that text files would hold.

The documents go through the same validation as text files; what is found there is told by sheet, row and column. The
file is only read.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import IO, Any
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils.cell import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException

from ubudget.files.csv_text import parse_heading
from ubudget.files.fault_words import place_words
from ubudget.files.fill_in_cells import CellFault, cell_text, value_of
from ubudget.files.fill_in_sheets import FoundTable, is_fill_in, tables_in
from ubudget.files.reading import USUAL_NAMES, in_order, records_from_texts
from ubudget.files.tables import is_number_column
from ubudget.files.toml_writing import toml_text
from ubudget.pages.fill_in_book import GRIDS
from ubudget.pages.fill_in_rows import Assembled, Row, Spot, documents_of
from ubudget.pages.fill_in_tables import Column, Table, tables_of_records
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Records, Role, SourceText
from ubudget.records.shape import Scalar, Several

_TABLES = {table.name: table for table in tables_of_records()}
_GRID_ROW = re.compile(r"row ([0-9]+)(?: \((.*?)\))?(?:, (.*))?")
_GRID_HEADING = re.compile(r"heading ([0-9]+)")


@dataclass
class _Reading:
    """What was understood so far."""

    file: str
    findings: list[Finding] = field(default_factory=list)
    rows: dict[str, list[Row]] = field(default_factory=dict)
    origins: dict[str, list[tuple[FoundTable, int]]] = field(default_factory=dict)
    """Found table and row of the sheet for each row of a table."""
    cells: dict[tuple[str, int, tuple[str, ...]], tuple[FoundTable, int, int]] = field(default_factory=dict)
    """Found table, row and column of single values: table, position of its row, path."""
    grids: dict[Role, tuple[FoundTable, list[int]]] = field(default_factory=dict)
    texts: dict[Role, str] = field(default_factory=dict)
    faulty: set[tuple[str, int]] = field(default_factory=set)
    """Sheet and row where a cell could not be understood: what follows from it is not told again."""

    def stop(self, place: str, found: str, accepted: str, remedy: str) -> None:
        self.findings.append(Finding("stop", self.file, place, found, accepted, remedy))


def read_fill_in(path: Path | IO[bytes], file: str = "") -> tuple[Records | None, list[Finding]]:
    """Records of a fill-in workbook; `None`, with findings, where they cannot be used. `file` is its name."""
    name = file or (path.name if isinstance(path, Path) else "workbook")
    try:
        book = load_workbook(path, data_only=False)
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, ParseError, OSError, TypeError) as error:
        found = f"no readable workbook ({type(error).__name__})"
        return None, [Finding("stop", name, "file", found, "a fill-in workbook", "open it and save it again")]
    if not is_fill_in(book):
        found = "no row marked headings in the first column of any sheet"
        return None, [Finding("stop", name, "file", found, "a fill-in workbook", "begin with ubudget start --workbook")]
    reading = _Reading(name)
    tables, faults = tables_in(book, (*_TABLES, *GRIDS), name)
    reading.findings += faults
    for found_table in tables:
        if found_table.name in GRIDS:
            _read_grid(reading, found_table)
        elif _TABLES[found_table.name].form == "entries":
            _read_entries(reading, found_table, _TABLES[found_table.name])
        else:
            _read_rows(reading, found_table, _TABLES[found_table.name])
    made = documents_of(reading.rows)
    _tell_strays(reading, made)
    return _validated(reading, made)


def _validated(reading: _Reading, made: Assembled) -> tuple[Records | None, list[Finding]]:
    texts = _texts(reading, made)
    if not texts:
        reading.stop("whole file", "no entry", "a filled-in method, and a run unless the method stands alone", "fill it in")
        return None, in_order(reading.findings)
    records, findings = records_from_texts(texts)
    told = list(_told(reading, made, texts, findings))
    findings = in_order([*reading.findings, *told])
    if records is None or stops(findings):
        return None, findings
    return replace(records, findings=tuple(findings)), findings


def _texts(reading: _Reading, made: Assembled) -> list[SourceText]:
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
        for role in ("run", "method", "register")
        if role in documents
    ]
    if run is not None:
        texts += [SourceText(role, f"{reading.file}, {role}", text) for role, text in reading.texts.items()]
    elif reading.texts:
        reading.stop("sheet run", "no entry, beside filled-in samples or readings", "the entries of the run", "fill it in")
    return texts


# -- tables of the sheets ----------------------------------------------------------------------------------------------


def _read_rows(reading: _Reading, found: FoundTable, table: Table) -> None:
    """A table with one row for each record."""
    keys = {heading: at for at, heading in enumerate(table.keys)}
    columns = {column.heading: column for column in table.columns}
    key_at: dict[int, int] = {}
    column_at: dict[int, Column] = {}
    for at, heading in found.headings.items():
        own, name = _matched(heading, [*keys, *columns]), heading
        keyed = _keyed(heading, table)
        if keyed is not None:
            column_at[at] = keyed
        elif own is None:
            _unknown_heading(reading, found, at, name, [*keys, *columns])
        elif own in keys and keys[own] not in key_at.values():
            key_at[at] = keys[own]
        elif own in columns and columns[own] not in column_at.values():
            column_at[at] = columns[own]
        else:
            place = f"sheet {found.sheet}, row {found.heading_row}, column {get_column_letter(at)}"
            reading.stop(place, f"the heading {heading[:40]} a second time", "each heading once", "delete one column")
    needed = [heading for heading in keys if keys[heading] not in key_at.values()]
    needed += [c.heading for c in table.columns if c.required and not c.keyed and c not in column_at.values()]
    if needed and found.rows:
        for heading in needed:
            place = f"sheet {found.sheet}, row {found.heading_row}"
            reading.stop(place, f"no heading {heading}", f"the headings {', '.join([*keys, *columns])}", f"add {heading}")
        reading.faulty |= {(found.sheet, row) for row in found.rows}
    for row, cells in found.rows.items():
        names = [""] * len(table.keys)
        values: dict[tuple[str, ...], Any] = {}
        at_column: dict[tuple[str, ...], int] = {}
        for at, cell in cells.items():
            if at == 1:
                continue
            if at in key_at:
                names[key_at[at]] = _cell(reading, found, row, at, cell, Scalar("text")) or ""
            elif at in column_at:
                value = _cell(reading, found, row, at, cell, column_at[at].shape)
                if value is not None:
                    values[column_at[at].path] = value
                    at_column[column_at[at].path] = at
            elif at not in found.headings:
                place = f"sheet {found.sheet}, row {row}, column {get_column_letter(at)}"
                reading.stop(place, f"{str(cell.value)[:40]} below no heading", "entries below headings", "move or delete it")
                reading.faulty.add((found.sheet, row))
        missing = [heading for heading, at in keys.items() if not names[at]]
        if missing:
            if (found.sheet, row) not in reading.faulty:
                place = f"{found.place(row)}, column {missing[0]}"
                accepted = "a name of its own" if table.form == "keys" else f"a name from the sheet {table.above}"
                reading.stop(place, "an empty cell", accepted, "fill it in, or empty the row")
            continue
        number = len(reading.rows.setdefault(table.name, []))
        reading.rows[table.name].append(Row(tuple(names), values))
        reading.origins.setdefault(table.name, []).append((found, row))
        for path, at in at_column.items():
            reading.cells[table.name, number, path] = (found, row, at)
        for at, key in key_at.items():
            reading.cells[table.name, number, ("key", str(key))] = (found, row, at)


def _read_entries(reading: _Reading, found: FoundTable, table: Table) -> None:
    """The record at the root: one row for each field, several for a list."""
    columns = {column.heading: column for column in table.columns}
    named = {heading.casefold(): at for at, heading in found.headings.items()}
    if "entry" not in named or "value" not in named:
        place = f"sheet {found.sheet}, row {found.heading_row}"
        reading.stop(place, "no heading entry or value", "the headings entry and value", "add what is missing")
        return
    values: dict[tuple[str, ...], Any] = {}
    rows: dict[tuple[str, ...], int] = {}
    for row, cells in found.rows.items():
        cell = cells.get(named["value"])
        if cell is None:
            continue
        name_cell = cells.get(named["entry"])
        name = "" if name_cell is None else str(name_cell.value).strip()
        own = _matched(name, list(columns))
        if own is None:
            nearest = difflib.get_close_matches(name, list(columns), n=1)
            remedy = f"did you mean {nearest[0]}?" if nearest else "delete the row, or correct the entry"
            reading.stop(found.place(row), f"the unknown entry {name[:40]}", ", ".join(columns), remedy)
            continue
        column = columns[own]
        shape = column.shape
        value = _cell(reading, found, row, named["value"], cell, shape.of if isinstance(shape, Several) else shape)
        if value is None:
            continue
        if isinstance(shape, Several):
            values.setdefault(column.path, []).append(value)
        elif column.path in values:
            found_words = f"a second value (the first is in row {rows[column.path]})"
            reading.stop(found.place(row, name=name), found_words, "one value", "delete one of them")
        else:
            values[column.path] = value
        rows.setdefault(column.path, row)
    if not values:
        return
    number = len(reading.rows.setdefault(table.name, []))
    reading.rows[table.name].append(Row((), values))
    reading.origins.setdefault(table.name, []).append((found, found.heading_row))
    for path, row in rows.items():
        reading.cells[table.name, number, path] = (found, row, named["value"])


def _read_grid(reading: _Reading, found: FoundTable) -> None:
    """Samples, solutions or readings: headings of the laboratory's own."""
    role: Role = next(role for role in GRIDS if role == found.name)
    used = {at for cells in found.rows.values() for at in cells}
    columns = [at for at in sorted(used | set(found.headings)) if at > 1]
    if not found.rows:
        return
    if role in reading.grids:
        place = f"sheet {found.sheet}, row {found.heading_row}"
        reading.stop(place, f"a second table {role}", f"one table {role}", "bring the rows into one table")
        return
    lines = [[found.headings.get(at, "") for at in columns]]
    rows: list[int] = []
    for row, cells in found.rows.items():
        line = []
        for at in columns:
            heading = found.headings.get(at, "")
            cell = cells.get(at)
            try:
                number = is_number_column(role, heading)
                line.append("" if cell is None else cell_text(cell, parse_heading(heading).unit, is_number=number))
            except CellFault as fault:
                reading.stop(found.place(row, at), *fault.words)
                reading.faulty.add((found.sheet, row))
                line.append("")
        if any(line):
            lines.append(line)
            rows.append(row)
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(lines)
    reading.texts[role] = text.getvalue()
    reading.grids[role] = (replace(found, headings={at: found.headings.get(at, "") for at in columns}), rows)


def _cell(
    reading: _Reading, found: FoundTable, row: int, at: int, cell: Any, shape: Scalar | Several
) -> Any:
    try:
        return value_of(cell, shape)
    except CellFault as fault:
        reading.stop(found.place(row, at), *fault.words)
        reading.faulty.add((found.sheet, row))
        return None


def _matched(heading: str, known: Sequence[str]) -> str | None:
    """The known heading, whatever its spaces; capitals count only where they tell two headings apart."""
    plain = " ".join(heading.replace("_", " ").split())
    if plain in known:
        return plain
    near = [name for name in known if name.casefold() == plain.casefold()]
    return near[0] if len(near) == 1 else None


def _keyed(heading: str, table: Table) -> Column | None:
    """The column of one key: `concentration: Ni`."""
    front, colon, key = heading.partition(":")
    for column in table.columns:
        if column.keyed and colon and key.strip() and _matched(front, [column.heading]):
            return replace(column, path=(*column.path, key.strip()), heading=heading)
    return None


def _unknown_heading(reading: _Reading, found: FoundTable, at: int, heading: str, known: Sequence[str]) -> None:
    nearest = difflib.get_close_matches(heading, known, n=1)
    remedy = f"did you mean {nearest[0]}?" if nearest else "delete the column, or correct its heading"
    place = f"sheet {found.sheet}, row {found.heading_row}, column {get_column_letter(at)}"
    reading.stop(place, f"the unknown heading {heading[:40]}", ", ".join(known), remedy)


# -- what is found afterwards, told by sheet and row -------------------------------------------------------------------


def _tell_strays(reading: _Reading, made: Assembled) -> None:
    for spot in made.strays:
        table = _TABLES[spot.table]
        found, row = reading.origins[spot.table][spot.row]
        keys = reading.rows[spot.table][spot.row].keys
        pointed = keys[:-1] if table.form == "keys" else keys
        known = sorted({" ".join(names) for names in _names_of(reading, table.above)})
        accepted = f"a row of the sheet {table.above}: {', '.join(known[:12]) or 'none yet'}"
        nearest = difflib.get_close_matches(" ".join(pointed), known, n=1)
        remedy = f"did you mean {nearest[0]}?" if nearest else "correct the name, or add the row it belongs to"
        place = f"{found.place(row)}, column {table.keys[spot.key or 0]}"
        reading.stop(place, f"{' '.join(pointed)[:60]}, which is not there", accepted, remedy)
    for spot in made.repeated:
        found, row = reading.origins[spot.table][spot.row]
        name = reading.rows[spot.table][spot.row].keys[-1]
        place = f"{found.place(row)}, column {_TABLES[spot.table].keys[-1]}"
        reading.stop(place, f"{name[:40]} a second time", "each name once", "rename or delete one of the rows")


def _names_of(reading: _Reading, name: str) -> Iterator[tuple[str, ...]]:
    table = _TABLES[name]
    if table.form == "details":
        yield from _names_of(reading, table.above)
    for row in reading.rows.get(name, []):
        yield (*row.keys, str(row.values.get((table.own,), ""))) if table.own else row.keys


def _told(
    reading: _Reading, made: Assembled, texts: Iterable[SourceText], findings: Iterable[Finding]
) -> Iterator[Finding]:
    """Findings of the documents, told by sheet and row; what follows from an unreadable cell is left out."""
    roles = {text.name: text.role for text in texts}
    words: dict[tuple[Role, str], Spot] = {}
    for (role, path), spot in made.spots.items():
        words.setdefault((role, place_words(path, made.documents[role])), spot)
    for finding in findings:
        role = roles.get(finding.file)
        if role is None:
            yield finding
            continue
        place, at = _place(reading, role, finding.place, words)
        follows = at in reading.faulty and finding.severity == "stop"
        if not follows:
            yield replace(finding, file=reading.file, place=place)


def _place(
    reading: _Reading, role: Role, place: str, words: dict[tuple[Role, str], Spot]
) -> tuple[str, tuple[str, int]]:
    """The place on the sheets, and its sheet and row."""
    if role in GRIDS:
        return _grid_place(reading, role, place)
    fitting = [
        (len(known), spot)
        for (of, known), spot in words.items()
        if of == role and (place == known or place.startswith(f"{known}, "))
    ]
    if not fitting:
        return (f"sheet {role}" if place == "whole file" else f"sheet {role}, {place}"), ("", 0)
    length, spot = max(fitting, key=lambda pair: pair[0])
    rest = place[length:].removeprefix(", ")
    found, row = reading.origins[spot.table][spot.row]
    table = _TABLES[spot.table]
    at = reading.cells.get((spot.table, spot.row, spot.column)) if spot.column is not None else None
    if table.form == "entries":
        if at is not None:
            return f"sheet {found.sheet}, row {at[1]} ({_heading(table, spot.column)})", (found.sheet, at[1])
        heading = _heading(table, _steps(table, spot, rest)) if rest else ""
        entry = f", entry {heading or rest}" if rest else ""
        return f"sheet {found.sheet}{entry}", (found.sheet, 0)
    name = _row_name(reading, table, spot.row)
    if at is not None:
        return found.place(row, at[2], name) + (f", {rest}" if rest else ""), (found.sheet, row)
    column = f", column {_heading(table, _steps(table, spot, rest)) or rest}" if rest else ""
    return found.place(row, None, name) + column, (found.sheet, row)


def _steps(table: Table, spot: Spot, rest: str) -> tuple[str, ...] | None:
    """The column that the rest of a place names: its last words are the last key."""
    steps = tuple(rest.split(", "))
    return next((column.path for column in table.columns if column.path[-len(steps) :] == steps), None)


def _heading(table: Table, path: tuple[str, ...] | None) -> str:
    if path is None:
        return ""
    return next((column.heading for column in table.columns if column.path == path), ": ".join(path).replace("_", " "))


def _row_name(reading: _Reading, table: Table, number: int) -> str:
    row = reading.rows[table.name][number]
    own = next((row.values[path] for path in (("id",), ("label",), ("number",), ("name",)) if path in row.values), "")
    return " ".join(part for part in (*row.keys, str(own)) if part)[:60]


def _grid_place(reading: _Reading, role: Role, place: str) -> tuple[str, tuple[str, int]]:
    if role not in reading.grids:
        return f"sheet {role}", ("", 0)
    found, rows = reading.grids[role]
    heading = _GRID_HEADING.match(place)
    if heading and int(heading.group(1)) <= len(found.headings):
        letter = get_column_letter(list(found.headings)[int(heading.group(1)) - 1])
        return f"sheet {found.sheet}, row {found.heading_row}, column {letter}", (found.sheet, found.heading_row)
    row = _GRID_ROW.fullmatch(place)
    if row and 0 < int(row.group(1)) <= len(rows):
        at = rows[int(row.group(1)) - 1]
        column = f", column {row.group(3)}" if row.group(3) else ""
        return found.place(at, None, row.group(2) or "") + column, (found.sheet, at)
    return f"sheet {found.sheet}" + ("" if place == "whole file" else f", {place}"), (found.sheet, 0)


