"""Limits in a run: scaled by hand from weighings, classes, what is reported, what the run itself shows."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import ubudget
from tests.findings.small_run import READINGS, SAMPLES
from tests.low_levels.low_runs import (
    LIMITS,
    THIRD_BLANK,
    THIRD_READING,
    evaluated,
    evaluated_with_findings,
    zinc_run,
)
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.evaluation.low_levels import quantification_limit_rows
from ubudget.files.exchange import csv_text, evaluation_object
from ubudget.pages.statement import roles_of, statement

RUN_LIMITS = "limits of the run"


def with_blank(readings: str = READINGS) -> dict[str, str]:
    return {"samples": SAMPLES.replace(*THIRD_BLANK), "readings": readings.replace(*THIRD_READING)}


def by_sample(evaluation: Evaluation) -> dict[str, Result]:
    return {result.sample: result for result in evaluation.results}


@pytest.fixture(scope="module")
def zinc(tmp_path_factory: pytest.TempPathFactory) -> Evaluation:
    return evaluated(zinc_run(tmp_path_factory.mktemp("zinc"), **with_blank()))


def test_limits_are_scaled_by_mass_volume_dilution_and_moisture(zinc: Evaluation) -> None:
    """w = c V f F/m: the limit goes with V f F/m of the sample over that of the nominal portion."""
    factors = {"SED-01": 10 * (0.5 / 0.5022) * 100 / (100 - 3.1), "SED-02": (0.5 / 0.4989) * 100 / (100 - 2.9)}
    for row, key in enumerate(zinc.keys):
        level = zinc.low_level(row)
        assert level is not None
        assert level.quantification == pytest.approx(120 * factors[key.sample], rel=1e-9)
        assert level.detection == pytest.approx(50 * factors[key.sample], rel=1e-9)
        assert level.decision == pytest.approx(25 * factors[key.sample], rel=1e-9)
    assert quantification_limit_rows(zinc.graph).tolist() == [0, 1]


def test_what_is_reported_leaves_value_and_u_alone(zinc: Evaluation, tmp_path: Path) -> None:
    plain = by_sample(evaluated(zinc_run(tmp_path / "plain", "", **with_blank())))
    found = by_sample(zinc)
    assert found["SED-01"].reported_as == "not detected at 514"
    assert found["SED-02"].reported_as == "< 124"
    for sample, result in found.items():
        assert (result.value, result.expanded_uncertainty) == (plain[sample].value, plain[sample].expanded_uncertainty)
        assert plain[sample].reported_as == ""


@pytest.mark.parametrize(
    ("change", "reported"),
    [
        (("", ""), "< 124"),
        (('"120 mg/kg"', '"100 mg/kg"'), ""),
        (('"120 mg/kg"', '"0.12 g/kg"'), "< 124"),
        (('"50 mg/kg"', '"110 mg/kg"'), "not detected at 114"),
        (('detection = "50 mg/kg"', ""), "< 124"),
        (('below_detection = "not detected"', 'below_quantification = "value with U"'), ""),
        (('quantification = "120 mg/kg"', ""), ""),
        (('m = "0.5 g", ', ""), "< 124"),
    ],
)
def test_the_rule_says_what_is_reported(change: tuple[str, str], reported: str, tmp_path: Path) -> None:
    found = by_sample(evaluated(zinc_run(tmp_path / "run", LIMITS.replace(*change), **with_blank())))
    assert found["SED-02"].reported_as == reported


def test_a_negative_result_is_kept_and_not_detected(tmp_path: Path) -> None:
    negative = with_blank(READINGS.replace("0.205,0.206,0.350", "0.001,0.002,0.350"))
    evaluation = evaluated(zinc_run(tmp_path / "run", **negative))
    result = by_sample(evaluation)["SED-02"]
    assert result.value is not None and result.value < 0
    assert result.reported_as == "not detected at 51.6"
    told = {one["sample"]: one for one in evaluation_object(evaluation)["results"]}["SED-02"]
    assert told["value"] == result.value and told["reported_as"] == "not detected at 51.6"
    assert told["low_level"]["class"] == "below the decision limit"
    # QUAM:2012, appendix F: cut at zero.
    assert result.expanded_uncertainty is not None
    assert told["low_level"]["interval_not_negative"] == [0, max(0, result.value + result.expanded_uncertainty)]
    words = statement(result, evaluation.records.method, roles_of(evaluation)[1])
    for part in ("not detected at 51.6 mg/kg", "below the decision limit, 25.8 mg/kg", "cannot be negative"):
        assert part in words
    assert "±" not in words.partition("cannot be negative")[0]
    rows = list(csv.DictReader(io.StringIO(csv_text(evaluation))))
    assert [row["reported_as"] for row in rows] == ["not detected at 514", "not detected at 51.6"]


def test_a_result_that_cannot_be_calculated_stays_not_available(tmp_path: Path) -> None:
    run = (tmp_path / "run").joinpath("run.toml")
    place = zinc_run(tmp_path / "run", **with_blank())
    struck = "".join(
        f'\n[[exclude_reading]]\nsolution = "SED-02"\nanalyte = "Zn"\nline = "213.9"\nreplicate = {turn}\n'
        'reason = "air bubble seen"\n'
        for turn in (1, 2)
    )
    run.write_text(run.read_text() + struck)
    evaluation = evaluated(place)
    result = by_sample(evaluation)["SED-02"]
    assert result.value is None and result.reported_as == ""
    assert evaluation.low_level(1) is None


def test_limits_of_the_run_by_hand(zinc: Evaluation) -> None:
    """s_b of the blanks on the line by numpy, factors by scipy: t s_b sqrt(1 + 1/n_b) times V f F/m of the portion."""
    # The stock is certified at 1001 mg/L where 1000 mg/L was calculated with.
    x = np.repeat([0, 0.5, 1, 2], 3) * 1.001
    y = np.array([[1, 2, 1], [101, 102, 100], [201, 202, 199], [401, 403, 399]]).ravel() / 1000
    slope, intercept = np.polyfit(x, y, 1)
    blanks = (np.array([0.0035, 0.003, 0.003]) - intercept) / slope
    per_solution = 0.05 / 0.0005
    s = np.std(blanks, ddof=1) * math.sqrt(1 + 1 / 3) * per_solution
    t = stats.t.ppf(0.95, 2)
    assert zinc.column("decision blanks", RUN_LIMITS)[0] == pytest.approx(t * s, rel=1e-9)
    assert zinc.column("detection blanks", RUN_LIMITS)[0] == pytest.approx(2 * t * s, rel=1e-9)
    residual = math.sqrt(np.sum((y - intercept - slope * x) ** 2) / 10)
    Sxx = np.sum((x - x.mean()) ** 2)
    s = residual / slope * math.sqrt(1 / 2 + 1 / 12 + x.mean() ** 2 / Sxx) * per_solution
    assert zinc.column("decision calibration", RUN_LIMITS)[0] == pytest.approx(stats.t.ppf(0.95, 10) * s, rel=1e-9)
    s_method = 50 / (2 * stats.t.ppf(0.95, 9))
    F = (s / s_method) ** 2
    assert zinc.column("p calibration", RUN_LIMITS)[0] == pytest.approx(stats.f.sf(F, 10, 9), rel=1e-9)


@pytest.mark.parametrize("change", ['weights = "1/x"\nweight_floor = "0.5 mg/L"\n', 'curve = "line through zero"\n'])
def test_weighted_lines_and_lines_through_zero(change: str, tmp_path: Path) -> None:
    """Against the function on points and weights; through zero by hand, s/(b sqrt(K)) with n - 1."""
    place = zinc_run(tmp_path / "run", **with_blank())
    method = place / "method.toml"
    method.write_text(method.read_text().replace('scatter = "own"\n', f'scatter = "own"\n{change}', 1))
    found = evaluated(place).column("decision calibration", RUN_LIMITS)[0]
    x = np.repeat([0, 0.5, 1, 2], 3) * 1.001
    y = np.array([[1, 2, 1], [101, 102, 100], [201, 202, 199], [401, 403, 399]]).ravel() / 1000
    if "zero" in change:
        b = np.sum(x * y) / np.sum(x**2)
        s = math.sqrt(np.sum((y - b * x) ** 2) / 11)
        assert found == pytest.approx(stats.t.ppf(0.95, 11) * s / b / math.sqrt(2) * 100, rel=1e-9)
    else:
        w = 1 / np.maximum(x, 0.5)
        limits = ubudget.limits_from_calibration(x, y, replicates=2, weights=w, unknown_weight=2.0)
        assert found == pytest.approx(100 * limits.decision, rel=1e-9)


def test_blanks_worse_than_the_method_are_told_and_nothing_else_changes(zinc: Evaluation, tmp_path: Path) -> None:
    spoilt = with_blank(READINGS.replace("BL-1,Zn,213.9,0.003,0.004,", "BL-1,Zn,213.9,0.393,0.394,"))
    evaluation, findings = evaluated_with_findings(zinc_run(tmp_path / "run", **spoilt))
    told = [finding for finding in findings if finding.place == "limits of the run, Zn 213.9"]
    assert [finding.severity for finding in told] == ["attend"] and "by blanks" in told[0].found
    assert evaluation is not None
    level, before = evaluation.low_level(1), zinc.low_level(1)
    assert level is not None and before is not None and level.quantification == before.quantification
    _, quiet = evaluated_with_findings(zinc_run(tmp_path / "good", **with_blank()))
    assert not [finding for finding in quiet if "limits of the run" in finding.place]
