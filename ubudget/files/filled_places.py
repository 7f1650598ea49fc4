"""What is found in the documents of a fill-in workbook, told by sheet, row and column."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import get_args

from openpyxl.utils.cell import get_column_letter

from ubudget.files.fault_words import place_words
from ubudget.files.filled_tables import Reading, record_tables
from ubudget.pages.fill_in_blocks import GRIDS
from ubudget.pages.fill_in_rows import Assembled, Spot
from ubudget.pages.fill_in_tables import Table
from ubudget.records.finding import Finding
from ubudget.records.records import Role, SourceText, usual_name

_GRID_ROW = re.compile(r"row ([0-9]+)(?: \((.*?)\))?(?:, (.*))?")
_GRID_HEADING = re.compile(r"heading ([0-9]+)")


def tell_strays(reading: Reading, made: Assembled) -> None:
    for spot in made.strays:
        table = record_tables()[spot.table]
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
        place = f"{found.place(row)}, column {record_tables()[spot.table].keys[-1]}"
        reading.stop(place, f"{name[:40]} a second time", "each name once", "rename or delete one of the rows")


def _names_of(reading: Reading, name: str) -> Iterator[tuple[str, ...]]:
    table = record_tables()[name]
    if table.form == "details":
        yield from _names_of(reading, table.above)
    for row in reading.rows.get(name, []):
        yield (*row.keys, str(row.values.get((table.own,), ""))) if table.own else row.keys


def told(
    reading: Reading, made: Assembled, texts: Iterable[SourceText], findings: Iterable[Finding]
) -> Iterator[Finding]:
    """Findings of the documents, told by sheet and row; what follows from an unreadable cell is left out."""
    roles: dict[str, Role] = {usual_name(role): role for role in get_args(Role)}  # of tables that are not there
    roles |= {text.name: text.role for text in texts}
    words: dict[tuple[Role, str], Spot] = {}
    for (role, path), spot in made.spots.items():
        words.setdefault((role, place_words(path, made.documents[role])), spot)
    for finding in findings:
        if finding.file not in roles:
            yield finding
            continue
        place, at = _place(reading, roles[finding.file], finding.place, words)
        follows = at in reading.faulty and finding.severity == "stop"
        if not follows:
            yield replace(finding, file=reading.file, place=place)


def _place(
    reading: Reading, role: Role, place: str, words: dict[tuple[Role, str], Spot]
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
    table = record_tables()[spot.table]
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


def _row_name(reading: Reading, table: Table, number: int) -> str:
    row = reading.rows[table.name][number]
    own = next((row.values[path] for path in (("id",), ("label",), ("number",), ("name",)) if path in row.values), "")
    return " ".join(part for part in (*row.keys, str(own)) if part)[:60]


def _grid_place(reading: Reading, role: Role, place: str) -> tuple[str, tuple[str, int]]:
    if role not in reading.grids:
        return f"sheet {role}" + ("" if place == "whole file" else f", {place}"), ("", 0)
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
