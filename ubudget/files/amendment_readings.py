"""Readings that an amendment names: rows of the raw table, single readings, what was left out already."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from ubudget.files.csv_text import CsvTable
from ubudget.files.fault_words import shown
from ubudget.files.tables import number_in
from ubudget.records.read_order import positions_of
from ubudget.records.run import Reading

Single = tuple[int, int]
"""0-based row of the readings, and the replicate counted from 1."""


@dataclass(frozen=True)
class Fault:
    found: str
    accepted: str
    remedy: str


def bare_readings(table: CsvTable) -> list[Reading]:
    """The rows of the table with their labels alone."""
    columns = [table.position(key) for key in ("solution", "analyte", "line", "position", "block")]
    rows = []
    for row, cells in enumerate(table.rows):
        solution, analyte, line, place, block = ("" if at is None else cells[at] for at in columns)
        position = int(place) if place.isascii() and place.isdigit() else None
        rows.append(Reading(row, solution, analyte, line, (), position=position, block=block))
    return rows


def matching_rows(
    table: CsvTable, solution: str, analyte: str, line: str, position: int | None, block: str
) -> list[int]:
    """Rows of a solution; analyte, line, position and block may be any where they are not given."""
    wanted = {"solution": solution, "analyte": analyte, "line": line, "block": block}
    asked = [(at, label) for key, label in wanted.items() if label and (at := table.position(key)) is not None]
    rows = [row for row, cells in enumerate(table.rows) if solution and all(cells[at] == label for at, label in asked)]
    if position is None or not rows:
        return rows
    places = positions_of(bare_readings(table))
    return [row for row in rows if places[row] == position]


def reading_rows(
    table: CsvTable, solution: str, analyte: str, line: str, position: int | None, block: str
) -> list[int] | Fault:
    """The one row that is named."""
    rows = matching_rows(table, solution, analyte, line, position, block)
    if len(rows) == 1:
        return rows
    named = " ".join(part for part in (solution, analyte, line) if part)
    if not rows:
        return Fault(f"no readings of {shown(named)}", "readings of the table readings", "correct the labels")
    readings = [bare_readings(table)[row] for row in rows]
    lines = dict.fromkeys(f"{reading.analyte} {reading.line}".strip() for reading in readings)
    if len(lines) > 1:
        several = ", ".join(lines)
    elif len({reading.block for reading in readings}) == len(readings):
        several = "block " + ", ".join(reading.block for reading in readings)
    else:
        places = positions_of(bare_readings(table))
        several = "position " + ", ".join(str(places[row]) for row in rows)
    return Fault(f"{shown(named)}, which has {len(rows)} rows of readings", several, "name one of them")


def values_of(table: CsvTable, row: int) -> dict[int, float]:
    """Replicate -> reading of a row; a cell that holds no number is left to the validation of the table."""
    values = {}
    for heading, cell in zip(table.headings, table.rows[row], strict=True):
        if heading.key[:1] == "r" and heading.key[1:].isdigit() and cell:
            try:
                values[int(heading.key[1:])] = number_in(cell)
            except ValueError:
                continue
    return values


def singles_of(
    table: CsvTable, rows: Collection[int], replicate: int | None, what: str
) -> tuple[tuple[Single, ...], Fault | None]:
    """The single readings of rows, or the one replicate of them."""
    found = [(row, number) for row in rows for number in values_of(table, row) if replicate in (None, number)]
    if found:
        return tuple(found), None
    if table.position("mean") is not None:
        return (), Fault(f"{what}, of which only mean, s and n are given", "single readings", "give the replicates")
    return (), Fault(f"{what}, which was not read", "a reading of the table readings", "correct the replicate")


def raw_key(table: CsvTable, entry: dict[str, Any]) -> Single | None:
    """The reading that an entry `exclude_reading` of the run names, where there is one."""
    names = [entry.get(key, "") for key in ("solution", "analyte", "line", "block")]
    replicate, position = entry.get("replicate"), entry.get("position")
    if not all(isinstance(name, str) for name in names) or not isinstance(replicate, int):
        return None
    rows = [
        row
        for row in matching_rows(
            table, names[0], names[1], "", position if isinstance(position, int) else None, names[3]
        )
        if table.cell(row, "line") == names[2] and replicate in values_of(table, row)
    ]
    return (rows[0], replicate) if len(rows) == 1 else None
