"""The table within an export: headings, rows of data, and what stands about them."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from ubudget.files.export_text import ExportText, Row
from ubudget.files.fault_words import shown
from ubudget.records.finding import Finding
from ubudget.records.import_mapping import Mapping


@dataclass(frozen=True)
class DataRow:
    number: int
    cells: tuple[str, ...]
    block: str
    """What `block_label` named last above this row."""


@dataclass(frozen=True)
class ExportTable:
    headings: tuple[str, ...]
    """Empty where the export has none."""
    units: tuple[str, ...]
    """Of the columns, from the line below the headings; empty without one."""
    rows: tuple[DataRow, ...]
    text_rows: tuple[Row, ...]
    """Lines of text among or behind the data."""
    head: int
    """Lines above the headings."""
    repeated: int
    """Lines that repeat the headings."""
    blocks: int
    """Lines that name the solution of the rows below."""


def plain(text: str) -> str:
    """A heading or unit as it is compared: signs of one meaning alike, single blanks."""
    return " ".join(unicodedata.normalize("NFKC", text).split())


def table_of(export: ExportText, mapping: Mapping) -> tuple[ExportTable | None, list[Finding]]:
    """The table, or `None` with what is wrong with its headings."""
    headed = _headings(export, mapping)
    if isinstance(headed, Finding):
        return None, [headed]
    at, headings = headed
    findings = list(_twice(headings, export.file))
    rows: list[DataRow] = []
    texts: list[Row] = []
    long: list[Row] = []
    repeated, blocks, block = 0, 0, ""
    same = tuple(plain(cell) for cell in headings)
    for row in export.rows[:at]:
        block = _block(row, mapping) or block
    below = export.rows[at + 1 if headings else at :]
    units: tuple[str, ...] = ()
    if mapping.unit_row and headings and below:
        units, below = (*below[0].cells, *[""] * (len(headings) - len(below[0].cells))), below[1:]
    below_headings = _without_empty_end(units) or None
    for row in below:
        cells = _without_empty_end(row.cells)
        named = _block(row, mapping)
        if named is not None:
            block, blocks = named, blocks + 1
        elif headings and (tuple(plain(cell) for cell in cells) == same or (repeated and cells == below_headings)):
            repeated += 1
        elif _is_text(row, cells, mapping):
            texts.append(row)
        elif headings and len(cells) > len(headings):
            long.append(row)
        else:
            filled = (*row.cells, *[""] * (len(headings) - len(row.cells)))
            rows.append(DataRow(row.number, filled, block))
    if long:
        more = f" (and so {len(long) - 1} more lines)" if len(long) > 1 else ""
        found = f"{len(_without_empty_end(long[0].cells))} cells under {len(headings)} headings{more}"
        accepted = "one cell under each heading"
        remedy = "export with another separator: a decimal comma may split a cell; or put texts in quotes"
        findings.append(Finding("stop", export.file, f"line {long[0].number}", found, accepted, remedy))
    if not rows and not findings:
        findings.append(Finding("stop", export.file, "whole file", "no row of data", "rows of readings", "export anew"))
    return (
        None if findings else ExportTable(headings, units, tuple(rows), tuple(texts), at, repeated, blocks)
    ), findings


def wanted_headings(mapping: Mapping) -> list[str]:
    """Headings that the mapping names; those of the wide form among the lines are not needed to find the row."""
    columns = mapping.columns
    named = [getattr(columns, key) for key in type(columns).__dataclass_fields__ if key != "replicates"]
    return [place for place in (*named, *columns.replicates) if isinstance(place, str)]


def _headings(export: ExportText, mapping: Mapping) -> tuple[int, tuple[str, ...]] | Finding:
    """Position of the headings among the rows, and the headings; (0, ()) where the export has none."""
    file, wanted = export.file, [plain(name) for name in wanted_headings(mapping)]
    if mapping.heading_row is not None:
        if mapping.heading_row == 0:
            if wanted or mapping.layout == "wide":
                found = f"headings in the mapping ({', '.join(wanted) or 'wide'}), where it says there are none"
                return Finding("stop", file, "headings", found, "columns by position", "correct the mapping")
            return 0, ()
        for at, row in enumerate(export.rows):
            if row.number == mapping.heading_row:
                return _with_all(at, row, wanted, file)
        found = f"nothing in line {mapping.heading_row}"
        return Finding("stop", file, "headings", found, "the line of the headings", "correct heading_row")
    if not wanted:
        remedy = "add heading_row = … to the mapping; 0 where the export has no headings"
        return Finding("stop", file, "headings", "columns by position alone", "the line of the headings", remedy)
    best: tuple[int, Row] | None = None
    most = 0
    for at, row in enumerate(export.rows):
        cells = {plain(cell) for cell in row.cells}
        there = sum(name in cells for name in wanted)
        if there == len(set(wanted)) or there == len(wanted):
            return at, tuple(_without_empty_end(row.cells))
        if there > most:
            best, most = (at, row), there
    if best is None:
        found = f"no line with the headings {', '.join(wanted)}"
        return Finding("stop", file, "headings", found, "the headings of the mapping", "correct the mapping")
    return _with_all(*best, wanted, file)


def _with_all(at: int, row: Row, wanted: list[str], file: str) -> tuple[int, tuple[str, ...]] | Finding:
    cells = {plain(cell) for cell in row.cells}
    lacking = [name for name in wanted if name not in cells]
    if lacking:
        found = f"no column {shown(lacking[0])} among {', '.join(sorted(cells - {''}))[:120]}"
        return Finding("stop", file, f"headings, line {row.number}", found, "the mapping's headings", "correct either")
    return at, tuple(_without_empty_end(row.cells))


def _twice(headings: tuple[str, ...], file: str) -> Iterator[Finding]:
    seen: set[str] = set()
    for heading in headings:
        name = plain(heading)
        if name and name in seen:
            remedy = "export it under names of their own, or name columns by position"
            yield Finding("stop", file, "headings", f"{shown(heading)} a second time", "each heading once", remedy)
        seen.add(name)


def _block(row: Row, mapping: Mapping) -> str | None:
    """The solution that a line names for the rows below it."""
    if not mapping.block_label or not row.cells[0].startswith(mapping.block_label):
        return None
    rest = row.cells[0][len(mapping.block_label) :].strip()
    return rest or next((cell for cell in row.cells[1:] if cell), "")


def _is_text(row: Row, cells: tuple[str, ...], mapping: Mapping) -> bool:
    """A line of words or dashes, not of cells."""
    if len(row.cells) == 1:
        return True
    filled = [cell for cell in cells if cell]
    return len(filled) == 1 and not filled[0].strip("-=*_ .")


def _without_empty_end(cells: tuple[str, ...]) -> tuple[str, ...]:
    filled = [at for at, cell in enumerate(cells, start=1) if cell]
    return cells[: filled[-1]] if filled else ()
