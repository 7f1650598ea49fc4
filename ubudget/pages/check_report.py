"""What was found on checking a workbook, for people and for programs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from ubudget.pages.cells_as_read import CellValue

Kind = Literal["input", "filled", "choice", "signature", "other"]
"""`input`: a field of the records; `filled`: a cell that waits to be filled; `choice`: what a sheet shows; `signature`:
a field that people fill by hand."""


FORMULA, LOCKED, STORED = "formula", "text, heading or fixed number", "stored value"
"""What a cell is whose difference needs no more words."""


@dataclass(frozen=True)
class Field:
    """What an open cell shows."""

    kind: Kind
    heading: str
    row: str
    """The texts that name its row."""
    record: str
    """The field of the records, in words."""

    @property
    def words(self) -> str:
        said = self.heading + (f", {self.row}" if self.row else "")
        return said + (f" ({self.record})" if self.record else "")


@dataclass(frozen=True)
class Difference:
    """What stands in a cell, or around cells, and what should."""

    sheet: str
    cell: str
    expected: CellValue
    """Formula text, with the sign = before it, or content; nothing where nothing was issued."""
    found: CellValue
    what: str

    def as_json(self) -> dict[str, Any]:
        return {
            "sheet": self.sheet,
            "cell": self.cell,
            "expected": self.expected,
            "found": self.found,
            "what": self.what,
        }


@dataclass(frozen=True)
class EditedInput(Difference):
    """An open cell that holds something else than when the workbook was issued."""

    field: Field

    def as_json(self) -> dict[str, Any]:
        return {**super().as_json(), "kind": self.field.kind, "field": self.field.record}


@dataclass(frozen=True)
class Report:
    """How a workbook differs from what ubudget made; empty lists where it does not."""

    edited_inputs: tuple[EditedInput, ...] = ()
    broken_formulas: tuple[Difference, ...] = ()
    altered_cells: tuple[Difference, ...] = ()
    """Locked texts, headings and numbers."""
    structure: tuple[Difference, ...] = ()
    """Rows, sheets, protection, names, lists, formats, and what came from outside."""
    disagreements: tuple[Difference, ...] = ()
    """Stored values that are not the library's for the inputs as they stand."""
    not_calculated: bool = False
    """Stored values are absent, or older than an edited input; `disagreements` is then empty."""
    not_compared: tuple[str, ...] = ()
    """What could not be compared, and why, one line each."""
    program: str = ""
    """The program that wrote the workbook, as it says itself."""
    records_fingerprint: str = ""
    """SHA-256 of the original records that the workbook holds, calculated."""
    plan_fingerprint: str = ""
    """SHA-256 of the formulas and texts that this program plans for these records."""
    descent: tuple[str, ...] = ()
    """Where another fingerprint was asked for: what differs, one line each."""

    @property
    def intact(self) -> bool:
        """Whether the workbook still is what ubudget made, but for its open cells."""
        return not (self.broken_formulas or self.altered_cells or self.structure or self.disagreements)

    @property
    def unchanged(self) -> bool:
        """Whether there is nothing at all to look at."""
        return self.intact and not (self.edited_inputs or self.not_calculated or self.not_compared or self.descent)

    def as_json(self) -> dict[str, Any]:
        return {
            "intact": self.intact,
            "edited_inputs": [each.as_json() for each in self.edited_inputs],
            "broken_formulas": [each.as_json() for each in self.broken_formulas],
            "disagreements": [each.as_json() for each in self.disagreements],
            "not_calculated": self.not_calculated,
            "altered_cells": [each.as_json() for each in self.altered_cells],
            "structure": [each.as_json() for each in self.structure],
            "not_compared": list(self.not_compared),
            "descent": list(self.descent),
            "program": self.program,
            "records_fingerprint": self.records_fingerprint,
            "plan_fingerprint": self.plan_fingerprint,
        }
