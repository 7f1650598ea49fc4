"""CSV text to a table of trimmed cells; separator comma, first line headings."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from itertools import pairwise

from ubudget.files.toml_text import faulty_text
from ubudget.records.finding import Finding

_HEADING_WITH_UNIT = re.compile(r"^(.*\S)\s*\[([^\[\]]*)\]$")
MOST_ROWS, MOST_CELLS = 100_000, 2_000_000
"""Of a table; a run of 60,000 results has fewer readings."""
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet program may take a text that begins with one of these for a formula (common practice, no source)."""
_COMMA_HALVES = re.compile(r"[0-9]+")


@dataclass(frozen=True)
class Heading:
    """A column heading: `gross [g]` has the key `gross` and the unit `g`; no brackets, no unit (`None`)."""

    text: str
    key: str
    unit: str | None


@dataclass(frozen=True)
class CsvTable:
    """Rows that hold nothing are left out; a row has one cell per heading."""

    headings: tuple[Heading, ...]
    rows: tuple[tuple[str, ...], ...]

    def position(self, key: str) -> int | None:
        """0-based column of a key."""
        return next((at for at, heading in enumerate(self.headings) if heading.key == key), None)

    def cell(self, row: int, key: str) -> str:
        """The trimmed cell; empty where the table has no such column."""
        at = self.position(key)
        return "" if at is None else self.rows[row][at]


def parse_heading(text: str) -> Heading:
    with_unit = _HEADING_WITH_UNIT.match(text)
    if with_unit:
        return Heading(text, with_unit.group(1), with_unit.group(2).strip())
    return Heading(text, text, None)


def parse_csv(text: str, file: str) -> tuple[CsvTable | None, list[Finding]]:
    """The table, or `None` where it has no rows and columns; all faults of its layout and cells."""
    rows: list[list[str]] = []
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for row in reader:
            cells_of_row = [cell.strip() for cell in row]
            if any(cells_of_row):
                rows.append(cells_of_row)
            if len(rows) * len(rows[0] if rows else ()) > MOST_CELLS or len(rows) > MOST_ROWS or len(row) > MOST_CELLS:
                return None, [_too_large(file)]
    except csv.Error:
        return None, [
            Finding(
                "stop",
                file,
                f"line {reader.line_num}",
                "quotes that do not close, or a cell that is far too long",
                'cells separated by commas; quotes in pairs around a cell, "" for a quote within it',
                "correct the quotes in this line or the one where they open",
            )
        ]
    if not rows:
        return None, [_finding(file, "whole file", "no text", "a line of headings and one line per row", "fill it in")]
    headings = [parse_heading(cell) for cell in _without_empty_end(rows[0])]
    if len(headings) == 1 and (";" in headings[0].text or "\t" in headings[0].text):
        return None, [_wrong_separator(headings[0], file)]
    findings = _heading_findings(headings, file)
    cells: list[tuple[str, ...]] = []
    for number, row in enumerate(rows[1:], start=1):
        row = _without_empty_end(row)
        place = row_place(number - 1, row[0] if row else "")
        if len(row) > len(headings):
            findings.append(_too_many_cells(row, headings, file, place))
        row = (row + [""] * len(headings))[: len(headings)]
        for heading, cell in zip(headings, row, strict=True):
            fault = faulty_text(cell)
            if fault is not None:
                findings.append(_finding(file, f"{place}, {heading.text}", *fault))
        cells.append(tuple(row))
    return CsvTable(tuple(headings), tuple(cells)), findings


def safe_text(words: str) -> str:
    """A text that no spreadsheet program takes for a formula."""
    return f"'{words}" if words.startswith(_FORMULA_SIGNS) else words


def names_in(cell: str) -> tuple[str, ...]:
    """The names of a cell, which stand between semicolons."""
    return tuple(part.strip() for part in cell.split(";") if part.strip())


def row_place(row: int, name: str) -> str:
    """Words for a 0-based data row: `row 3 (SED-03)`."""
    shown = "".join(character if character.isprintable() else " " for character in name[:40]).strip()
    return f"row {row + 1} ({shown})" if shown else f"row {row + 1}"


def _without_empty_end(row: list[str]) -> list[str]:
    filled = [at for at, cell in enumerate(row, start=1) if cell]
    return row[: filled[-1]] if filled else []


def _heading_findings(headings: list[Heading], file: str) -> list[Finding]:
    findings: list[Finding] = []
    seen: set[str] = set()
    for number, heading in enumerate(headings, start=1):
        place = f"heading {number}"
        if not heading.key:
            findings.append(_finding(file, place, "an empty heading", "a name", "name the column or delete it"))
        elif heading.key in seen:
            found = f'the heading "{heading.key[:40]}" a second time'
            findings.append(_finding(file, place, found, "each heading once", "rename or delete one column"))
        fault = faulty_text(heading.text)
        if fault is not None:
            findings.append(_finding(file, place, *fault))
        seen.add(heading.key)
    return findings


def _wrong_separator(heading: Heading, file: str) -> Finding:
    separator = "semicolons" if ";" in heading.text else "tabs"
    remedy = "save it as CSV with commas, and with decimal points"
    return _finding(file, "headings", f"cells separated by {separator}", "cells separated by commas", remedy)


def _too_large(file: str) -> Finding:
    found = f"a table of more than {MOST_ROWS:,} rows, or of {MOST_CELLS:,} cells"
    return _finding(file, "whole file", found, "the table of one run", "name the right file, or divide the run")


def _too_many_cells(row: list[str], headings: list[Heading], file: str, place: str) -> Finding:
    halves = any(_COMMA_HALVES.fullmatch(left[-1:]) and _COMMA_HALVES.fullmatch(right) for left, right in pairwise(row))
    return _finding(
        file,
        place,
        f"{len(row)} cells",
        f"{len(headings)} cells, as many as headings",
        "write numbers with a decimal point: a decimal comma splits a cell"
        if halves
        else "delete the cells too many, or put a text that holds a comma in quotes",
    )


def _finding(file: str, place: str, found: str, accepted: str, remedy: str) -> Finding:
    return Finding("stop", file, place, found, accepted, remedy)
