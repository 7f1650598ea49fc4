"""A workbook as it was read from its file, without judgement: cells, and what stands around them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from ubudget.quantity.spelling import column_letters, column_number

CellValue = float | str | None
"""A number (days are numbers), a text, or nothing; the empty text is nothing. Truths are the texts TRUE and FALSE."""


class CellAsRead(NamedTuple):
    formula: str | None
    """Without the sign = before it; `{…}` for a formula entered over an array."""
    value: CellValue
    """The stored value, or the content where there is no formula."""
    locked: bool = True


EMPTY = CellAsRead(None, None)


class Area(NamedTuple):
    """Cells from one corner to the other, 1-based, both included."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def cells(self) -> int:
        return (self.right - self.left + 1) * (self.bottom - self.top + 1)

    def holds(self, column: int, row: int) -> bool:
        return self.left <= column <= self.right and self.top <= row <= self.bottom


class RuleAsRead(NamedTuple):
    """A drop-down list or a conditional format: where it holds, and what it says."""

    areas: tuple[Area, ...]
    kind: str
    formulas: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class SheetAsRead:
    name: str
    cells: Mapping[str, CellAsRead]
    """By address, `B4`; cells that are empty and locked may be left out."""
    visible: bool = True
    protected: bool = True
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    lists: tuple[RuleAsRead, ...] = ()
    conditions: tuple[RuleAsRead, ...] = ()
    dated: frozenset[str] = field(default=frozenset())
    """Open cells whose number is shown as a date."""

    def cell(self, address: str) -> CellAsRead:
        return self.cells.get(address, EMPTY)

    @cached_property
    def rows(self) -> dict[int, dict[int, CellAsRead]]:
        """The cells by row and column, in order; empty ones left out."""
        found: dict[int, dict[int, CellAsRead]] = {}
        for address, cell in self.cells.items():
            if cell.formula is not None or cell.value is not None:
                column, row = place_of(address)
                found.setdefault(row, {})[column] = cell
        return {row: dict(sorted(found[row].items())) for row in sorted(found)}


@dataclass(frozen=True, eq=False)
class BookAsRead:
    sheets: tuple[SheetAsRead, ...]
    names: Mapping[str, str] = field(default_factory=dict)
    """Defined names → what they stand for; names of one sheet as `sheet!name`."""
    foreign: tuple[str, ...] = ()
    """What no workbook of ours has: macros, links to other files …, each in words."""

    @cached_property
    def by_name(self) -> dict[str, SheetAsRead]:
        return {sheet.name: sheet for sheet in self.sheets}

    def cell(self, sheet: str, address: str) -> CellAsRead:
        """A cell; an empty one where there is none, or no such sheet."""
        return self.by_name[sheet].cell(address) if sheet in self.by_name else EMPTY


def place_of(address: str) -> tuple[int, int]:
    """Column and row, 1-based, of an address."""
    letters = address.rstrip("0123456789")
    return column_number(letters), int(address[len(letters) :])


def address_of(column: int, row: int) -> str:
    return f"{column_letters(column)}{row}"
