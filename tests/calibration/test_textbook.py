"""Inverse prediction of a run against the classical formula, worked by hand on the readings.

u(x0) = (s/b) sqrt(1/p + 1/n + (x0 - x_mean)^2/Sxx), EURACHEM/CITAC Guide CG 4, QUAM:2012.P1, Appendix E.4 and example
A5; weighted, 1/p becomes 1/(p w0), n the sum of weights, mean and Sxx their weighted forms (L. A. Currie, Pure Appl.
Chem. 67 (1995) 1699, and ISO 11095, in substance; from memory). Standards are exact there.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]  # ships no types
from scipy import stats

from tests.calibration.runs import (
    DILUTED,
    FLOOR,
    LEVEL_S,
    NOISE_CONSTANT,
    NOISE_RELATIVE,
    WEIGHTS,
    Declared,
    concentrations,
    evaluated,
    readings,
)
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.reading import read_records
from ubudget.files.shipped import shipped_folder

LINE = "257.610"


def by_hand(
    x: list[float], y: list[float], w: list[float], y0: float, p: int, w0: float, s: float | None
) -> tuple[float, float]:
    """x0 and u(x0) of a weighted line; `s` of a reading of weight 1, or None for the residual s."""
    total = sum(w)
    x_mean = sum(wi * xi for wi, xi in zip(w, x, strict=True)) / total
    y_mean = sum(wi * yi for wi, yi in zip(w, y, strict=True)) / total
    Sxx = sum(wi * (xi - x_mean) ** 2 for wi, xi in zip(w, x, strict=True))
    b = sum(wi * (xi - x_mean) * (yi - y_mean) for wi, xi, yi in zip(w, x, y, strict=True)) / Sxx
    squares = sum(wi * (yi - y_mean - b * (xi - x_mean)) ** 2 for wi, xi, yi in zip(w, x, y, strict=True))
    if s is None:
        s = math.sqrt(squares / (len(x) - 2))
    x0 = x_mean + (y0 - y_mean) / b
    return x0, s / b * math.sqrt(1 / (p * w0) + 1 / total + (x0 - x_mean) ** 2 / Sxx)


def weight(rule: str, x: float, y: float, s: float, fitted: float) -> float:
    """The rules as laboratories write them down; 1/y by the ordinate fitted without weights."""
    return {
        "none": 1.0,
        "1/x": 1 / max(x, FLOOR),
        "1/x^2": 1 / max(x, FLOOR) ** 2,
        "1/y": 1 / fitted,
        "1/s^2": 1 / s**2,
        "noise model": 1 / (NOISE_CONSTANT**2 + (NOISE_RELATIVE * y) ** 2),
        "pooled s per level": 1 / float(np.interp(x, *np.array(LEVEL_S[""]).T[:2])) ** 2,
    }[rule]


@pytest.mark.parametrize(
    ("rule", "known"),
    # Only these rules are variances of a reading, so that the scatter can be known from them.
    [*((rule, False) for rule in WEIGHTS), ("1/s^2", True), ("noise model", True), ("pooled s per level", True)],
)
def test_the_classical_formula_with_the_unknowns_own_weight(rule: str, known: bool) -> None:
    declared = Declared(weights=rule, standards="exact", known=known, lines=(LINE,))
    recorded = readings(declared)
    x, y, w = [], [], []
    for label, concentration in concentrations().items():
        level = recorded[label, LINE]
        x += [concentration] * len(level)
        y += level
    slope, intercept = (float(value) for value in np.polyfit(x, y, 1))
    for label, concentration in concentrations().items():
        level = recorded[label, LINE]
        mean, s = float(np.mean(level)), float(np.std(level, ddof=1))
        w += [weight(rule, concentration, mean, s, intercept + slope * concentration)] * len(level)
    for result in evaluated(declared).results[:2]:
        level = recorded[result.sample, LINE]
        y0, s0 = float(np.mean(level)), float(np.std(level, ddof=1))
        x0, _ = by_hand(x, y, w, y0, len(level), 1.0, 1.0)
        w0 = weight(rule, x0, y0, s0, y0)
        value, u = by_hand(x, y, w, y0, len(level), w0, 1.0 if known else None)
        assert result.sample != DILUTED[1]
        assert result.value == pytest.approx(value, rel=1e-10)
        assert result.standard_uncertainty == pytest.approx(u, rel=1e-10)
        # One group that rests on one variance estimate: n - 2 degrees of freedom; known scatter has infinitely many,
        # or those of the validation data.
        stated = min(dof for _, _, dof in LEVEL_S[""]) if rule == "pooled s per level" else None
        expected = stated if known else len(x) - 2
        found = result.effective_degrees_of_freedom
        assert found is None if expected is None else found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("rule", ["1/s^2", "noise model", "pooled s per level"])
def test_chi_squared_of_a_known_scatter(rule: str) -> None:
    """Observed chi-squared = sum of w r² with n - 2 degrees of freedom (ISO/TS 28037:2010, clause 6; from memory), by
    polyfit of numpy and the distribution of scipy."""
    declared = Declared(weights=rule, standards="exact", known=True, lines=(LINE,))
    recorded = readings(declared)
    x, y, w = [], [], []
    for label, concentration in concentrations().items():
        level = recorded[label, LINE]
        x += [concentration] * len(level)
        y += level
        mean, s = float(np.mean(level)), float(np.std(level, ddof=1))
        w += [weight(rule, concentration, mean, s, mean)] * len(level)
    residuals = np.array(y) - np.polyval(np.polyfit(x, y, 1, w=np.sqrt(w)), x)
    chi = float(np.array(w) @ residuals**2)
    evaluation = evaluated(declared)
    assert evaluation.column("chi squared", "curves")[0] == pytest.approx(chi, rel=1e-9)
    p = float(stats.chi2.sf(chi, len(y) - 2))
    assert evaluation.column("p chi squared", "curves")[0] == pytest.approx(p, rel=1e-9)


@pytest.mark.parametrize("curve", ["line", "line through zero", "quadratic"])
def test_weights_by_the_fitted_reading_against_another_library(curve: str) -> None:
    """Parameters, their u and the residual s of statsmodels' OLS, then WLS with the weights 1/y of its ordinates."""
    declared = Declared(curve, "1/y", standards="exact", lines=(LINE,))
    recorded = readings(declared)
    x = np.array([c for label, c in concentrations().items() for _ in recorded[label, LINE]])
    y = np.array([value for label in concentrations() for value in recorded[label, LINE]])
    powers = {"line": [0, 1], "line through zero": [1], "quadratic": [0, 1, 2]}[curve]
    design = np.stack([x**power for power in powers], axis=1)
    first = sm.OLS(y, design).fit()
    lowest = float(first.predict([[FLOOR**power for power in powers]])[0]) if curve == "line through zero" else 0.0
    found = sm.WLS(y, design, weights=1 / np.maximum(first.fittedvalues, lowest)).fit()

    evaluation = evaluated(declared)
    columns = {"line": ["intercept", "slope"], "line through zero": ["slope"], "quadratic": ["a", "b of x", "c of x²"]}
    ours = [evaluation.column(name, "curves")[0] for name in columns[curve]]
    assert ours == pytest.approx(list(found.params), rel=1e-9)
    largest = evaluation.column("w_max", "curves")[0]
    assert evaluation.column("s", "curves")[0] * math.sqrt(largest) == pytest.approx(math.sqrt(found.scale), rel=1e-9)
    if curve != "quadratic":
        assert evaluation.column("u(slope)", "curves")[0] == pytest.approx(found.bse[-1], rel=1e-9)


@pytest.mark.parametrize(("curve", "degree"), [("line", 1), ("quadratic", 2)])
def test_a_term_between_levels_by_refitting_with_each_standard_moved(curve: str, degree: int) -> None:
    """Parts of u that are another standard's deviation each (numpy's polyfit anew, by central differences), and the
    scatter within levels, pooled (JCGM 100:2008, H.3.6, with n - levels degrees of freedom)
    in the classical formula of the reading and of the parameters."""
    declared = Declared(curve, standards="exact", between_levels="0.4 %", lines=(LINE,))
    recorded, levels = readings(declared), concentrations()
    y = np.array([value for label in levels for value in recorded[label, LINE]])
    size = len(y) // len(levels)
    within = np.concatenate([np.subtract(recorded[label, LINE], np.mean(recorded[label, LINE])) for label in levels])
    s = math.sqrt(float(within @ within) / (len(y) - len(levels)))
    for result in evaluated(declared).results[:2]:
        y0 = float(np.mean(recorded[result.sample, LINE]))

        def predicted(x: list[float], y0: float = y0, near: float = result.value or 0.0) -> float:
            roots = (np.polynomial.Polynomial.fit(np.repeat(x, size), y, degree) - y0).roots()
            return float(min(roots.real, key=lambda root: abs(root - near)))

        x = list(levels.values())
        moved = 0.0
        for row, at in enumerate(x):
            up, down = ([*x[:row], at * (1 + way * 1e-4), *x[row + 1 :]] for way in (1, -1))
            moved += ((predicted(up) - predicted(down)) / 2e-4 * 0.004) ** 2
        design = np.vander(np.repeat(x, size), degree + 1)
        parameters = np.linalg.lstsq(design, y, rcond=None)[0]
        x0 = predicted(x)
        row0, slope = np.vander([x0], degree + 1)[0], np.polyval(np.polyder(parameters), x0)
        of_curve = row0 @ np.linalg.inv(design.T @ design) @ row0
        expected = math.sqrt(moved + (s / slope) ** 2 * (1 / size + of_curve))
        assert result.value == pytest.approx(x0, rel=1e-9)
        assert result.standard_uncertainty == pytest.approx(expected, rel=1e-6)
        dof = {row.degrees_of_freedom for row in result.budget if not row.symbol.startswith("c.between")}
        assert {len(y) - len(levels)} == {nu for nu in dof if nu is not None}


def test_cadmium_of_quam_a5() -> None:
    """QUAM:2012.P1, Appendix A, Example A5: c0 = 0.26 mg/L, u(c0) = 0.018 mg/L, n - 2 = 13 (15 readings)."""
    records, findings = read_records(shipped_folder("worked_examples") / "published" / "quam_a5")
    assert records is not None, findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    (x0,) = evaluation.column("c", "measured lines").tolist()
    own = [row for row in evaluation.results[0].budget if row.symbol.startswith("c_0.")]
    area = 0.332 / 2.37
    u = math.sqrt(sum((row.contribution / area) ** 2 for row in own))
    assert round(x0, 2) == 0.26
    assert round(u, 3) == 0.018
    assert {row.degrees_of_freedom for row in own} == {13.0}

    # Standards 0.1 to 0.9 mg/L, three absorbances each; printed absorbances from memory, as in the example's files.
    absorbances = {
        0.1: [0.028, 0.029, 0.029],
        0.3: [0.084, 0.083, 0.081],
        0.5: [0.135, 0.131, 0.133],
        0.7: [0.180, 0.181, 0.183],
        0.9: [0.215, 0.230, 0.216],
    }
    x = [level for level, values in absorbances.items() for _ in values]
    y = [value for values in absorbances.values() for value in values]
    (leachate,) = (reading.values for reading in records.run.readings if not reading.solution.startswith("S"))  # type: ignore[union-attr]  # a run folder has a run
    value, by_formula = by_hand(x, y, [1.0] * 15, float(np.mean(leachate)), len(leachate), 1.0, None)
    assert x0 == pytest.approx(value, rel=1e-12)
    assert u == pytest.approx(by_formula, rel=1e-10)
    assert round(by_formula, 3) == 0.018
