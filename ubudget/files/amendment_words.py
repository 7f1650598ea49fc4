"""Words for what an amendment amends, and the samples and solutions that it touches."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ubudget.files.amendment_readings import bare_readings
from ubudget.files.csv_text import CsvTable
from ubudget.files.editing import Document
from ubudget.records.amendments import Amendment, ReadingKey
from ubudget.records.read_order import positions_of
from ubudget.records.records import Role


def what_of(amendment: Amendment, earlier: Mapping[int, str]) -> str:
    """What it amends: `reading 2 of SED-05, Pb 220.353`; `earlier` names those that an undo may name."""
    line = " ".join(part for part in (amendment.analyte, amendment.line) if part)
    named = ", ".join(part for part in (amendment.solution, line) if part)
    if amendment.position is not None:
        named += f" at position {amendment.position}"
    if amendment.block:
        named += f" in block {amendment.block}"
    if amendment.act == "undo":
        what = earlier.get(amendment.undoes or 0, "")
        return f"amendment {amendment.undoes}, {what}" if what else f"amendment {amendment.undoes}"
    if amendment.act == "relabel":
        return f"label {amendment.was}"
    if amendment.act == "change":
        of = named if amendment.record == "readings" else amendment.entry
        row = {"samples": "sample", "solutions": "solution", "readings": "readings of"}.get(amendment.record or "", "")
        return ", ".join(part for part in (f"{row} {of}" if row else str(amendment.record), amendment.field) if part)
    if amendment.replicate is None:
        return f"solution {named}, all readings"
    return f"reading {amendment.replicate} of {named}"


def reading_keys(
    readings: CsvTable, singles: Iterable[tuple[int, int]], checks: frozenset[str]
) -> tuple[ReadingKey, ...]:
    """Labels of single readings; those of the drift check with their position."""
    keys: list[ReadingKey] = []
    places: list[int] = []
    for row, replicate in singles:
        solution, analyte, line = (readings.cell(row, key) for key in ("solution", "analyte", "line"))
        if solution in checks:
            places = places or positions_of(bare_readings(readings))
        place = places[row] if solution in checks else None
        keys.append((solution, analyte, line, replicate, place, readings.cell(row, "block")))
    return tuple(keys)


def check_labels(method: Document | None) -> frozenset[str]:
    """Solutions that follow the drift, whose readings are named with their position."""
    symbols = method.get("symbols") if isinstance(method, dict) else None
    tables = symbols.values() if isinstance(symbols, dict) else ()
    drifts = [table.get("drift") for table in tables if isinstance(table, dict)]
    checks = [drift.get("check") for drift in drifts if isinstance(drift, dict)]
    return frozenset(check for check in checks if isinstance(check, str))


def solution_of(documents: Mapping[Role, Document], role: Role, row: int) -> str:
    """The solution that a row of a table is about."""
    table = documents[role]
    assert isinstance(table, CsvTable)
    if table.cell(row, "solution") or role != "samples":
        return table.cell(row, "solution")
    sample = table.cell(row, "sample")
    several = sum(table.cell(other, "sample") == sample for other in range(len(table.rows))) > 1
    return f"{sample}/{table.cell(row, 'portion') or '1'}" if several else sample
