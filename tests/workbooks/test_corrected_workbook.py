"""A run with internal standard and drift: cells in two engines, and every open number changed or struck."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.engines import (
    ironcalc_variants,
    require_engine,
)
from tests.modules.corrected_run import corrected_run
from tests.workbooks.books import Written, edited, written
from tests.workbooks.live_checks import assert_engines_agree_on_all, assert_open_numbers_move, spread
from tests.workbooks.test_alive import as_edit, numeric_cells
from ubudget.files.workbook_reading import read_workbook
from ubudget.records.read_order import calibration_of

KINDS = {
    "line": {},
    "quadratic": {"more": 'curve = "quadratic"'},
    "rational": {"more": 'curve = "rational"'},
    "two points": {"more": 'curve = "two points"', "standards": ("S0", "S3"), "scatter": "pooled"},
    "errors in variables": {"more": 'standards = "errors in variables"\nstandard_u = "0.5 %"', "scatter": "own"},
}


@pytest.fixture(scope="module", params=KINDS.values(), ids=list(KINDS))
def example(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(corrected_run(tmp_path_factory.mktemp("run"), **request.param))


# Sums that a converged fit makes vanish (right sides of its last steps) hold nothing but rounding, about 1e-15.
FLOOR = 1e-13


def test_both_engines_agree_with_the_library(tmp_path_factory: pytest.TempPathFactory, tmp_path: Path) -> None:
    runs = [corrected_run(tmp_path_factory.mktemp("run"), **kind) for kind in KINDS.values()]
    assert_engines_agree_on_all(map(written, runs), tmp_path, floor=FLOOR)


def test_every_open_number_changed_or_struck(example: Written, tmp_path: Path) -> None:
    """Readings of analyte, internal standard and check, their marks, and what the method states."""
    require_engine("ironcalc")
    cells = numeric_cells(example)
    marks = {cell.origin.path[1:3] for cell in cells if cell.origin.path[0] == "include"}
    assert {("CHK", "Zn"), ("CHK", "Y"), ("SED-01", "Y"), ("S0", "Cu"), ("BL-1", "Zn")} <= marks
    file = example.save(tmp_path / "book.xlsx")
    calibration = calibration_of(example.records.method)
    if calibration is not None and calibration.curve != "line":
        cells = spread(cells)
    assert_open_numbers_move(example, file, cells, unmoved=lambda cell: "limit of recovery" in cell.heading)


def test_reading_back_gives_the_same_records(example: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings


def test_a_struck_bracket_is_not_available_and_no_error(tmp_path: Path) -> None:
    """All readings of one check left out: what was read beside it has no drift; the sheet says so as the library."""
    require_engine("ironcalc")
    example = written(corrected_run(tmp_path))
    file = example.save(tmp_path / "book.xlsx")
    struck = [
        c for c in numeric_cells(example) if c.origin.path[:3] == ("include", "CHK", "Zn") and c.origin.path[5] == 13
    ]
    assert len(struck) == 3
    (found,) = ironcalc_variants(file, [[(cell.sheet, cell.address, 0.0) for cell in struck]])
    texts = [(sheet, a, v) for sheet, cells in found.items() for a, v in cells.items() if str(v).startswith("#")]
    assert texts == []
    library = edited(example.records, [as_edit(cell, 0.0) for cell in struck])
    lost = {(result.sample, result.analyte) for result in library.results if result.value is None}
    assert lost == {("SED-03", "Zn")}
    assert sum("no reading left" in str(value) for value in found["results"].values()) == 1


def test_a_recovery_outside_is_flagged_in_the_sheet(tmp_path: Path) -> None:
    require_engine("ironcalc")
    example = written(corrected_run(tmp_path))
    (limit,) = [cell for cell in numeric_cells(example) if cell.heading == "lower limit of recovery"]
    file = example.save(tmp_path / "book.xlsx")
    (found,) = ironcalc_variants(file, [[(limit.sheet, limit.address, 99.0)]])
    library = edited(example.records, [as_edit(limit, 99.0)])
    flagged = sum("internal standard below its limits" in result.flags for result in library.results)
    assert flagged > 0
    assert sum("internal standard below its limits" in str(value) for value in found["results"].values()) == flagged
