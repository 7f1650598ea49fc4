"""Recovery factors that share a study or a certified value: covariance between their results (GUM 5.2.2, F.1.2.3).

The same figures are evaluated twice: as one study of all matrices, and as one for each matrix. Value, u and degrees of
freedom of each result are then the same, and the covariance differs by w_A w_B times that of what is shared, calculated
with the package `uncertainties` from raw figures. All figures are invented."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from uncertainties import covariance_matrix as covariance_of
from uncertainties import nominal_value, ufloat

from tests.agreement.test_uncertainties import Walk, assert_walk_agrees
from tests.findings.small_run import METHOD, REGISTER, SAMPLES, write_run
from tests.workbooks.books import Written, evaluated
from tests.workbooks.live_checks import assert_engines_agree_on_all, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.evaluation import covariance
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.reading import read_records
from ubudget.pages.plan import plan_book

MATRICES = ("silt", "peat")
MATERIAL = """[[symbols.R.reference_material]]
measured = "82.4 mg/kg"
s = "2.1 mg/kg"
n = 6
certified = "84.6 mg/kg"
U = "2.2 mg/kg"
k = 2

"""
SPIKES = """[[symbols.R.spike]]
matrix = "silt"
recovered = "4.85 mg/L"
s = "0.12 mg/L"
n = 9
added = "5.00 mg/L"
added_u = "0.6 %"

[[symbols.R.spike]]
matrix = "peat"
recovered = "4.61 mg/L"
s = "0.15 mg/L"
n = 7
added = "5.00 mg/L"
added_u = "0.5 %"

"""
EACH = "".join(MATERIAL.replace("measured", f'matrix = "{matrix}"\nmeasured', 1) for matrix in MATRICES)
"""The same figures as two studies, with two certified values."""
BY_ITEM = MATERIAL[: MATERIAL.index("certified")] + 'item = "RM-1"\nanalyte = "Zn"\n\n'
ONE_VALUE = "".join(BY_ITEM.replace("measured", f'matrix = "{matrix}"\nmeasured', 1) for matrix in MATRICES)
"""Two studies of one certified value of the register."""
ITEM = """
[[reference_material]]
id = "RM-1"
kind = "matrix reference material"
description = "invented sediment"
lot = "L1"

[[reference_material.certificate]]
number = "C-1"
issuer = "Invented producer"
issued = 2025-03-04
due = 2028-03-04

[[reference_material.certificate.property]]
analyte = "Zn"
value = "84.6 mg/kg"
U = "2.2 mg/kg"
k = 2
"""
TREATMENTS = ("corrected", "not significant", "uncorrected, widened")


def run(folder: Path, studies: str, combine: str = "product", treatment: str = "corrected") -> Evaluation:
    folder.mkdir(exist_ok=True)
    own = METHOD[METHOD.index("[symbols.R]") : METHOD.index("[effects]")]
    symbol = (
        '[symbols.R]\noperation = "recovery"\nquantity = "recovery"\n'
        f'treatment = "{treatment}"\ncombine = "{combine}"\n\n{studies}'
    )
    rows = [line.split(",") for line in SAMPLES.splitlines()]
    names = ("matrix", *MATRICES, "", "")
    samples = "\n".join(",".join([*row, name]) for row, name in zip(rows, names, strict=True)) + "\n"
    method = METHOD.replace(own, symbol).replace("/m*F*R", "/(m*R)*F")
    write_run(folder, method=method, samples=samples, register=REGISTER + ITEM)
    records, findings = read_records(folder)
    assert records is not None, [finding.line() for finding in findings]
    return evaluated(records)


def off_diagonal(evaluation: Evaluation) -> float:
    return float(covariance.covariance_matrix(evaluation.propagated, evaluation.numbers)[0][1])


def factors(found: tuple[Any, Any], certified: tuple[Any, Any], combine: str) -> list[Any]:
    """R of each matrix from material and spike, by the published ways to combine them."""
    n9, n7 = 9**0.5, 7**0.5
    spikes = [
        ufloat(4.85, 0.12 / n9) / ufloat(5, 0.03),
        ufloat(4.61, 0.15 / n7) / ufloat(5, 0.025),
    ]
    materials = [x / reference for x, reference in zip(found, certified, strict=True)]
    if combine == "product":
        return [a * b for a, b in zip(materials, spikes, strict=True)]
    return [
        (a / a.std_dev**2 + b / b.std_dev**2) / (1 / a.std_dev**2 + 1 / b.std_dev**2)
        for a, b in zip(materials, spikes, strict=True)
    ]


FOUND, CERTIFIED = (82.4, 2.1 / 6**0.5), (84.6, 1.1)


@pytest.mark.parametrize("treatment", TREATMENTS)
@pytest.mark.parametrize("combine", ["product", "weighted mean"])
@pytest.mark.parametrize("shared", ["study", "certified value"])
def test_results_covary_by_what_their_recoveries_share(
    shared: str, combine: str, treatment: str, tmp_path: Path
) -> None:
    apart = run(tmp_path / "apart", EACH + SPIKES, combine, treatment)
    together = run(tmp_path / "together", (MATERIAL if shared == "study" else ONE_VALUE) + SPIKES, combine, treatment)
    for one, other in zip(together.results, apart.results, strict=True):
        assert one.value == pytest.approx(other.value, rel=1e-12)
        assert one.standard_uncertainty == pytest.approx(other.standard_uncertainty, rel=1e-12)
        assert one.effective_degrees_of_freedom == pytest.approx(other.effective_degrees_of_freedom, rel=1e-9)
    found, certified = ufloat(*FOUND), ufloat(*CERTIFIED)
    both = (found, found) if shared == "study" else (found, ufloat(*FOUND))
    R = factors(both, (certified, certified), combine)
    # Weights are constants of propagation; the factor is 1 where it is not corrected, with the deviation of R.
    corrected = treatment == "corrected"
    R_used = [r if corrected else 1 + (r - nominal_value(r)) for r in R]
    w = [float(result.value or 0) * nominal_value(r) / r for result, r in zip(together.results, R_used, strict=True)]
    expected = covariance_of(w)[0][1]
    assert expected != 0
    assert off_diagonal(together) - off_diagonal(apart) == pytest.approx(expected, rel=1e-6)
    assert_walk_agrees(together, Walk(together))


def test_recoveries_that_share_nothing_are_one_row_each(tmp_path: Path) -> None:
    for result in run(tmp_path, EACH + SPIKES).results:
        assert [row.symbol for row in result.budget if row.group == "recovery"] == ["R"]


def test_what_is_shared_has_rows_of_its_own(tmp_path: Path) -> None:
    evaluation = run(tmp_path, MATERIAL + SPIKES)
    for result in evaluation.results:
        rows = [row for row in result.budget if row.group == "recovery"]
        assert {row.symbol.partition(" ")[0] for row in rows} == {"R.found", "R.reference"}
        assert len(rows) == 4
        # Mean of six, s 2.1 mg/kg of 82.4 mg/kg, and 1.1 mg/kg of 84.6 mg/kg.
        assert rows[0].standard_uncertainty == pytest.approx(2.1 / 6**0.5 / 82.4, rel=1e-12)
        assert rows[0].degrees_of_freedom == 5
        assert any(row.standard_uncertainty == pytest.approx(1.1 / 84.6, rel=1e-12) for row in rows)


TREATMENTS = {"product": "corrected", "weighted mean": "uncorrected, widened"}


def written(folder: Path, way: str) -> Written:
    evaluation = run(folder, MATERIAL + SPIKES, way, TREATMENTS[way])
    return Written(evaluation.assembly.records, evaluation, plan_book(evaluation))


@pytest.fixture(scope="module", params=TREATMENTS)
def book(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(tmp_path_factory.mktemp("shared"), request.param)


def test_both_engines_agree_with_the_library(tmp_path_factory: pytest.TempPathFactory, tmp_path: Path) -> None:
    books = [written(tmp_path_factory.mktemp("shared"), way) for way in TREATMENTS]
    assert_engines_agree_on_all(books, tmp_path)


def test_every_open_number_of_the_studies_moves_the_results(book: Written, tmp_path: Path) -> None:
    cells = [cell for cell in numeric_cells(book) if "R" in cell.origin.path]
    fields = {str(cell.origin.path[-1]) for cell in cells}
    assert {"measured", "s", "n", "certified", "U", "k", "recovered", "added", "added_u"} <= fields
    assert_open_numbers_move(book, book.save(tmp_path / "book.xlsx"), cells)
