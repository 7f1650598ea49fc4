"""Changing any open number changes the results, in the cells as in the library.

LibreOffice has its say on edited cells of every sheet in `test_edited_examples.py`.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.engines import Values, ironcalc_variants, require_engine
from tests.workbooks.books import HARBOUR, PUBLISHED, Written, edited, written
from tests.workbooks.edits_together import disagreements
from ubudget.pages.record_sheet import OpenCell, open_cells
from ubudget.records.records import Edit

NO_EFFECT = {
    # GUM H.1: the sensitivity coefficients of these quantities are zero at the estimates (H.1.4), so their
    # uncertainties have no part in the first-order result.
    ("GUM-H1", "alpha_S"),
    ("GUM-H1", "theta_mean"),
    ("GUM-H1", "Delta"),
}


def judges(cell: OpenCell) -> bool:
    """Whether a cell is one that results are judged by: targets, and certificates of materials that were measured."""
    return cell.sheet == "targets" or (cell.sheet == "blanks and checks" and "certif" in cell.heading)


def numeric_cells(book: Written) -> list[OpenCell]:
    return [cell for cell in open_cells(book.book.sheets) if not isinstance(cell.value, str)]


def another(cell: OpenCell) -> float:
    """Another acceptable number for an open cell."""
    value = cell.value
    assert isinstance(value, (int, float))
    if cell.origin.path[0] == "include":
        return 1.0 - value
    if cell.origin.path[-1] == "probability":
        return 0.9 if value == 0.95 else 0.95
    if cell.origin.path[-1] == "tare":
        # A heavier vessel could leave no mass, which is a finding.
        return float(f"{value * 0.99:.12g}")
    return float(f"{value * 1.01:.12g}") if value else 0.01


def as_edit(cell: OpenCell, value: float) -> Edit:
    return Edit(cell.origin.document, cell.origin.path, value, cell.origin.unit)  # type: ignore[arg-type]


def differs(a: float, b: float, rel: float) -> bool:
    return not math.isclose(a, b, rel_tol=rel, abs_tol=1e-15)


def numbers_of(wanted: dict[str, list[str]], found: list[Values]) -> list[list[float]]:
    """The wanted numbers of each of the engine's answers, in their order."""
    return [
        [float(str(values[sheet][address])) for sheet, addresses in wanted.items() for address in addresses]
        for values in found
    ]


@pytest.mark.parametrize("path", [HARBOUR, *PUBLISHED], ids=lambda path: path.stem)
def test_every_open_number_moves_the_results_as_the_library_says(path: Path, tmp_path: Path) -> None:
    require_engine("ironcalc")
    example = written(path)
    cells = numeric_cells(example)
    assert cells
    file = example.save(tmp_path / "book.xlsx")
    wanted = example.result_cells()
    variants = [[(cell.sheet, cell.address, another(cell))] for cell in cells]
    before = example.result_numbers()
    base, *answers = numbers_of(wanted, ironcalc_variants(file, [[], *variants], wanted, timeout=300))
    for cell, after in zip(cells, answers, strict=True):
        moved = any(differs(a, b, 1e-12) for a, b in zip(after, before, strict=True))
        quantity = cell.row_name.split(" ")[0]
        unmoved = judges(cell) or (example.records.name, quantity) in NO_EFFECT
        assert moved or unmoved, (cell.sheet, cell.address, cell.row_name)
    assert list(disagreements(example, [as_edit(cell, another(cell)) for cell in cells], base, answers)) == []


def test_the_budget_sheet_follows_the_choice(tmp_path: Path) -> None:
    """For every result: the table's own sum of squares is the combined standard uncertainty, shares add to one."""
    require_engine("ironcalc")
    example = written(HARBOUR)
    file = example.save(tmp_path / "book.xlsx")
    root, share = "B15", "B16"
    results = example.evaluation.results
    variants = [[("budget", "B4", r.sample), ("budget", "B5", f"{r.analyte} {r.line}")] for r in results]
    answers = ironcalc_variants(file, variants, {"budget": ["B6", "B9", root, share, "B7"]}, timeout=120)
    for number, (result, found) in enumerate(zip(results, answers, strict=True)):
        cells = found["budget"]
        assert cells["B6"] == number + 1
        assert result.standard_uncertainty is not None
        assert math.isclose(float(str(cells["B9"])), result.standard_uncertainty, rel_tol=1e-12)
        assert math.isclose(float(str(cells[root])), result.standard_uncertainty, rel_tol=1e-9)
        assert math.isclose(float(str(cells[share])), 1.0, rel_tol=1e-9)


def test_an_impossible_choice_says_so(tmp_path: Path) -> None:
    require_engine("ironcalc")
    file = written(HARBOUR).save(tmp_path / "book.xlsx")
    (found,) = ironcalc_variants(file, [[("budget", "B4", "no such sample")]], {"budget": ["B6", "B7", "A28"]})
    assert found["budget"]["B6"] == 0
    assert found["budget"]["B7"] == "no such result"


def test_striking_all_readings_of_a_line_gives_no_error_anywhere(tmp_path: Path) -> None:
    """The result says that it is not available; every other cell stays a number or empty."""
    require_engine("ironcalc")
    example = written(HARBOUR)
    file = example.save(tmp_path / "book.xlsx")
    marks = [cell for cell in numeric_cells(example) if cell.origin.path[:4] == ("include", "SED-01", "Cu", "324.754")]
    assert len(marks) == 3
    (found,) = ironcalc_variants(file, [[(cell.sheet, cell.address, 0.0) for cell in marks]])
    for sheet, cells in found.items():
        errors = {a: v for a, v in cells.items() if isinstance(v, str) and v.startswith("#")}
        assert not errors, (sheet, errors)
    row = next(n for n, r in enumerate(example.evaluation.results) if (r.sample, r.line) == ("SED-01", "324.754"))
    results = next(sheet for sheet in example.book.sheets if sheet.name == "results").bands[0]
    assert found["results"][f"D{results.first_row + row}"] == "not available"
    assert "no reading left" in str(found["results"][f"K{results.first_row + row}"])
    library = edited(example.records, [as_edit(cell, 0.0) for cell in marks])
    assert library.results[row].value is None
    assert "no reading left" in library.results[row].flags[0]
