"""What every workbook is held to: two engines agree with the library, and each open number moves what it should."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
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
from tests.workbooks.books import Written
from tests.workbooks.edits_together import disagreements
from tests.workbooks.test_alive import another, as_edit, differs, judges, numbers_of, numeric_cells
from ubudget.pages.record_sheet import OpenCell


def assert_engines_agree(example: Written, folder: Path, *, floor: float = 1e-15) -> None:
    """Both engines recalculate every formula to what the library stored."""
    assert_engines_agree_on_all([example], folder, floor=floor)


def assert_engines_agree_on_all(examples: Iterable[Written], folder: Path, *, floor: float = 1e-15) -> None:
    """The same for several workbooks, which go through one call of each engine: to start LibreOffice takes as long as
    to recalculate a workbook."""
    require_engine("ironcalc")
    files = [example.save(folder / f"book{number or ''}.xlsx") for number, example in enumerate(examples)]
    for file, found in zip(files, ironcalc_values(files, timeout=120), strict=True):
        assert_safe_formulas(file)
        assert compare(stored_values(file), found, floor=floor) == [], file.name
    require_engine("libreoffice")
    for file, found in zip(files, libreoffice_values(files), strict=True):
        assert compare(stored_values(file), found, floor=floor) == [], file.name


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
    change: Callable[[OpenCell], float] = another,
) -> None:
    """Each open number changed in turn moves the results, but for those that may stay `unmoved`, and the sheet then
    gives what the library gives for the same edit."""
    require_engine("ironcalc")
    chosen = numeric_cells(example) if cells is None else cells
    wanted, before = example.result_cells(), example.result_numbers()
    variants = [[(cell.sheet, cell.address, change(cell))] for cell in chosen]
    base, *answers = numbers_of(wanted, ironcalc_variants(file, [[], *variants], wanted, timeout=300))
    for cell, after in zip(chosen, answers, strict=True):
        where = (cell.sheet, cell.address, cell.heading, cell.row_name)
        moved = any(differs(a, b, 1e-12) for a, b in zip(after, before, strict=True))
        assert moved or unmoved(cell) or judges(cell), where
    assert list(disagreements(example, [as_edit(cell, change(cell)) for cell in chosen], base, answers)) == []
