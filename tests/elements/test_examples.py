"""Examples of whole runs and of a solution: without findings, in two engines, and against plain arithmetic."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.workbooks.books import EXAMPLES, Written, written
from tests.workbooks.live_checks import assert_engines_agree_on_all, assert_open_numbers_move, spread
from tests.workbooks.test_alive import numeric_cells
from ubudget.files.workbook_reading import read_workbook

ZINC = EXAMPLES / "zinc_standard"
NAMES = [
    EXAMPLES / "well_arsenic",
    ZINC / "mass_concentration.toml",
    ZINC / "amount_concentration.toml",
    EXAMPLES / "gearbox_oil",
    EXAMPLES / "water_hardness",
]


@pytest.fixture(scope="module", params=NAMES, ids=lambda path: path.stem)
def example(request: pytest.FixtureRequest) -> Written:
    return written(request.param)


def test_no_findings(example: Written) -> None:
    assert [finding.line() for finding in example.evaluation.findings] == []
    assert [flag for result in example.evaluation.results for flag in result.flags] == []


def test_both_engines_agree_with_the_library(tmp_path: Path) -> None:
    assert_engines_agree_on_all(map(written, NAMES), tmp_path, floor=1e-13)


def test_every_open_number_moves_the_results_as_the_library_says(example: Written, tmp_path: Path) -> None:
    book, cells = example.save(tmp_path / "book.xlsx"), spread(numeric_cells(example), 90)
    # Limits of an internal standard's recovery decide about flags alone.
    assert_open_numbers_move(example, book, cells, unmoved=lambda cell: cell.heading.endswith("limit of recovery"))


def test_reading_back_gives_the_same_records(example: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings


def test_the_zinc_solution_by_hand() -> None:
    """m P/V, and over M = 65.38 g/mol: arithmetic of QUAM:2012.P1, Example A1, with the figures of the files."""
    mass, amount = (written(path).evaluation.results[0] for path in NAMES[1:3])
    m, P, V = 13.84266 - 12.84112, 0.99992, 1.0
    assert mass.value == pytest.approx(1000 * m * P / V, rel=1e-12)
    assert amount.value == pytest.approx(1000 * m * P / (65.38 * V), rel=1e-12)
    # sqrt of the sum of relative squares: two weighings of ±0.05 mg, ±0.005 mg and 0.02 mg; purity; tolerance/sqrt(6),
    # filling 0.1 mL, 3 K of 2.1e-4 1/K; and ±0.02 of 65.38 g/mol.
    weighing = 2 * ((0.05e-3) ** 2 / 3 + (0.005e-3) ** 2 / 3 + (0.02e-3) ** 2) / m**2
    volume = (0.4e-3) ** 2 / 6 + (0.1e-3) ** 2 + (3 * 2.1e-4) ** 2 / 3
    relative = weighing + (0.00005 / P) ** 2 / 3 + volume
    assert mass.standard_uncertainty == pytest.approx(mass.value * relative**0.5, rel=1e-9)
    with_weight = (relative + (0.02 / 65.38) ** 2 / 3) ** 0.5
    assert amount.standard_uncertainty == pytest.approx(amount.value * with_weight, rel=1e-9)


def test_near_the_limit_the_constant_part_and_the_blank_lead() -> None:
    """s² = s0² + (s1 x)² (QUAM:2012.P1, E.5): s0 rules below x = s0/s1, s1 above."""
    results = {result.sample: result for result in written(NAMES[0]).evaluation.results}
    lead = {sample: max(result.budget, key=lambda row: abs(row.contribution)) for sample, result in results.items()}
    assert lead["WELL-01"].symbol == "d_r.constant"
    assert lead["WELL-06"].symbol == "d_r.relative"
    recovery = next(row for row in results["WELL-06"].budget if row.symbol == "R")
    # 16 spikes, s 4.0 %, amount added 0.8 %: u = sqrt(1.0² + (0.956*0.8)²) % (Barwick and Ellison 1999).
    assert recovery.standard_uncertainty == pytest.approx((0.01**2 + (0.956 * 0.008) ** 2) ** 0.5, rel=1e-9)
    assert recovery.estimate == pytest.approx(0.956)
