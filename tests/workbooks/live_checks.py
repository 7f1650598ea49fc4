"""What every workbook is held to: two engines agree with the library, and each open number moves what it should."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from tests.engines import (
    assert_safe_formulas,
    compare,
    ironcalc_values,
    ironcalc_variants,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.workbooks.books import Written, edited
from tests.workbooks.test_alive import another, as_edit, differs, judges, numeric_cells
from ubudget.pages.record_sheet import OpenCell


def assert_engines_agree(example: Written, folder: Path, *, floor: float = 1e-15) -> None:
    """Both engines recalculate every formula to what the library stored."""
    require_engine("ironcalc")
    file = example.save(folder / "book.xlsx")
    assert_safe_formulas(file)
    assert compare(stored_values(file), ironcalc_values([file], timeout=120)[0], floor=floor) == []
    require_engine("libreoffice")
    assert compare(stored_values(file), libreoffice_values([file])[0], floor=floor) == []


def spread(cells: Sequence[OpenCell], most: int = 60) -> list[OpenCell]:
    """One cell of every kind (sheet, heading), then others evenly; every cell is changed in the demonstration, in the
    published examples and in small runs, kinds of cells in those that only combine them."""
    kinds = list({(cell.sheet, cell.heading): cell for cell in reversed(cells)}.values())
    left = [cell for cell in cells if cell not in kinds]
    step = max(1, -(-len(left) // max(1, most - len(kinds))))
    return [*kinds, *left[::step]]


def assert_open_numbers_move(
    example: Written,
    file: Path,
    cells: Sequence[OpenCell] | None = None,
    *,
    unmoved: Callable[[OpenCell], bool] = lambda cell: False,
) -> None:
    """Each open number changed in turn moves the results, but for those that may stay `unmoved`, and the sheet then
    gives what the library gives for the same edit."""
    require_engine("ironcalc")
    chosen = numeric_cells(example) if cells is None else cells
    wanted, before = example.result_cells(), example.result_numbers()
    (addresses,) = wanted.values()
    variants = [[(cell.sheet, cell.address, another(cell))] for cell in chosen]
    for cell, found in zip(chosen, ironcalc_variants(file, variants, wanted, timeout=300), strict=True):
        ((_, numbers),) = found.items()
        after = [float(str(numbers[address])) for address in addresses]
        where = (cell.sheet, cell.address, cell.heading, cell.row_name)
        moved = any(differs(a, b, 1e-12) for a, b in zip(after, before, strict=True))
        assert moved or unmoved(cell) or judges(cell), where
        library = edited(example.records, [as_edit(cell, another(cell))])
        again = Written(example.records, library, example.book).result_numbers()
        assert not [(a, b) for a, b in zip(after, again, strict=True) if differs(a, b, 1e-9)], where
