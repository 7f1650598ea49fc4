"""One physical deviation is one input quantity, and degrees of freedom follow the variance estimate.

Runs are invented; what is expected is worked out here from closed formulas, each with its source.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.findings.small_run import METHOD, READINGS, RUN, replaced, write_run
from ubudget.evaluation import notebook
from ubudget.evaluation.covariance import covariance_matrix
from ubudget.evaluation.evaluate import BudgetRow, Evaluation, Result, evaluate
from ubudget.files.reading import read_records
from ubudget.files.shipped import shipped_folder
from ubudget.records.finding import stops

DILUTED = "SED-01"
"""The sample that is reported from a further dilution, in the same flask as its digest."""


def evaluated(folder: Path) -> Evaluation:
    records, findings = read_records(folder)
    assert records is not None, findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None and not stops(findings), findings
    return evaluation


def result_of(evaluation: Evaluation, sample: str) -> Result:
    (result,) = [result for result in evaluation.results if result.sample == sample]
    return result


def rows_about(result: Result, word: str) -> list[BudgetRow]:
    return [row for row in result.budget if word in row.symbol]


# --- Ware, balance, temperature ---


def test_a_numbered_flask_used_three_times_is_one_row(tmp_path: Path) -> None:
    """The calibration of one flask is one deviation wherever the flask is used (GUM F.1.2.3 b)."""
    evaluation = evaluated(write_run(tmp_path))
    result = result_of(evaluation, DILUTED)
    flask = [row for row in rows_about(result, "calibration") if "F50-2" in row.source]
    assert len(flask) == 1
    # w = (c V f - cb V fb)/m F R with f = V/V_pipette: dw/dV = (2 c f - cb fb)/m F R
    at = [key.sample for key in evaluation.keys].index(DILUTED)
    c, cb, f, fb, m, F, R = (
        float(evaluation.numbers.symbol("results", name)[at]) for name in ("c", "cb", "f", "fb", "m", "F", "R")
    )
    in_litre = 1e-3 if flask[0].unit == "mL" else 1.0
    expected = (2 * c * f - cb * fb) / m * F * R * in_litre
    assert flask[0].sensitivity_coefficient == pytest.approx(expected, rel=1e-12)


def test_an_unnumbered_flask_is_a_new_deviation_at_each_use(tmp_path: Path) -> None:
    register = replaced("register.toml", 'description = "flask 50 mL"', 'description = "flask"\nuse = "one of a set"')
    result = result_of(evaluated(write_run(tmp_path, register=register)), DILUTED)
    symbols = {row.symbol for row in rows_about(result, "calibration") if "F50-2" in row.source}
    assert len(symbols) == 3


def test_resolution_and_linearity_are_new_at_tare_and_at_gross(tmp_path: Path) -> None:
    """QUAM A2: the linearity counts twice, once for the tare and once for the gross weight."""
    evaluation = evaluated(write_run(tmp_path))
    result = result_of(evaluation, "SED-02")
    for part, u in (("linearity", 0.2 / math.sqrt(3)), ("resolution", 0.1 / 2 / math.sqrt(3))):
        rows = rows_about(result, f" {part}")
        assert [row.symbol for row in rows] == [f"m.gross {part}", f"m.tare {part}"]
        # Limits of the balance in mg, the mass of the equation in kg.
        assert [row.standard_uncertainty for row in rows] == pytest.approx([u * 1e-6] * 2, rel=1e-12)
        assert rows[0].contribution == pytest.approx(-rows[1].contribution, rel=1e-12)


def with_temperature(shared: str) -> str:
    return replaced(
        "method.toml",
        'quantity = "dilution factor"\n',
        f'quantity = "dilution factor"\n[symbols.f.temperature]\nhalf_range = "4 K"\nexpansion = "2.1e-4 1/K"\n'
        f"shared = {shared}\n",
    )


def test_the_temperature_of_one_room_cancels_in_a_dilution_factor(tmp_path: Path) -> None:
    """Flask and pipette expand alike: f = V_flask (1 + a dT) / (V_pipette (1 + a dT))."""
    result = result_of(evaluated(write_run(tmp_path, method=with_temperature("true"))), DILUTED)
    total = sum(abs(row.contribution) for row in rows_about(result, "temperature"))
    assert total < 1e-15 * abs(result.value or 0.0)


def test_temperatures_that_are_not_shared_do_not_cancel(tmp_path: Path) -> None:
    evaluation = evaluated(write_run(tmp_path, method=with_temperature("false")))
    result = result_of(evaluation, DILUTED)
    rows = rows_about(result, "temperature")
    assert len(rows) == 2
    at = [key.sample for key in evaluation.keys].index(DILUTED)
    c, V, f, m, F, R = (
        float(evaluation.numbers.symbol("results", name)[at]) for name in ("c", "V", "f", "m", "F", "R")
    )
    each = c * V * f / m * F * R * 2.1e-4 * 4 / math.sqrt(3)
    assert [abs(row.contribution) for row in rows] == pytest.approx([each, each], rel=1e-12)


# --- Degrees of freedom ---


def test_reading_and_line_on_one_residual_s_are_one_group() -> None:
    """QUAM A5: reading, centroid and slope rest on the residual s of 15 points, 13 degrees of freedom."""
    records, _ = read_records(shipped_folder("worked_examples") / "published" / "quam_a5")
    assert records is not None
    evaluation, _ = evaluate(records)
    assert evaluation is not None
    (result,) = evaluation.results
    on_the_line = rows_about(result, "c_0.")
    assert len(on_the_line) == 3
    assert {row.degrees_of_freedom for row in on_the_line} == {13.0}
    assert all(row.degrees_of_freedom is None for row in result.budget if row not in on_the_line)
    group = sum(row.contribution**2 for row in on_the_line)
    total = sum(row.contribution**2 for row in result.budget)
    # GUM G.4.1 eq. G.2b with one term of finite degrees of freedom.
    assert result.effective_degrees_of_freedom == pytest.approx(13 * total**2 / group**2, rel=1e-12)


def test_a_correlated_group_takes_the_smallest_degrees_of_freedom() -> None:
    a, b = notebook.input_quantity("a", 1, u=0.3, dof=5), notebook.input_quantity("b", 2, u=0.4, dof=20)
    c = notebook.input_quantity("c", 1, u=1.2)
    budget = notebook.budget(a + b + c, correlations={("a", "b"): 0.5})
    group = 0.3**2 + 0.4**2 + 2 * 0.5 * 0.3 * 0.4
    assert budget.standard_uncertainty == pytest.approx(math.sqrt(group + 1.44), rel=1e-12)
    assert budget.effective_degrees_of_freedom == pytest.approx(5 * (group + 1.44) ** 2 / group**2, rel=1e-12)


# --- Correlation by element ---

RECOVERIES = """
[[symbols.R.for]]
line = "213.9"
estimate = 1.0
u = 0.01

[[symbols.R.for]]
line = "206.2"
estimate = 1.0
u = 0.02
"""


def test_a_declared_correlation_holds_for_each_line_once(tmp_path: Path) -> None:
    """GUM 5.2.2 eq. 13, where one of the two inputs has a statement for each line."""
    method = (
        METHOD.replace('Zn = ["213.9"]', 'Zn = ["213.9", "206.2"]')
        .replace('estimate = 1\nU = "2 %"\nk = 2\n', RECOVERIES)
        .replace("/m*F*R", "/m*F*R*S")
    )
    method += (
        '\n[symbols.S]\noperation = "input"\nquantity = "splitting"\nestimate = 1\nu = 0.03\n'
        '[[correlation]]\nbetween = ["R", "S"]\ncoefficient = 0.5\n'
    )
    rows = READINGS.splitlines()
    readings = "\n".join([*rows, *(row.replace("213.9", "206.2") for row in rows[1:])]) + "\n"
    evaluation = evaluated(write_run(tmp_path, method=method, readings=readings))
    for result in evaluation.results:
        value = result.value or 0.0
        (row,) = [row for row in result.budget if row.symbol.startswith("cov(")]
        u_r = 0.01 if result.line == "213.9" else 0.02
        assert row.contribution == pytest.approx(2 * value**2 * 0.5 * u_r * 0.03, rel=1e-12)
        assert sum(row.share for row in result.budget) == pytest.approx(1, abs=1e-12)
    matrix = covariance_matrix(evaluation.propagated, evaluation.numbers)
    u = [result.standard_uncertainty for result in evaluation.results]
    assert np.sqrt(np.diag(matrix)) == pytest.approx(u, rel=1e-12)
    assert [number.std_dev for number in evaluation.as_ufloats()] == pytest.approx(u, rel=1e-12)


# --- Means of portions ---

PRECISION = """
[symbols.d_r]
operation = "precision"
quantity = "within run"
part = "within run"
constant = "1.5 mg/kg"

[symbols.d_L]
operation = "precision"
quantity = "between runs"
part = "between runs"
constant = "2.5 mg/kg"
"""


def portions(count: int) -> dict[str, str]:
    """The small run with one sample in `count` like portions."""
    numbers = range(1, count + 1)
    samples = "sample,portion,kind,solution,tare [g],gross [g],moisture [%]\n" + "".join(
        f"SED-02,{n},,P{n},12.0000,12.5000,3\n" for n in numbers
    )
    samples += "BL-1,1,blank,BL-1,,,\nBL-2,1,blank,BL-2,,,\n"
    kept = [line for line in READINGS.splitlines() if not line.startswith("SED")]
    readings = "\n".join([*kept, *(f"P{n},Zn,213.9,0.205,0.206,0.204" for n in numbers)]) + "\n"
    run = RUN[: RUN.index("[[exclude_reading]]")].replace('solutions = "solutions.csv"\n', "")
    method = METHOD.replace("/m*F*R", "/m*F*R + d_r + d_L").replace("[effects]", PRECISION + "\n[effects]")
    return {"samples": samples, "readings": readings, "run": run, "method": method}


@pytest.mark.parametrize("count", [2, 4])
def test_a_mean_of_portions_averages_only_what_portions_have_of_their_own(tmp_path: Path, count: int) -> None:
    """ISO 5725-1: within a run the mean of n has s_r/sqrt(n); what a run or a laboratory shares stays."""
    result = _of_portions(tmp_path, count)
    single = _of_portions(tmp_path, 1)
    within = math.sqrt(sum(row.contribution**2 for row in rows_about(result, "d_r")))
    assert within == pytest.approx(1.5 / math.sqrt(count), rel=1e-12)
    (between,) = rows_about(result, "d_L")
    assert between.contribution == pytest.approx(2.5, rel=1e-12)
    # Recovery 2 %, k = 2, and the flask, both shared by all portions.
    for symbol in ("R", "V"):
        (row,) = [row for row in result.budget if row.symbol.split(".")[0] == symbol]
        (alone,) = [row for row in single.budget if row.symbol.split(".")[0] == symbol]
        assert row.contribution == pytest.approx(alone.contribution, rel=1e-12)
    (recovery,) = [row for row in result.budget if row.symbol == "R"]
    assert recovery.contribution == pytest.approx((result.value or 0.0) * 0.01, rel=1e-12)
    for own in ("m.gross linearity", "c.reading"):
        expected = math.hypot(*(row.contribution for row in rows_about(single, own))) / math.sqrt(count)
        found = math.hypot(*(row.contribution for row in rows_about(result, own)))
        assert found == pytest.approx(expected, rel=1e-12)


def _of_portions(folder: Path, count: int) -> Result:
    place = folder / str(count)
    place.mkdir()
    (result,) = evaluated(write_run(place, **portions(count))).results
    return result


# --- Blank and sample on one line ---

DIFFERENCE = """
[method]
id = "M-DIFF"
title = "Zinc in the solution above the blank"
version = "1"
status = "approved"
measurand = "mass concentration of zinc"
unit = "mg/L"
equation = "w = c - cb"

[analytes]
Zn = ["213.9"]

[symbols.c]
operation = "calibration"
quantity = "concentration in the measured solution"
unit = "mg/L"
scatter = "residual"
standards_exact = "invented for this test"

[symbols.cb]
operation = "blank"
quantity = "mean blank"
unit = "mg/L"
own_blank = "negligible: not part of this test"

[effects]
"reading scatter" = "counted"
"blank scatter" = "counted"
"sample homogeneity" = "negligible: a solution"
"""


def test_sample_and_blank_on_one_line_partly_cancel(tmp_path: Path) -> None:
    """u² = (s/b)² (1/p + (x - x_b)²/Sxx) + s_b²/n_b: the centroid cancels in a difference.

    From the classical formula for one unknown (QUAM E.4) with the line's parameters common to both."""
    run = RUN.replace('solutions = "solutions.csv"\n', "").replace('register = "register.toml"\n', "")
    run = run.replace('[stocks.Zn]\nitem = "ST-ZN"\ncalculated_with = "1000 mg/L"\n', "")
    run = run[: run.index("[[exclude_reading]]")]
    samples = "sample,kind\nSED-01,\nBL-1,blank\nBL-2,blank\nBL-3,blank\n"
    readings = "\n".join(line for line in READINGS.splitlines() if not line.startswith(("SED-01 d", "SED-02")))
    readings += "\nBL-3,Zn,213.9,0.006,0.007,\n"
    (result,) = evaluated(write_run(tmp_path, run=run, method=DIFFERENCE, samples=samples, readings=readings)).results

    x = np.repeat([0.0, 0.5, 1.0, 2.0], 3)
    y = np.array([1, 2, 1, 101, 102, 100, 201, 202, 199, 401, 403, 399]) / 1000
    b = float(np.sum((x - x.mean()) * (y - y.mean())) / np.sum((x - x.mean()) ** 2))
    residuals = y - y.mean() - b * (x - x.mean())
    s = math.sqrt(float(np.sum(residuals**2)) / (x.size - 2))
    s_xx = float(np.sum((x - x.mean()) ** 2))
    blanks = np.array([0.0035, 0.003, 0.0065]) / b
    difference = 0.395 / b - blanks.mean()
    u2 = (s / b) ** 2 * (1 / 3 + difference**2 / s_xx) + float(np.var(blanks, ddof=1)) / 3
    assert result.value == pytest.approx(difference, rel=1e-12)
    assert result.standard_uncertainty == pytest.approx(math.sqrt(u2), rel=1e-12)
    centroid = [row for row in result.budget if row.symbol == "c.centroid"]
    assert sum(abs(row.contribution) for row in centroid) < 1e-15
