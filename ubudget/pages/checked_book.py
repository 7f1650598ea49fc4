"""A workbook as issued, and its open cells as they stand now."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

from ubudget.pages.cells_as_read import EMPTY, BookAsRead, CellAsRead, SheetAsRead
from ubudget.pages.check_report import Field
from ubudget.pages.checking_cells import SheetFindings, in_place
from ubudget.pages.checking_rows import UNMOVED, Moves


@dataclass(frozen=True, eq=False)
class Issued:
    """A workbook as issued."""

    book: BookAsRead
    fields: Mapping[tuple[str, str], Field]
    """Open cells by sheet and address: what each of them shows."""
    spare: bool = False
    """Whether rows wait to be filled: what follows them has no stored value as issued."""

    @cached_property
    def calculated(self) -> int:
        """Formulas that show something."""
        return sum(
            cell.formula is not None and cell.value is not None
            for sheet in self.book.sheets
            for cell in sheet.cells.values()
        )

    @cached_property
    def in_place(self) -> Callable[[SheetAsRead, SheetAsRead], SheetFindings]:
        """What differs on a sheet where nothing moved; sheets that stay as they were are compared once."""
        return lru_cache(maxsize=64)(in_place)


@dataclass(frozen=True, eq=False)
class Changes:
    """Open cells as they stand, whatever moved since."""

    issued: Issued
    found: BookAsRead
    moves: Moves
    edited: tuple[tuple[str, str], ...]
    """Sheet and address, as issued, of open cells that hold something else."""

    def sheet(self, issued: str) -> SheetAsRead | None:
        return self.found.by_name.get(self.moves.names.get(issued, ""))

    def stands(self, sheet: str, address: str) -> CellAsRead:
        """What stands now in a cell as issued."""
        there, place = self.sheet(sheet), self.place(sheet, address)
        return EMPTY if there is None or place is None else there.cell(place)

    def place(self, sheet: str, address: str) -> str | None:
        """Where a cell as issued stands now."""
        return self.moves.shifts.get(sheet, UNMOVED).address(address)
