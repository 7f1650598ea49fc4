"""Stock, pipettes and flasks of the additions carried to the results: against other ways to the same numbers."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from uncertainties import covariance_matrix, nominal_value

from tests.agreement.test_uncertainties import Walk, correlated_variance
from tests.calibration_additions.addition_runs import sediment
from ubudget.bench.assembly import RESULTS
from ubudget.evaluation.covariance import covariance_matrix as own_covariances
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records

FORMS = ("constant volume", "volume change")
VARIANCES = ("line", "line and one reading")
MARKS = ("counted", "covered by residual scatter")


def evaluated(folder: Path) -> Evaluation:
    records, findings = read_records(folder)
    assert records is not None, findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    return evaluation


@pytest.mark.parametrize("mark", MARKS)
@pytest.mark.parametrize("variance", VARIANCES)
@pytest.mark.parametrize("form", FORMS)
def test_the_package_uncertainties_agrees(form: str, variance: str, mark: str, tmp_path: Path) -> None:
    """The whole fit anew with numbers of that package for every deviation; covariance of two series as well."""
    evaluation = evaluated(sediment(tmp_path, form, variance, repeatability=mark))
    walk = Walk(evaluation)
    numbers = [walk.cell(RESULTS, evaluation.assembly.value, row) for row in range(len(evaluation.keys))]
    for result, number in zip(evaluation.results, numbers, strict=True):
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        u = math.sqrt(correlated_variance(evaluation, number, walk))
        assert result.standard_uncertainty == pytest.approx(u, rel=1e-12)
    matrix = own_covariances(evaluation.propagated, evaluation.numbers)
    expected = np.array(covariance_matrix(numbers))
    scale = np.sqrt(np.diag(expected))
    assert matrix / np.outer(scale, scale) == pytest.approx(expected / np.outer(scale, scale), abs=1e-12)


def drawn_sediment(form: str, trials: int) -> np.ndarray:
    """Mass fraction of the first sample, the whole work done anew in each trial; figures of the invented run.

    Scatter of the readings about their line is normal with the residual s of the series itself."""
    random = np.random.default_rng(20260310)
    change = form == "volume change"

    def normal(u: float, *shape: int) -> np.ndarray:
        return random.normal(0, u, (trials, *shape))

    volumes = np.repeat([0.0, 0.1, 0.2, 0.3], 2)
    readings = np.array([0.214, 0.216, 0.386, 0.381, 0.554, 0.557, 0.728, 0.724])
    correction = (5 + volumes) / 5 if change else np.ones(8)
    x = 10.02 * volumes / (5 if change else 25)
    b, a = np.polyfit(x, readings * correction, 1)
    s = math.sqrt(float(np.sum((readings * correction - a - b * x) ** 2)) / 6)
    raw = (a + b * x + normal(s, 8)) / correction
    stock = 10.02 + normal(0.03, 1)
    added = volumes + np.repeat(normal(0.0006, 4), 2, axis=1) + normal(0.002 / math.sqrt(6), 1)
    added[:, :2] = 0
    tolerance = 0.04 / math.sqrt(6)
    F25, B, unnumbered = normal(tolerance, 1), normal(tolerance, 1), normal(tolerance, 1)
    B_filled = B + normal(0.01, 1)
    if change:
        V0 = 5 + normal(0.015 / math.sqrt(6), 1)
        x, y = stock * added / V0, raw * (V0 + added) / V0
    else:
        flasks = 25 + np.concatenate([np.zeros((trials, 2)), F25, F25, B_filled, B_filled, unnumbered, unnumbered], 1)
        x, y = stock * added / flasks, raw
    dx = x - x.mean(axis=1, keepdims=True)
    slope = np.sum(dx * y, axis=1) / np.sum(dx**2, axis=1)
    c = y.mean(axis=1) / slope - x.mean(axis=1)
    return np.asarray(c * (25 + F25[:, 0]) / (0.5031 + normal(0.0002)))


@pytest.mark.parametrize("form", FORMS)
def test_drawing_the_whole_work_agrees(form: str, tmp_path: Path) -> None:
    """Monte Carlo in the manner of JCGM 101; the sampling error of u is 0.16 % at 200,000 trials."""
    result = evaluated(sediment(tmp_path, form)).results[0]
    drawn = drawn_sediment(form, 200_000)
    assert result.value is not None and result.standard_uncertainty is not None
    assert float(np.mean(drawn)) == pytest.approx(result.value, abs=0.02 * result.standard_uncertainty)
    assert float(np.std(drawn)) == pytest.approx(result.standard_uncertainty, rel=0.01)


def test_degrees_of_freedom_of_the_line_count_once(tmp_path: Path) -> None:
    """Ordinate, slope and new reading rest on one residual s with n - 2 = 6; pipette's s with 9, a delivery a row."""
    evaluation = evaluated(sediment(tmp_path, "volume change", "line and one reading"))
    result = evaluation.results[0]
    line = sum(row.contribution**2 for row in result.budget if row.symbol in ("c.centroid", "c.slope", "c.reading"))
    pipette = sum(row.contribution**2 for row in result.budget if row.symbol.startswith("c.added.delivery"))
    assert result.standard_uncertainty is not None
    expected = result.standard_uncertainty**4 / (line**2 / 6 + pipette**2 / 9)
    assert result.effective_degrees_of_freedom == pytest.approx(expected, rel=1e-9)


def test_a_covered_line_keeps_its_rows_at_zero(tmp_path: Path) -> None:
    folder = sediment(tmp_path, "constant volume", "line and one reading", repeatability="covered by residual scatter")
    method = (folder / "method.toml").read_text(encoding="utf-8")
    covered = method.replace('"reading scatter" = "counted"', '"reading scatter" = "negligible: for this check"')
    (folder / "method.toml").write_text(covered, encoding="utf-8", newline="\n")
    rows = {row.symbol: row for row in evaluated(folder).results[0].budget}
    for symbol in ("c.centroid", "c.slope", "c.reading"):
        assert (rows[symbol].contribution, rows[symbol].source) == (0, "negligible: for this check")
