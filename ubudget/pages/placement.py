"""Where each table of the graph stands in the workbook, and how its cells are called."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from ubudget.pages.book import Band
from ubudget.quantity.graph import Column, Table
from ubudget.quantity.spelling import column_letters


@dataclass(frozen=True, eq=False)
class Placement:
    """A table as a band of a sheet: its heading stands in row `top`, its first column is `left` (both 1-based)."""

    table: Table
    sheet: str
    top: int
    left: int = 1

    @property
    def first_row(self) -> int:
        return self.top + Band.HEADING_ROWS

    @property
    def last_row(self) -> int:
        return self.first_row + self.table.size - 1

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        """The table's columns as they stand on the sheet: by rank, else in the table's order."""
        return tuple(sorted(self.table.columns, key=lambda column: column.rank))

    @cached_property
    def letters(self) -> dict[str, str]:
        return {column.name: column_letters(self.left + number) for number, column in enumerate(self.columns)}

    def row(self, number: int) -> int:
        """Sheet row of a 0-based table row."""
        return self.first_row + number

    def cell(self, column: str, number: int, from_sheet: str = "") -> str:
        """Address of one cell, with the sheet's name when seen from another sheet."""
        return f"{self.prefix(from_sheet)}{self.letters[column]}{self.row(number)}"

    def range(self, column: str, from_sheet: str = "") -> str:
        """Absolute address of a whole column of the band."""
        letter = self.letters[column]
        return f"{self.prefix(from_sheet)}${letter}${self.first_row}:${letter}${self.last_row}"

    def prefix(self, from_sheet: str) -> str:
        return "" if from_sheet == self.sheet else f"{quoted(self.sheet)}!"


Placements = Mapping[str, Placement]


def quoted(sheet: str) -> str:
    """A sheet's name as formulas write it."""
    return sheet if sheet.isidentifier() else f"'{sheet}'"
