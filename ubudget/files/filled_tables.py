"""The tables of a hand-edited fill-in workbook understood: headings matched, cells read, faults told by their place."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from openpyxl.utils.cell import get_column_letter

from ubudget.files.csv_text import parse_heading
from ubudget.files.filled_cells import CellFault, cell_text, value_of
from ubudget.files.filled_sheets import FoundTable
from ubudget.files.tables import is_number_column
from ubudget.pages.fill_in_blocks import GRIDS
from ubudget.pages.fill_in_rows import Row
from ubudget.pages.fill_in_tables import Column, Table, tables_of_records
from ubudget.records.finding import Finding
from ubudget.records.records import Role
from ubudget.records.shape import Scalar, Several


@cache
def record_tables() -> dict[str, Table]:
    """The tables of records by name; found out when first asked for, which most commands never do."""
    return {table.name: table for table in tables_of_records()}


@dataclass
class Reading:
    """What was understood of a workbook so far."""

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


def read_rows(reading: Reading, found: FoundTable, table: Table) -> None:
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
            reading.stop(
                place, f"no heading {heading}", f"the headings {', '.join([*keys, *columns])}", f"add {heading}"
            )
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
                reading.stop(
                    place, f"{str(cell.value)[:40]} below no heading", "entries below headings", "move or delete it"
                )
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


def read_entries(reading: Reading, found: FoundTable, table: Table) -> None:
    """The record at the root: one row for each field, several for a list."""
    columns = {column.heading: column for column in table.columns}
    named = {heading.casefold(): at for at, heading in found.headings.items()}
    if "entry" not in named or "value" not in named:
        place = f"sheet {found.sheet}, row {found.heading_row}"
        reading.stop(place, "no heading entry or value", "the headings entry and value", "add what is missing")
        return
    values: dict[tuple[str, ...], Any] = {}
    rows: dict[tuple[str, ...], int] = {}
    parts: dict[tuple[str, ...], list[int]] = {}
    """Rows of the parts of each list."""
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
            parts.setdefault(column.path, []).append(row)
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
    for path, listed in parts.items():
        for position, row in enumerate(listed):
            reading.cells[table.name, number, (*path, str(position))] = (found, row, named["value"])


def read_grid(reading: Reading, found: FoundTable) -> None:
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


def _cell(reading: Reading, found: FoundTable, row: int, at: int, cell: Any, shape: Scalar | Several) -> Any:
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


def _unknown_heading(reading: Reading, found: FoundTable, at: int, heading: str, known: Sequence[str]) -> None:
    nearest = difflib.get_close_matches(heading, known, n=1)
    remedy = f"did you mean {nearest[0]}?" if nearest else "delete the column, or correct its heading"
    place = f"sheet {found.sheet}, row {found.heading_row}, column {get_column_letter(at)}"
    reading.stop(place, f"the unknown heading {heading[:40]}", ", ".join(known), remedy)
