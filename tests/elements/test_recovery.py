"""Recovery against published figures, and its treatments against plain arithmetic of the published formulas."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.elements.test_molar_mass import evaluated
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records
from ubudget.pages.statement import statement

EXACT = '[symbols.x]\noperation = "input"\nquantity = "found"\nestimate = 1\nexact = true\n'


def with_recovery(folder: Path, studies: str, treatment: str = "corrected", more: str = "") -> Evaluation:
    symbol = f'[symbols.R]\noperation = "recovery"\nquantity = "recovery"\ntreatment = "{treatment}"\n{more}\n'
    return evaluated(folder, "y = x/R", EXACT + symbol + studies, "")


def figure(evaluation: Evaluation, column: str, table: str = "recoveries") -> float:
    (value,) = evaluation.column(column, table)
    return float(value)


SPIKES = "[[symbols.R.spike]]\nrecovered = 0.90\ns = 0.28\nn = 42\n"
"""EURACHEM/CITAC CG 4, QUAM:2012.P1, Example A4, Table A4.4: mean recovery 90 %, s 28 %, n 42."""


def test_the_recovery_of_pesticides_in_bread(tmp_path: Path) -> None:
    """QUAM:2012.P1, A4: u(Rec) = 0.28/sqrt(42) = 0.0432, t = 0.1/0.0432 = 2.31, to be compared with 2.02."""
    evaluation = with_recovery(tmp_path, SPIKES, more='significance = "t"')
    assert f"{figure(evaluation, 'u(R)'):.4f}" == "0.0432"
    assert f"{figure(evaluation, 't'):.2f}" == "2.31"
    assert f"{figure(evaluation, 'critical'):.2f}" == "2.02"
    assert figure(evaluation, "significant") == 1
    assert figure(evaluation, "ν") == pytest.approx(41)


def test_the_result_of_pesticides_in_bread(tmp_path: Path) -> None:
    """QUAM:2012.P1, A4: P_rel = 1*1/0.9 = 1.111 with u = 0.377, from 0.27 (precision), 0.0432 and 0.2 (homogeneity)."""
    symbols = "".join(
        f'[symbols.{name}]\noperation = "input"\nquantity = "x"\nestimate = 1\nu = {u}\n'
        for name, u in (("rep", 0.27), ("hom", 0.2))
    )
    symbols += '[symbols.R]\noperation = "recovery"\nquantity = "recovery"\ntreatment = "corrected"\n' + SPIKES
    (result,) = evaluated(tmp_path, "y = rep*hom/R", symbols, "").results
    assert result.value == pytest.approx(1.111, abs=5e-4)
    assert f"{result.standard_uncertainty:.3f}" == "0.377"


@pytest.mark.parametrize(
    ("element", "mean", "s", "certified", "u_certified", "printed"),
    # Trancoso et al., Dairy Sci. Technol. 89 (2009) 241-256, Table V, reference materials of milk, six results each:
    # printed relative u of the recovery, where it follows from the printed figures.
    [
        ("Ca", "14000", "780", "13490", 50, "0.023"),
        ("P", "11100", "330", "11100", 65, "0.013"),
        ("Cl", "10020", "320", "9940", 150, "0.020"),
    ],
)
def test_recovery_of_elements_in_milk(
    element: str, mean: str, s: str, certified: str, u_certified: int, printed: str, tmp_path: Path
) -> None:
    study = (
        f'[[symbols.R.reference_material]]\nmeasured = "{mean} mg/kg"\ns = "{s} mg/kg"\nn = 6\n'
        f'certified = "{certified} mg/kg"\nU = "{2 * u_certified} mg/kg"\nk = 2\n'
    )
    evaluation = with_recovery(tmp_path, study)
    assert f"{figure(evaluation, 'relative', 'recovery studies'):.3f}" == printed


# -- treatments: Barwick and Ellison, Analyst 124 (1999) 981; IUPAC, Pure Appl. Chem. 71 (1999) 337 ------------------

R, U_R = 0.9, 0.28 / math.sqrt(42)
TREATMENTS = {
    "corrected": (1 / R, U_R / R**2),
    "not significant": (1.0, U_R),
    "uncorrected, widened": (1.0, math.sqrt((0.1 / 2) ** 2 + U_R**2)),
    "covered by x": (1.0, 0.0),
    "zero by definition: an extract has no recovery": (1.0, 0.0),
}
SAID = {
    "corrected": "Results are corrected for recovery.",
    "not significant": "Results are not corrected for recovery, which does not differ from 1 significantly",
    "uncorrected, widened": "Results are not corrected for recovery, which differs from 1; the uncertainty is widened",
    "covered by x": "Results are not corrected for recovery; its uncertainty is part of: found.",
    "zero by definition: an extract has no recovery": "by definition of the method: an extract has no recovery.",
}


@pytest.mark.parametrize("treatment", TREATMENTS)
def test_treatments(treatment: str, tmp_path: Path) -> None:
    evaluation = with_recovery(tmp_path, SPIKES, treatment)
    (result,) = evaluation.results
    value, u = TREATMENTS[treatment]
    assert result.value == pytest.approx(value, rel=1e-12)
    assert result.standard_uncertainty == pytest.approx(u, rel=1e-12, abs=1e-15)
    row = next(row for row in result.budget if row.symbol == "R")
    assert row.source.startswith(treatment)
    assert SAID[treatment] in statement(result, evaluation.records.method)
    told = [finding for finding in evaluation.findings if "differs from 1" in finding.found]
    assert bool(told) == (treatment == "not significant")
    assert all(finding.severity == "attend" for finding in told)


TWO = (
    '[[symbols.R.reference_material]]\nmeasured = "82.4 mg/kg"\nu = "0.9 %"\ncertified = "84.6 mg/kg"\n'
    'U = "2.2 mg/kg"\nk = 2\n'
    '[[symbols.R.spike]]\nrecovered = "4.85 mg/L"\ns = "0.12 mg/L"\nn = 9\nadded = "5.00 mg/L"\nadded_u = "0.6 %"\n'
)
R1, R2 = 82.4 / 84.6, 0.97
U1 = R1 * math.hypot(0.009, 1.1 / 84.6)
U2 = R2 * math.hypot(0.04 / 4.85, 0.006)


def test_product_of_material_and_spike(tmp_path: Path) -> None:
    """R = R_m R_s (Barwick and Ellison, Accred. Qual. Assur. 5 (2000) 47); ν by Welch and Satterthwaite (GUM G.4)."""
    evaluation = with_recovery(tmp_path, TWO, more='combine = "product"')
    relative = math.hypot(U1 / R1, U2 / R2)
    assert figure(evaluation, "R") == pytest.approx(R1 * R2, rel=1e-12)
    assert figure(evaluation, "u(R)") == pytest.approx(R1 * R2 * relative, rel=1e-12)
    nu = relative**4 / ((0.04 / 4.85) ** 4 / 8)
    assert figure(evaluation, "ν") == pytest.approx(nu, rel=1e-9)


def test_weighted_mean_of_material_and_spike(tmp_path: Path) -> None:
    """Mean of independent estimates with weights 1/u², u = 1/sqrt(sum of weights): textbook, e.g. ISO 28037 Annex."""
    evaluation = with_recovery(tmp_path, TWO, more='combine = "weighted mean"')
    w1, w2 = U1**-2, U2**-2
    assert figure(evaluation, "R") == pytest.approx((w1 * R1 + w2 * R2) / (w1 + w2), rel=1e-12)
    assert figure(evaluation, "u(R)") == pytest.approx((w1 + w2) ** -0.5, rel=1e-12)


def test_studies_that_disagree_are_told(tmp_path: Path) -> None:
    apart = TWO.replace("4.85 mg/L", "5.45 mg/L")
    evaluation = with_recovery(tmp_path, apart, more='combine = "weighted mean"')
    assert any("averaged" in finding.found and finding.severity == "attend" for finding in evaluation.findings)
    evaluation = with_recovery(tmp_path, apart, more='combine = "product"')
    assert not any("averaged" in finding.found for finding in evaluation.findings)


@pytest.mark.parametrize(
    ("combine", "studies", "words"),
    [
        ('combine = "product"', SPIKES + SPIKES, "several studies of one kind"),
        ("", SPIKES + SPIKES, "no word on how they combine"),
        ("", TWO, "no word on how they combine"),
    ],
)
def test_a_combination_is_stated_and_of_different_steps(combine: str, studies: str, words: str, tmp_path: Path) -> None:
    """R = R_m R_s holds for recoveries of different steps (Barwick and Ellison 2000), not for one found twice."""
    text = (
        '[method]\nid = "R"\ntitle = "R"\nversion = "1"\nstatus = "approved"\nmeasurand = "R"\nunit = ""\n'
        f'equation = "y = x/R"\n{EXACT}[symbols.R]\noperation = "recovery"\nquantity = "R"\n'
        f'treatment = "corrected"\n{combine}\n{studies}'
    )
    (tmp_path / "method.toml").write_text(text, encoding="utf-8")
    records, _ = read_records(tmp_path / "method.toml")
    assert records is not None
    evaluation, findings = evaluate(records)
    assert evaluation is None
    assert any(words in finding.found for finding in findings)


BAD = {
    "unknown treatment": (SPIKES, "halved", "accepted"),
    "covered by nothing known": (SPIKES, "covered by d_r", "covered by the unknown symbol d_r"),
    "no study": ("", "corrected", "without a study of recovery"),
    "s without n": (SPIKES.replace("n = 42\n", ""), "corrected", "one of s and n"),
    "no scatter": (SPIKES.replace("s = 0.28\nn = 42\n", ""), "corrected", "both or none of s and u"),
    "amount found alone": (SPIKES.replace("0.90", '"0.9 mg/L"'), "corrected", "found without added"),
    "certified without U": (
        "[[symbols.R.reference_material]]\nmeasured = 1\nu = 0.1\ncertified = 1\n",
        "corrected",
        "a part of certified, U and k",
    ),
    "no certified value": ("[[symbols.R.reference_material]]\nmeasured = 1\nu = 0.1\n", "corrected", "no certified"),
    "item of no register": (
        '[[symbols.R.reference_material]]\nitem = "RM-9"\nmeasured = 1\nu = 0.1\n',
        "corrected",
        "RM-9, which is no matrix reference material",
    ),
    "unknown analyte": (SPIKES.replace("recovered", 'analyte = "Xy"\nrecovered'), "corrected", "unknown analyte Xy"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_recoveries_are_told(name: str, tmp_path: Path) -> None:
    studies, treatment, words = BAD[name]
    text = (
        '[method]\nid = "R"\ntitle = "R"\nversion = "1"\nstatus = "approved"\nmeasurand = "R"\nunit = ""\n'
        f'equation = "y = x/R"\n{EXACT}[symbols.R]\noperation = "recovery"\nquantity = "R"\n'
        f'treatment = "{treatment}"\n{studies}'
    )
    (tmp_path / "method.toml").write_text(text, encoding="utf-8")
    records, findings = read_records(tmp_path / "method.toml")
    lines = [finding.line() for finding in findings if finding.severity == "stop"]
    assert records is None
    assert any(words in line for line in lines), lines
