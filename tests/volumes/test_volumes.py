"""Volumes in a budget: ware by class, certificate before class, part volumes, meniscus, temperature and expansion.

Expected figures are worked out here by hand from the invented records and the formula named beside them.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from uncertainties import covariance_matrix, nominal_value, std_dev

from tests.agreement.test_uncertainties import Walk
from tests.findings.small_run import METHOD as CURVE
from tests.findings.small_run import write_run
from tests.volumes.titration import METHOD, REGISTER, evaluated, titration
from ubudget.bench.assembly import RESULTS
from ubudget.evaluation.covariance import covariance_matrix as our_covariance
from ubudget.evaluation.evaluate import BudgetRow, Evaluation


def rows_of(evaluation: Evaluation, sample: str = "HW-1") -> dict[str, BudgetRow]:
    (result,) = [result for result in evaluation.results if result.sample == sample]
    return {row.symbol: row for row in result.budget}


@pytest.fixture(scope="module")
def evaluation(tmp_path_factory: pytest.TempPathFactory) -> Evaluation:
    return evaluated(titration(tmp_path_factory.mktemp("run")))


def test_a_run_without_readings_gives_one_result_a_portion(evaluation: Evaluation) -> None:
    """c = c_t V_t/V_w V_f/V_a, each volume times 1 - (γ_liquid - γ_ware)·d, which cancels in part (by hand)."""
    by_temperature = 1 - (2.07e-4 - 9.9e-6) * 3.4
    for result, titrant, aliquot in zip(evaluation.results, (18.64, 9.35), (50, 25.006), strict=True):
        expected = 1000 * 0.01004 * titrant / 2.5 * 250 / aliquot * by_temperature**2
        assert result.value == pytest.approx(expected, rel=1e-12)
        assert result.unit == "mmol/L"
    # Limits of a class are evidence, which is noted.
    (noted,) = evaluation.findings
    assert noted.severity == "note" and "BUR, F250, P50, PP5" in noted.found


@pytest.mark.parametrize(
    ("symbol", "u", "words"),
    [
        # half-width/√6 (triangular) or /√3 (rectangular), GUM 4.3.7 and 4.3.9
        ("V_t.calibration", 0.03 / math.sqrt(6), "ISO 385:2005, class AS"),
        ("V_f.calibration", 0.15 / math.sqrt(3), "ISO 1042:1998, class A"),
        ("V_a.calibration", 0.1 / math.sqrt(6), "ISO 648:2008, class B"),
        # the error limit of the nominal volume, 40 µL, holds for 2.5 mL as well
        ("V_w.calibration", 0.040 / math.sqrt(6), "ISO 8655-2:2002"),
        ("V_w.filling", 0.015, "ISO 8655-2:2002"),
        ("V_t.reading at start", 0.02 / math.sqrt(3), "invented"),
        ("V_t.reading at end", 0.02 / math.sqrt(3), "invented"),
        ("V_t.last drop", 0.025 / math.sqrt(3), "invented"),
        ("V_f.meniscus", 0.05 / math.sqrt(3), "meniscus of F250"),
        ("V_f.filling", 0.04, "F250"),
        ("V_f.temperature", 2 / math.sqrt(3), "thermometer"),
        ("V_t.expansion", 2.07e-5, "Tanaka"),
    ],
)
def test_the_uncertainty_of_each_part(evaluation: Evaluation, symbol: str, u: float, words: str) -> None:
    row = rows_of(evaluation)[symbol]
    assert row.standard_uncertainty == pytest.approx(u, rel=1e-12)
    assert words in row.source


def test_a_certificate_goes_before_the_class(evaluation: Evaluation) -> None:
    rows = rows_of(evaluation, "HW-2")
    assert rows["V_a.calibration"].standard_uncertainty == pytest.approx(0.004)
    assert "certificate V-1" in rows["V_a.calibration"].source


def test_a_tolerance_of_its_own_goes_before_the_class(tmp_path: Path) -> None:
    register = REGISTER.replace('accuracy_class = "AS"', 'accuracy_class = "AS"\ntolerance = "0.012 mL"')
    register = register.replace('kind = "piston pipette"', 'kind = "piston pipette"\ntolerance = "0.02 mL"')
    rows = rows_of(evaluated(titration(tmp_path, register=register)))
    assert rows["V_t.calibration"].standard_uncertainty == pytest.approx(0.012 / math.sqrt(6))
    assert rows["V_t.calibration"].source == "BUR: tolerance of BUR"
    assert rows["V_w.calibration"].standard_uncertainty == pytest.approx(0.02 / math.sqrt(6))
    assert "V_w.filling" not in rows


def test_a_covered_effect_covers_reading_and_meniscus_as_well(tmp_path: Path) -> None:
    rows = rows_of(evaluated(titration(tmp_path, effect="negligible: checked by repeated titrations")))
    for symbol in ("V_f.filling", "V_f.meniscus", "V_t.reading at start", "V_t.last drop", "V_w.filling"):
        assert rows[symbol].standard_uncertainty == 0
        assert rows[symbol].source.startswith("negligible")
    assert rows["V_t.calibration"].standard_uncertainty > 0


def test_temperature_and_expansion_have_the_sensitivities_of_the_formula(evaluation: Evaluation) -> None:
    """d(value)/d(d) = -value (γ_l - γ_w)/(1 - (γ_l - γ_w) d) for one volume; the expansion of water acts on both."""
    value = evaluation.results[0].value
    assert value is not None
    gamma = 2.07e-4 - 9.9e-6
    rows = rows_of(evaluation)
    assert rows["V_f.temperature"].sensitivity_coefficient == pytest.approx(
        -value * gamma / (1 - gamma * 3.4), rel=1e-9
    )
    expected = -2 * value * 3.4 / (1 - gamma * 3.4)
    assert rows["V_t.expansion"].sensitivity_coefficient == pytest.approx(expected, rel=1e-9)
    assert rows["V_f.temperature"].estimate == 3.4


def test_a_shared_temperature_is_one_row(tmp_path: Path) -> None:
    rows = rows_of(evaluated(titration(tmp_path, shared=True)))
    (name,) = [symbol for symbol in rows if symbol.endswith(".temperature")]
    assert rows[name].estimate == 3.4


def test_toluene_made_up_at_25_degrees_is_off_by_half_a_per_cent(tmp_path: Path) -> None:
    """Toluene expands by 1.07e-3 in each kelvin: made up at 25 °C, 100 mL are 0.54 % less at 20 °C, five times the
    limit of the flask (cubic expansion: Lemmon, Span 2006; glass neglected)."""
    method = METHOD.replace('liquid = "water"\nware_material = "borosilicate 3.3"', 'liquid = "toluene"')
    method = method.replace('deviation = "3.4 K"', 'deviation = "5 K"')
    plain = evaluated(titration(tmp_path, method=method.replace('deviation = "5 K"\n', ""))).results[0].value
    moved = evaluated(titration(tmp_path, method=method)).results[0].value
    assert plain is not None and moved is not None
    assert (moved / plain) ** 0.5 - 1 == pytest.approx(-0.0054, abs=0.0001)


def test_quam_a1_temperature_with_named_water_and_glass(tmp_path: Path) -> None:
    """QUAM:2012, A1: 100 mL, ±4 °C, 2.1e-4 per °C: 0.084 mL half-width, 0.05 mL as standard uncertainty; the glass,
    which the guide drops, takes 5 % off."""
    method = """
[method]
id = "A1"
title = "Flask of QUAM A1"
version = "1"
status = "approved"
measurand = "volume"
unit = "mL"
equation = "W = V"

[coverage]
rule = "fixed"
k = 2

[symbols.V]
operation = "volume"
quantity = "volume of the flask"
unit = "mL"
nominal = "100 mL"
tolerance = "0.1 mL"
repeatability = "0.02 mL"

[symbols.V.temperature]
half_range = "4 K"
{}

[effects]
"filling repeatability" = "counted"
"""
    found = []
    for lines in (
        'expansion = "2.1e-4 1/K"',
        'liquid = "water"',
        'liquid = "water"\nware_material = "borosilicate 3.3"',
    ):
        path = tmp_path / "a1.toml"
        path.write_text(method.format(lines), encoding="utf-8")
        rows: dict[str, Any] = {row.symbol: row for row in evaluated(path).results[0].budget}
        found.append(abs(rows["V.temperature"].contribution))
    assert round(found[0], 2) == 0.05
    assert found[0] == pytest.approx(0.084 / math.sqrt(3))
    assert found[1] == pytest.approx(found[0], rel=0.02)
    assert found[2] / found[1] == pytest.approx(0.95, abs=0.005)


@pytest.mark.parametrize("shared", [False, True], ids=["own temperatures", "one temperature"])
def test_walk_of_uncertainties_agrees(shared: bool, tmp_path: Path) -> None:
    evaluation = evaluated(titration(tmp_path, shared=shared))
    walk = Walk(evaluation)
    numbers = [walk.cell(RESULTS, evaluation.assembly.value, row) for row in range(len(evaluation.keys))]
    for result, number in zip(evaluation.results, numbers, strict=True):
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        assert result.standard_uncertainty == pytest.approx(std_dev(number), rel=1e-12)
    expected = np.array(covariance_matrix(numbers))
    found = our_covariance(evaluation.propagated, evaluation.numbers)
    assert np.allclose(found, expected, rtol=1e-11, atol=0)


def test_a_measured_temperature_cancels_in_a_dilution_but_for_its_uncertainty(tmp_path: Path) -> None:
    """Flask and pipette at one deviation give the factor that their volumes give; two temperatures do not cancel."""
    lines = '\n[symbols.f.temperature]\nhalf_range = "2 K"\ndeviation = "4 K"\nliquid = "water"\n'
    material = 'ware_material = "polypropylene"\n'
    method = CURVE.replace('quantity = "dilution factor"\n', f'quantity = "dilution factor"\n{lines}{material}', 1)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    plain, warm = evaluated(write_run(tmp_path / "a")), evaluated(write_run(tmp_path / "b", method=method))
    for before, after in zip(plain.results, warm.results, strict=True):
        assert before.value is not None
        assert after.value == pytest.approx(before.value, rel=1e-12)
    rows = {row.symbol: row for row in warm.results[0].budget if "temperature" in row.symbol}
    aliquot, flask = rows["f.aliquot.temperature"], rows["f.flask.temperature"]
    assert aliquot.estimate == flask.estimate == 4
    assert aliquot.contribution == pytest.approx(-flask.contribution, rel=1e-9)
    # Polypropylene expands by more than water does: the sign turns.
    assert flask.contribution > 0
    walk = Walk(warm)
    number = walk.cell(RESULTS, warm.assembly.value, 0)
    assert warm.results[0].standard_uncertainty == pytest.approx(std_dev(number), rel=1e-12)
