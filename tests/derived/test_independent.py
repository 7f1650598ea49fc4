"""Derived results against the example's raw figures: by the package `uncertainties`, and by draws of every input."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner
from uncertainties import correlation_matrix, covariance_matrix, nominal_value, std_dev, ufloat

from tests.derived.rinse_water import EXAMPLE, LINES, SAMPLES, Model
from tests.workbooks.books import Written, written
from ubudget.cli import app
from ubudget.evaluation.covariance import covariance_matrix as our_covariances
from ubudget.evaluation.evaluate import Result


@pytest.fixture(scope="module")
def example() -> Written:
    return written(EXAMPLE)


@pytest.fixture(scope="module")
def model() -> Model:
    return Model(lambda name, estimate, u: ufloat(estimate, u, tag=name))


def by_name(example: Written) -> dict[tuple[str, str], Result]:
    return {(result.sample, result.analyte): result for result in example.evaluation.results}


def test_results_of_the_lines_agree_with_the_raw_figures(example: Written, model: Model) -> None:
    for sample in SAMPLES:
        for analyte in LINES:
            ours, theirs = by_name(example)[sample, analyte], model.result(sample, analyte)
            assert ours.value == pytest.approx(nominal_value(theirs), rel=1e-10)
            assert ours.standard_uncertainty == pytest.approx(std_dev(theirs), rel=1e-8)


def test_every_derived_result_agrees_with_the_package_uncertainties(example: Written, model: Model) -> None:
    theirs = model.derived()
    ours = by_name(example)
    assert {(r.sample, r.analyte) for r in example.evaluation.results if r.lines} == set(theirs)
    for key, value in theirs.items():
        assert ours[key].value == pytest.approx(nominal_value(value), rel=1e-10), key
        assert ours[key].standard_uncertainty == pytest.approx(std_dev(value), rel=1e-7), key


def test_covariances_across_all_results_agree(example: Written, model: Model) -> None:
    """Results of the lines and derived ones in one matrix, GUM 5.2.2."""
    derived = model.derived()
    numbers = [
        derived.get((key.sample, key.analyte)) or model.result(key.sample, key.analyte)
        for key in example.evaluation.keys
    ]
    ours = our_covariances(example.evaluation.propagated, example.evaluation.numbers)
    theirs = np.array(covariance_matrix(numbers))
    scale = np.sqrt(np.outer(np.diag(theirs), np.diag(theirs)))
    assert np.abs(ours - theirs).max() > 0
    assert (np.abs(ours - theirs) / scale).max() < 1e-7


def test_numbers_of_the_package_carry_the_covariances(example: Written) -> None:
    numbers = example.evaluation.as_ufloats()
    keys = [(key.sample, key.analyte) for key in example.evaluation.keys]
    load, kept, rate = (
        numbers[keys.index(("treatment", f"{name} Zn"))] for name in ("load in", "retained", "removal efficiency")
    )
    assert std_dev(100 * kept / load) == pytest.approx(std_dev(rate), rel=1e-9)


def test_draws_of_the_leaves_give_the_same_u_and_covariances(example: Written) -> None:
    """Sum, difference, ratio and balance by 400 000 normal draws of every input (JCGM 101, 5.9; plain numpy)."""
    random, size = np.random.default_rng(20260512), 400_000
    model = Model(lambda name, estimate, u: random.normal(estimate, u, size))
    drawn = model.derived()
    keys = [
        ("RINSE-1", "sum of metals"),
        ("OUT-1", "total hardness"),
        ("outflow", "particulate Zn"),
        ("outflow", "mean outflow Zn"),
        ("inflow", "ratio of rinses Zn"),
        ("treatment", "retained Zn"),
        ("treatment", "removal efficiency Zn"),
    ]
    rows = [[(key.sample, key.analyte) for key in example.evaluation.keys].index(key) for key in keys]
    ours = our_covariances(example.evaluation.propagated, example.evaluation.numbers)[np.ix_(rows, rows)]
    theirs = np.cov(np.array([drawn[key] for key in keys]))
    u = np.sqrt(np.diag(ours))
    assert np.sqrt(np.diag(theirs)) == pytest.approx(u, rel=5e-3)
    # The standard error of a coefficient is (1 - r²)/√n at most, 0.0016.
    assert np.abs(theirs - ours) / np.outer(u, u) == pytest.approx(0, abs=8e-3)


def test_what_cancels_and_what_does_not(example: Written) -> None:
    """A common factor cancels in a ratio and does not fall in a mean (GUM F.1.2.3)."""
    results = by_name(example)

    def contribution(key: tuple[str, str], symbol: str) -> float:
        return sum(row.contribution for row in results[key].budget if row.symbol == symbol)

    ratio, mean = ("inflow", "ratio of rinses Cu"), ("outflow", "mean outflow Cu")
    assert contribution(ratio, "d_L.relative") == pytest.approx(0, abs=1e-12)
    value = results[mean].value
    assert value is not None
    assert contribution(mean, "d_L.relative") == pytest.approx(0.012 * value, rel=1e-9)


def test_the_matrix_as_a_file(example: Written, model: Model, tmp_path: Path) -> None:
    files = {name: tmp_path / f"{name}.csv" for name in ("covariance", "correlation")}
    call = ["evaluate", str(EXAMPLE)]
    for name, file in files.items():
        call += [f"--{name}", str(file)]
    assert CliRunner().invoke(app, call).exit_code == 0
    derived = model.derived()
    names = ["RINSE-1/sum of metals", "treatment/removal efficiency Cu", "outflow/mean outflow Cu"]
    numbers = [derived[tuple(name.split("/"))] for name in names]
    for name, expected in (("covariance", covariance_matrix(numbers)), ("correlation", correlation_matrix(numbers))):
        with files[name].open(encoding="utf-8", newline="") as file:
            rows = {row["result"]: row for row in csv.DictReader(file)}
        assert rows["treatment/removal efficiency Cu"]["unit"] == "%"
        assert "RINSE-1/Cu/324.754" in rows
        found = [[float(rows[a][b]) for b in names] for a in names]
        assert np.array(found) == pytest.approx(np.array(expected), rel=1e-6, abs=1e-12)
    before = files["covariance"].read_bytes()
    assert CliRunner().invoke(app, call).exit_code == 2
    assert files["covariance"].read_bytes() == before
    assert CliRunner().invoke(app, [*call, "--force"]).exit_code == 0
