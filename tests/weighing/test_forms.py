"""Weighings against closed formulas: which deviation is new at a reading, and which one all readings share."""

from __future__ import annotations

import math
import statistics
from pathlib import Path

import numpy as np
import pytest

from tests.weighing.weighing_runs import (
    AIR,
    BALANCES,
    BY_LOAD,
    CERTIFICATE,
    CERTIFIED_WEIGHT,
    CG18,
    CHECKED,
    DIFFERENCE,
    DIRECT,
    ERROR,
    FORMS,
    IN_USE,
    SIMPLE,
    TARED,
    USP,
    WEIGHT,
    evaluation_of,
    mass_rows,
    result_of,
    weighing_run,
)
from ubudget.evaluation.evaluate import Evaluation, Result

ROOT3 = math.sqrt(3)


def alone(folder: Path, symbols: str, equation: str = "w = m", unit: str = "mg", effects: str = "") -> Result:
    """The result of a method without run."""
    path = folder / "alone.toml"
    path.write_text(
        f'[method]\nid = "M-W"\ntitle = "Weighing"\nversion = "1"\nstatus = "approved"\nmeasurand = "mass"\n'
        f'unit = "{unit}"\nequation = "{equation}"\n\n{symbols}\n[coverage]\nrule = "t"\n\n[effects]\n{effects}',
        encoding="utf-8",
    )
    (result,) = evaluation_of(path).results
    return result


def symbol(name: str, lines: str) -> str:
    return f'[symbols.{name}]\noperation = "weighing"\nquantity = "mass"\nunit = "mg"\n{lines}\n'


BY_DIFFERENCE = 'tare = "60.1562 g"\ngross = "60.5450 g"\n'


def test_linearity_counts_for_tare_and_for_gross(tmp_path: Path) -> None:
    """QUAM:2012 A2: a = 0.15 mg, u = √2·0.15/√3 = 0.1225 mg (printed 0.13, made from the rounded 0.09)."""
    u = alone(tmp_path, symbol("m", BY_DIFFERENCE + 'linearity = "0.15 mg"')).standard_uncertainty
    assert u is not None
    assert round(u, 5) == 0.12247
    assert abs(u - 0.13) <= 0.0076


def test_resolution_counts_for_tare_and_for_gross(tmp_path: Path) -> None:
    """√2·d/√12 = 0.040825 mg for d = 0.1 mg (EURAMET cg-18 v4.0, 7.1.1: once unloaded, once loaded)."""
    u = alone(tmp_path, symbol("m", BY_DIFFERENCE + 'resolution = "0.1 mg"')).standard_uncertainty
    assert u is not None and round(u, 6) == 0.040825


def test_a_direct_reading_is_that_of_the_guide(tmp_path: Path) -> None:
    """u²(I) = d0²/12 + dI²/12 + s² + (u_ecc I)² (EURAMET cg-18 v4.0, 7.1.1; in use |dI_ecc|/(L_ecc √3), 7.4)."""
    limits = 'resolution = "0.1 mg"\nresolution_at_zero = "0.02 mg"\nrepeatability = "0.08 mg"\n'
    limits += 'eccentricity = "0.3 mg"\neccentricity_load = "100 g"\n'
    lines = f'reading = "direct"\nnet = "80 g"\n{limits}'
    u = alone(tmp_path, symbol("m", lines), effects='"weighing repeatability" = "counted"').standard_uncertainty
    expected = math.sqrt(0.02**2 / 12 + 0.1**2 / 12 + 0.08**2 + (0.3 / 100_000 / ROOT3 * 80_000) ** 2)
    assert u == pytest.approx(expected, rel=1e-12)


def test_a_tared_balance_has_the_deviations_of_two_readings(tmp_path: Path) -> None:
    """As by difference, but for eccentricity: the vessel stays on the pan."""
    limits = 'resolution = "0.1 mg"\nlinearity = "0.2 mg"\n'
    tared = alone(tmp_path, symbol("m", f'reading = "tared"\nnet = "388.8 mg"\nvessel = "60 g"\n{limits}'))
    both = alone(tmp_path, symbol("m", BY_DIFFERENCE + limits))
    assert tared.standard_uncertainty == pytest.approx(both.standard_uncertainty, rel=1e-12)
    assert tared.value == pytest.approx(both.value, rel=1e-12)
    shape = 'eccentricity = "0.3 mg"\neccentricity_distribution = "triangular"\n'
    tared = alone(tmp_path, symbol("m", f'reading = "tared"\nnet = "388.8 mg"\n{shape}linearity = "1 mg"'))
    assert [row.symbol for row in tared.budget if "eccentricity" in row.symbol] == ["m.load eccentricity"]
    assert tared.standard_uncertainty == pytest.approx(math.sqrt(0.3**2 / 6 + 2 / 3), rel=1e-12)


def test_span_errors_are_shared_and_cancel_in_part(tmp_path: Path) -> None:
    """K_T ΔT/√12 with the whole span ΔT, and drift a/√3, both relative (EURAMET cg-18 v4.0, 7.4): on the net mass."""
    span = 'temperature_coefficient = "1.5e-5 1/K"\ntemperature_half_range = "4 K"\nadjustment_drift = "0.002 %"\n'
    one = alone(tmp_path, symbol("m", BY_DIFFERENCE + 'linearity = "0.15 mg"\n' + span))
    rows = {row.symbol: row for row in one.budget}
    assert abs(rows["m.temperature since adjustment"].contribution) == pytest.approx(
        388.8 * 1.5e-5 * 8 / math.sqrt(12), rel=1e-9
    )
    assert abs(rows["m.adjustment drift"].contribution) == pytest.approx(388.8 * 2e-5 / ROOT3, rel=1e-9)
    assert len(rows) == 4


def with_second_mass(folder: Path, balance: str) -> Evaluation:
    """A run whose equation divides by the mass and multiplies by another weighing on the same balance."""
    second = symbol("m2", f'balance = "BAL-1"\n{DIFFERENCE}').replace('"mg"', '"kg"')
    path = weighing_run(folder, balance=balance, more="\n" + second)
    text = (path / "method.toml").read_text(encoding="utf-8").replace("/m*F*R", "/m*F*R*(m2/m)")
    (path / "method.toml").write_text(text, encoding="utf-8")
    return evaluation_of(path)


def test_one_balance_has_one_span_error_for_all_its_readings(tmp_path: Path) -> None:
    """w = … m2/m²: the relative span error enters as δ - 2δ, one deviation of one row; linearity is new each time."""
    result = result_of(with_second_mass(tmp_path, BY_LOAD))
    rows = mass_rows(result)
    drift = rows["BAL-1.adjustment drift"]
    assert result.value is not None
    assert drift.contribution == pytest.approx(-result.value * 4e-6 / ROOT3, rel=1e-9)
    assert sum("linearity" in name for name in rows) == 4
    assert sum("drift" in name for name in rows) == 1


@pytest.mark.parametrize("form", FORMS)
def test_u_in_use_replaces_the_components(form: str, tmp_path: Path) -> None:
    """u = (alpha + beta W)/k at each reading, independent (EURAMET cg-18 v4.0, 7.5)."""
    result = result_of(evaluation_of(weighing_run(tmp_path, form=FORMS[form], balance=CERTIFICATE + IN_USE)))
    loads = {
        "by difference": {"m.gross": 12600.1, "m.tare": 12101.2},
        "tared": {"m.load": 12498.9, "m.zero": 12000.0},
        "direct": {"m.load": 498.9},
    }[form]
    found = {row.symbol: 1e6 * (row.standard_uncertainty or 0.0) for row in mass_rows(result).values()}
    assert found == pytest.approx(
        {f"{name} indication in use": (0.24 + 3.1e-6 * load) / 2 for name, load in loads.items()}, rel=1e-12
    )


POINTS = (("0.2 g", 0.05), ("5 g", 0.08), ("20 g", 0.11), ("100 g", 0.3))


@pytest.mark.parametrize("load", [0.1, 0.2, 3.0, 5.0, 17.5, 20.0, 64.0, 100.0, 180.0])
def test_repeatability_by_load(load: float, tmp_path: Path) -> None:
    """Linear between two loads and constant beyond: numpy.interp."""
    points = "".join(f'\n[[symbols.m.repeatability_at]]\nload = "{at}"\ns = "{s} mg"\ndof = 9\n' for at, s in POINTS)
    result = alone(
        tmp_path,
        symbol("m", f'reading = "direct"\nnet = "{load} g"\n{points}'),
        effects='"weighing repeatability" = "counted"',
    )
    expected = np.interp(load, [float(at.split()[0]) for at, _ in POINTS], [s for _, s in POINTS])
    assert result.standard_uncertainty == pytest.approx(float(expected), rel=1e-9)
    assert result.effective_degrees_of_freedom == pytest.approx(9)


READINGS = (50.0003, 50.0001, 50.0002, 50.0004, 50.0002, 50.0001)


def test_check_weighings_are_evaluated_by_statistics(tmp_path: Path) -> None:
    """s with n - 1 degrees of freedom (GUM 4.2.2); E = mean - mass, u² = u²(weight) + s²/n + d²/12 + d²/12 (cg-18)."""
    s = statistics.stdev(READINGS) * 1000
    for weight, mass, u_weight in ((WEIGHT, 50.0, 0.3 / ROOT3), (CERTIFIED_WEIGHT, 50.00005, 0.03)):
        path = weighing_run(tmp_path, form=DIRECT, balance=CHECKED, register=weight)
        evaluation = evaluation_of(path)
        rows = mass_rows(result_of(evaluation))
        repeatability, indication = rows["m.load repeatability"], rows["m.load indication"]
        assert repeatability.standard_uncertainty == pytest.approx(1e-6 * s, rel=1e-9)
        assert repeatability.degrees_of_freedom == 5
        variance = u_weight**2 + s**2 / 6 + 2 * 0.1**2 / 12
        assert indication.standard_uncertainty == pytest.approx(1e-6 * math.sqrt(variance), rel=1e-9)
        assert indication.degrees_of_freedom == pytest.approx(variance**2 / ((s**2 / 6) ** 2 / 5), rel=1e-8)
        error = statistics.fmean(READINGS) - mass
        found = evaluation.column("m", "portions")[1]
        assert found == pytest.approx(1e-3 * (0.4989 - error), rel=1e-9)


@pytest.mark.parametrize(("form", "shift"), [("by difference", 0.0), ("tared", 0.0), ("direct", 0.3)])
def test_an_error_of_indication_corrects_a_direct_reading(form: str, shift: float, tmp_path: Path) -> None:
    """W = R - E(R) (EURAMET cg-18 v4.0, 7.5); the same E at tare and gross cancels."""
    balance = 'repeatability = "0.1 mg"\n' + CERTIFICATE + ERROR
    evaluation = evaluation_of(weighing_run(tmp_path, form=FORMS[form], balance=balance))
    assert evaluation.column("m", "portions")[1] == pytest.approx(1e-6 * (498.9 - shift), rel=1e-9)


def test_a_covered_repeatability_is_zero_however_it_is_known(tmp_path: Path) -> None:
    for name in ("by load", "check weighings"):
        path = weighing_run(tmp_path, balance=BALANCES[name], register=WEIGHT)
        text = (path / "method.toml").read_text(encoding="utf-8")
        text = text.replace('"weighing repeatability" = "counted"', '"weighing repeatability" = "covered by R"')
        (path / "method.toml").write_text(text, encoding="utf-8")
        rows = mass_rows(result_of(evaluation_of(path)))
        for reading in ("gross", "tare"):
            row = rows[f"m.{reading} repeatability"]
            assert (row.standard_uncertainty, row.source) == (0.0, "covered by R")


# --- Air buoyancy ---


def test_applied_buoyancy_and_its_uncertainty(tmp_path: Path) -> None:
    """u²_rel = (1/rho_s - 1/rho_w)² u²(rho_a) + (rho_a/rho_s²)² u²(rho_s), to first order (EURAMET cg-18 v4.0, 4.2)."""
    evaluation = evaluation_of(weighing_run(tmp_path, more=AIR["stated"]))
    result = result_of(evaluation)
    factor = (1 - 1.19 / 8000) / (1 - 1.19 / 2650)
    assert evaluation.column("m", "portions")[1] == pytest.approx(4.989e-4 * factor, rel=1e-12)
    rows = mass_rows(result)
    assert result.value is not None
    by_air = (1 / 2650 - 1 / 8000) * 0.02
    by_sample = 1.19 / 2650**2 * 200 / math.sqrt(6)
    assert abs(rows["m.rho_air stated"].contribution / result.value) == pytest.approx(by_air, rel=2e-3)
    assert abs(rows["m.rho_sample"].contribution / result.value) == pytest.approx(by_sample, rel=2e-3)


@pytest.mark.parametrize(("air", "effect"), [("left out", (1 - 1.2 / 8000) / (1 - 1.2 / 2650) - 1), ("bound", 3e-4)])
def test_buoyancy_left_out_is_an_uncertainty(air: str, effect: float, tmp_path: Path) -> None:
    """The factor is exactly 1; u_rel = |effect|/√3 (rectangular, GUM 4.3.7)."""
    evaluation = evaluation_of(weighing_run(tmp_path, more=AIR[air]))
    result = result_of(evaluation)
    assert evaluation.column("m", "portions")[1] == evaluation.column("m before buoyancy", "portions")[1]
    row = mass_rows(result)["m.buoyancy left out"]
    assert result.value is not None and row.estimate == 0
    assert abs(row.contribution / result.value) == pytest.approx(effect / ROOT3, rel=1e-9)
    assert "left out" in row.source and "declared bound" in row.source


def test_air_of_another_weighing_is_the_same_deviation(tmp_path: Path) -> None:
    """One air for two weighings of like density: its uncertainty has no part in their ratio."""
    own = '[symbols.{0}.buoyancy]\ntreatment = "applied"\n{1}\n[symbols.{0}.buoyancy.sample_density]\n'
    own += 'estimate = "2650 kg/m^3"\nexact = true\n'
    stated = '[symbols.m.buoyancy.air_density]\nestimate = "1.19 kg/m^3"\nu = "0.05 kg/m^3"\n'
    limits = BY_DIFFERENCE + 'linearity = "0.15 mg"\n'
    first = symbol("m", limits) + own.format("m", stated)
    second = symbol("m2", limits) + own.format("m2", 'air_of = "m"\n')
    result = alone(tmp_path, first + second, "w = m/m2", "1")
    (row,) = [row for row in result.budget if "rho_air" in row.symbol]
    assert row.standard_uncertainty == 0.05
    assert abs(row.contribution) < 1e-15


# --- Minimum mass ---

USP_ROWS = [
    # s, d, minimum, all in g (USP <41>, text official 1 August 2019)
    pytest.param("0.00015 g", "0.0001 g", 0.30000, id="printed in the chapter"),
    pytest.param("0.00003 g", "0.0001 g", 0.082, id="s below 0.41 d: 820 d"),
    pytest.param("0.0000025 g", "0.000001 g", 0.005, id="printed in a public summary"),
    pytest.param("0.00003 g", "0.00001 g", 0.060, id="printed in the same summary"),
]


@pytest.mark.parametrize(("s", "d", "minimum"), USP_ROWS)
def test_minimum_by_usp_41(s: str, d: str, minimum: float, tmp_path: Path) -> None:
    """2 s/m ≤ 0.10 %, s not below 0.41 d."""
    balance = f'resolution = "{d}"\nrepeatability = "{s}"\n'
    evaluation = evaluation_of(weighing_run(tmp_path, form=DIRECT, balance=balance, more=USP))
    assert evaluation.column("minimum", "minimum masses")[0] == pytest.approx(1000 * minimum, rel=1e-12)


def test_minimum_by_the_guide_meets_its_own_requirement(tmp_path: Path) -> None:
    """At m_min, SF·(alpha + beta m) is the required part of m (EURAMET cg-18 v4.0, Appendix G)."""
    evaluation = evaluation_of(weighing_run(tmp_path, form=TARED, balance=CERTIFICATE + IN_USE, more=CG18))
    minimum = float(evaluation.column("minimum", "minimum masses")[0])
    assert 2 * (0.24 + 3.1e-6 * minimum) == pytest.approx(0.001 * minimum, rel=1e-12)


def test_a_mass_below_the_minimum_is_told(tmp_path: Path) -> None:
    """Named are sample, mass and minimum; one portion lies below 0.5 g and one above."""
    balance = 'resolution = "0.1 mg"\nlinearity = "0.2 mg"\nrepeatability = "0.25 mg"\n'
    evaluation = evaluation_of(weighing_run(tmp_path, balance=balance, more=USP))
    (finding,) = [finding for finding in evaluation.findings if "minimum" in finding.found]
    assert (finding.severity, finding.place) == ("attend", "row 2 (SED-02), m")
    assert "0.0004989 kg" in finding.found and "0.0005 kg" in finding.found
    flags = {result.sample: result.flags for result in evaluation.results}
    assert any("minimum sample weight" in flag for flag in flags["SED-02"])
    assert not any("minimum sample weight" in flag for flag in flags["SED-01"])


def test_the_plain_balance_is_as_before(tmp_path: Path) -> None:
    """A balance with single components keeps its three columns of u, and no table stands beside it."""
    tables = evaluation_of(weighing_run(tmp_path, balance=SIMPLE)).graph.tables
    assert not {"repeatability by load", "check weighings", "weights", "minimum masses", "buoyancy of m"} & set(tables)
