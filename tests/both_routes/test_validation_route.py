"""The second route: u² = u(Rw)² + u(bias)² of ISO 11352 by hand, both routes side by side, cells, chains, bad input."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.findings.small_run import METHOD, write_run
from tests.workbooks.books import Written, written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.evaluation.covariance import covariance_matrix
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.evaluation.traceability import chain_of
from ubudget.files.reading import read_records
from ubudget.pages.statement import statement

ROUTE = """
[validation]
reported = {reported}
review = 2027-01-01

[[validation.for]]
level_to = "150 mg/kg"
u_Rw = "3.1 mg/kg"
dof_Rw = 24
u_bias = "1.2 mg/kg"
source = "ST-1"

[[validation.for]]
level_from = "150 mg/kg"
u_Rw = "2.6 %"
dof_Rw = 31
u_bias = "2.1 %"
dof_bias = 5
source = "ST-2"
"""


def written_with(folder: Path, route: str) -> Written:
    return written(write_run(folder, method=METHOD + route))


@pytest.fixture(scope="module")
def reported(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written_with(tmp_path_factory.mktemp("reported"), ROUTE.format(reported="true"))


@pytest.fixture(scope="module")
def beside(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written_with(tmp_path_factory.mktemp("beside"), ROUTE.format(reported="false"))


@pytest.fixture(scope="module")
def by_budget(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written_with(tmp_path_factory.mktemp("budget"), "")


def by_hand(value: float) -> tuple[float, float]:
    """u and ν of a value: constant below 150 mg/kg, relative from there (Welch-Satterthwaite)."""
    if value < 150:
        u = math.hypot(3.1, 1.2)
        return u, u**4 / (3.1**4 / 24)
    Rw, bias = 0.026 * value, 0.021 * value
    u = math.hypot(Rw, bias)
    return u, u**4 / (Rw**4 / 31 + bias**4 / 5)


def test_reported_results_bear_the_second_route(reported: Written, by_budget: Written) -> None:
    for result, other in zip(reported.evaluation.results, by_budget.evaluation.results, strict=True):
        assert result.value == pytest.approx(other.value, rel=1e-14)
        assert result.value is not None
        u, nu = by_hand(result.value)
        assert result.standard_uncertainty == pytest.approx(u, rel=1e-12)
        assert result.effective_degrees_of_freedom == pytest.approx(nu, rel=1e-9)
        assert result.coverage_factor == pytest.approx(stats.t.ppf(1 - 0.0455 / 2, math.floor(nu)), rel=1e-9)
        text = statement(result, reported.records.method)
        assert "within-laboratory reproducibility" in text and "bias" in text


def test_the_bias_is_common_to_results(reported: Written, tmp_path: Path) -> None:
    """cov = u_bias² x₁ x₂ of relative biases of one case: one deviation of the laboratory."""
    evaluation = reported.evaluation
    values = [result.value or 0.0 for result in evaluation.results]
    matrix = covariance_matrix(evaluation.propagated, evaluation.numbers)
    # One result of each case here: they share nothing; two of one case share the deviation.
    assert matrix[0, 1] == 0
    one_case = written_with(tmp_path, ROUTE.format(reported="true").replace("150 mg/kg", "50 mg/kg")).evaluation
    shared = covariance_matrix(one_case.propagated, one_case.numbers)
    assert shared[0, 1] == pytest.approx(0.021**2 * values[0] * values[1], rel=1e-9)


def test_chains_keep_the_items_of_the_value(reported: Written, by_budget: Written) -> None:
    def items(evaluation: Evaluation) -> set[tuple[str, tuple[str, ...]]]:
        return {(link.evidence.item, link.operations) for link in chain_of(evaluation, 0).links}

    assert items(reported.evaluation) >= items(by_budget.evaluation)


def test_both_routes_side_by_side(beside: Written, by_budget: Written) -> None:
    evaluation = beside.evaluation

    def column(name: str) -> np.ndarray:
        return evaluation.column(name, "both routes")

    for row, result in enumerate(by_budget.evaluation.results):
        assert evaluation.results[row].expanded_uncertainty == result.expanded_uncertainty
        assert result.value is not None
        u, _ = by_hand(result.value)
        assert column("u by validation data")[row] == pytest.approx(u, rel=1e-12)
        assert column("u by the budget")[row] == pytest.approx(result.standard_uncertainty, rel=1e-12)
        statistical = [entry for entry in result.budget if entry.evaluation == "A"]
        scatter = math.sqrt(sum(entry.contribution**2 for entry in statistical))
        terms = sum(entry.contribution**4 / (entry.degrees_of_freedom or math.inf) for entry in statistical)
        Rw, nu = (3.1, 24) if result.value < 150 else (0.026 * result.value, 31)
        assert column("F")[row] == pytest.approx((Rw / scatter) ** 2, rel=1e-9)
        expected = stats.f.sf((Rw / scatter) ** 2, nu, min(10_000, math.floor(scatter**4 / terms + 1e-6)))
        assert column("probability of F")[row] == pytest.approx(expected, rel=1e-9)


def test_a_budget_that_lacks_scatter_is_told(tmp_path: Path) -> None:
    route = ROUTE.format(reported="false").replace('u_Rw = "3.1 mg/kg"', 'u_Rw = "31 mg/kg"')
    route = route.replace('u_Rw = "2.6 %"', 'u_Rw = "26 %"')
    found = written_with(tmp_path, route).evaluation.findings
    (told,) = [finding for finding in found if finding.place == "validation"]
    assert told.severity == "attend" and "beyond the contributions of type A" in told.found
    assert "sample homogeneity (held negligible)" in told.remedy and "precision within run (no symbol)" in told.remedy


def test_results_outside_the_bands_are_told(tmp_path: Path) -> None:
    """The case of copper then begins at 120 mg/kg; what lies below takes it, and is named."""
    route = ROUTE.format(reported="true").replace('level_from = "150 mg/kg"', 'level_from = "1200 mg/kg"')
    route = route.replace('level_to = "150 mg/kg"', 'level_from = "1000 mg/kg"\nlevel_to = "1200 mg/kg"')
    evaluation = written_with(tmp_path, route).evaluation
    (told,) = [f for f in evaluation.findings if "outside the level bands" in f.found]
    assert told.severity == "attend" and told.place == "validation"
    assert f"({evaluation.results[0].value:.3g} mg/kg)" in told.found


@pytest.mark.parametrize("which", ["reported", "beside"])
def test_cells_follow(which: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    """Both engines recalculate every cell to 1e-9; every open number moves the sheet as it moves the library."""
    example: Written = request.getfixturevalue(which)
    assert_engines_agree(example, tmp_path)
    cells = [cell for cell in numeric_cells(example) if "validation" in cell.origin.path]
    assert len(cells) >= 5
    # Beside the budget they move the comparison alone.
    assert_open_numbers_move(example, tmp_path / "book.xlsx", cells, unmoved=lambda cell: which == "beside")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('u_Rw = "2.6 %"', 'u_Rw = "2.6 mg/L"', "validation, for 2, u_Rw: found 2.6 mg/L"),
        ('u_Rw = "2.6 %"', 'u_Rw = "0 %"', "zero or negative"),
        ('u_bias = "2.1 %"\n', "", "u_bias"),
        ('level_from = "150 mg/kg"', 'level_from = "150 mg/kg"\nanalyte = "Xx"', "for 2, analyte: found Xx"),
        ("review = 2027-01-01", "review = 2026-01-01", "review due on 2026-01-01"),
        ('level_from = "150 mg/kg"', 'level_from = "150 mg/kg"\nlevel_to = "50 mg/kg"', "a rising one"),
        ("[validation]", '[several_lines]\nrule = "mean of agreeing lines"\n[validation]', "beside several_lines"),
    ],
)
def test_bad_input(tmp_path: Path, old: str, new: str, words: str) -> None:
    route = ROUTE.format(reported="true" if old == "[validation]" else "false")
    assert old in route
    folder = write_run(tmp_path, method=METHOD + route.replace(old, new, 1))
    records, findings = read_records(folder)
    if records is not None:
        findings = evaluate(records)[1]
    assert any(words in finding.line() for finding in findings), [finding.line() for finding in findings]


def test_no_case_for_a_result(tmp_path: Path) -> None:
    route = ROUTE.format(reported="true").replace("[[validation.for]]", '[[validation.for]]\nmatrix = "oil"')
    records, _ = read_records(write_run(tmp_path, method=METHOD + route))
    assert records is not None
    assert any("no case for Zn 213.9" in finding.found for finding in evaluate(records)[1])
