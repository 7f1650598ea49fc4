"""Calibration curves of textbooks and standards against the figures they print.

Each file in `data/calibration` names its source and how its figures were obtained. A printed figure that follows from
the data printed beside it (`agrees`) is held within half a unit of its last digit; every figure is also held against
the recomputation from the data, made outside the program with more digits. Where the two disagree, the file says why.
"""

import csv
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.special import stdtrit

import ubudget
from tests.published.strd_digits import load
from tests.published.strd_models import DOUBLES, kirby2
from tests.published.test_published import within_printed
from ubudget.evaluation.curve_kinds import Line

DATA = Path(__file__).parent / "data" / "calibration"
Figures = dict[tuple[str, str], float]

WITHOUT_SCATTER = 1e30
"""So many readings have a mean without scatter: what is left is the curve's own uncertainty."""


def case(name: str) -> dict[str, Any]:
    return tomllib.loads((DATA / f"{name}.toml").read_text(encoding="utf-8"))


def columns(figures: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    data = figures["data"]
    if "file" not in data:
        return np.array(data["x"]), np.array(data["y"])
    with (DATA / data["file"]).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return np.array([float(row["x"]) for row in rows]), np.array([float(row["y"]) for row in rows])


def t95(dof: float) -> float:
    return float(stdtrit(dof, 0.975))


def line_figures(fit: Any, names: dict[str, str]) -> Figures:
    """The usual figures of a line, under the names a source gives them; names map ours to theirs."""
    (a, b), (s_a, s_b) = fit.parameters, fit.standard_uncertainties
    t = t95(fit.degrees_of_freedom)
    ours = {"a": a, "b": b, "s": fit.residual_sd, "s_a": s_a, "s_b": s_b, "ci_a": t * s_a, "ci_b": t * s_b}
    return {(theirs, ""): float(ours[name]) for name, theirs in names.items()}


def berthouex(figures: dict[str, Any]) -> Figures:
    x, y = columns(figures)
    fit = ubudget.fit_curve("line", x, y)
    left = float(fit.chi_squared)
    regression = float(np.sum((y - y.mean()) ** 2)) - left
    inverse = fit.inverse(22.0, 1)
    return {
        **line_figures(fit, {"a": "intercept", "b": "slope", "s_a": "s_intercept", "s_b": "s_slope",
                             "ci_a": "ci95_half_intercept", "ci_b": "ci95_half_slope"}),
        ("ss_regression", ""): regression,
        ("ss_residual", ""): left,
        ("F", ""): regression / fit.residual_sd**2,
        ("s2", ""): fit.residual_sd**2,
        ("var_intercept", ""): fit.covariance[0, 0],
        ("var_slope", ""): fit.covariance[1, 1],
        ("x0", "y0=22.0"): inverse.value,
        ("s_x0_single", "y0=22.0, m=1"): inverse.standard_uncertainty,
    }  # fmt: skip


def cadmium(figures: dict[str, Any]) -> Figures:
    names = {"b": "slope", "a": "intercept", "s": "s_r", "s_b": "s_slope", "s_a": "s_intercept",
             "ci_b": "ci95_half_slope", "ci_a": "ci95_half_intercept"}  # fmt: skip
    return line_figures(ubudget.fit_curve("line", *columns(figures)), names)


def external_standards(figures: dict[str, Any]) -> Figures:
    fit = ubudget.fit_curve("line", *columns(figures))
    readings = figures["data"]["sample_readings"]
    mean = ubudget.mean_and_sd(readings).mean
    inverse = fit.inverse(mean, len(readings))
    return {
        **line_figures(fit, {"b": "slope_b1", "a": "intercept_b0", "s": "s_r", "s_b": "s_b1", "s_a": "s_b0",
                             "ci_b": "ci95_half_b1", "ci_a": "ci95_half_b0"}),
        ("S_mean", ""): mean,
        ("C_A", ""): inverse.value,
        ("s_C_A", ""): inverse.standard_uncertainty,
        ("ci95_half_C_A", ""): t95(inverse.degrees_of_freedom) * inverse.standard_uncertainty,
    }  # fmt: skip


def harvey_addition(figures: dict[str, Any]) -> Figures:
    data = figures["data"]
    volume = np.array(data["V_std"])
    fit = ubudget.fit_curve("line", data["C_std"] * volume, np.array(data["signal"]) * (data["V0"] + volume))
    at_zero = fit.inverse(0.0, WITHOUT_SCATTER)
    s = at_zero.standard_uncertainty / data["V0"]
    return {
        **line_figures(fit, {"a": "intercept", "b": "slope", "s": "s_r"}),
        ("x_intercept_abs", ""): -at_zero.value,
        ("C_A", ""): -at_zero.value / data["V0"],
        ("s_C_A", ""): s,
        ("ci95_half_C_A", ""): t95(fit.degrees_of_freedom) * s,
    }


def two_conventions(figures: dict[str, Any]) -> Figures:
    data = figures["data"]
    fit = ubudget.fit_curve("line", data["V_std"], data["signal"])
    usual, extra = fit.inverse(0.0, WITHOUT_SCATTER), fit.inverse(0.0, 1)
    to_c_a = data["C_std"] / data["V_total"]
    to_content = to_c_a * data["digest_volume"] / data["sample_mass"]
    t = t95(fit.degrees_of_freedom)
    return {
        **line_figures(fit, {"a": "intercept", "b": "slope", "s": "s_res"}),
        ("V_prime", ""): -usual.value,
        ("C_a", ""): -usual.value * to_c_a,
        ("mass_analyte", ""): -usual.value * to_c_a * data["digest_volume"],
        ("content", ""): -usual.value * to_content,
        ("s_V_prime (with extra 1 under the root)", ""): extra.standard_uncertainty,
        ("s_V_prime (usual form)", ""): usual.standard_uncertainty,
        ("se_C_a (extra 1)", ""): extra.standard_uncertainty * to_c_a,
        ("se_content (extra 1)", ""): extra.standard_uncertainty * to_content,
        ("ci95_half_content (extra 1)", ""): t * extra.standard_uncertainty * to_content,
        ("ci95_half_content (usual form)", ""): t * usual.standard_uncertainty * to_content,
    }


def harvey_weighted(figures: dict[str, Any]) -> Figures:
    x, y = columns(figures)
    inverse_squares = 1 / np.array(figures["data"]["s"]) ** 2
    fit = ubudget.fit_curve("line", x, y, weights=x.size * inverse_squares / inverse_squares.sum())
    a, b = fit.parameters
    later = " (computed value in a later edition)"
    return {
        ("slope_b1", ""): b,
        ("intercept_b0", ""): a,
        (f"slope_b1{later}", ""): b,
        (f"intercept_b0{later}", ""): a,
    }


def iso_28037(figures: dict[str, Any]) -> Figures:
    x, y = columns(figures)
    fit = ubudget.fit_curve("line", x, y, u_y=figures["data"]["u_y"], scatter="known")
    (a, b), (u_a, u_b) = fit.parameters, fit.standard_uncertainties
    inverse = fit.inverse(10.5, 1, weight=1 / 0.5**2)
    assert np.isinf(inverse.degrees_of_freedom)
    return {
        ("a", ""): a,
        ("b", ""): b,
        ("u_a", ""): u_a,
        ("u_b", ""): u_b,
        ("cov_ab", ""): fit.covariance[0, 1],
        ("chi2_obs", ""): fit.chi_squared,
        ("chi2_95(4)", ""): fit.chi_squared_limit,
        ("x for y=10.5", ""): inverse.value,
        ("u_x for y=10.5, u_y=0.5", ""): inverse.standard_uncertainty,
    }


def iso_8466(figures: dict[str, Any]) -> Figures:
    x, y = columns(case("miller-fluorescence-linear"))
    line, bent = ubudget.fit_curve("line", x, y), ubudget.fit_curve("quadratic", x, y)
    test = line.linearity
    assert test is not None and bent.linearity is not None and test.value == bent.linearity.value
    assert test.passed
    (_, slope), (a, b, c) = line.parameters, bent.parameters
    sensitivity = b + 2 * c * x.mean()
    cell_x, cell_y = columns(case("nist-ehandbook-loadcell-quadratic"))
    cell_line, cell = ubudget.fit_curve("line", cell_x, cell_y), ubudget.fit_curve("quadratic", cell_x, cell_y)
    cell_sensitivity = cell.parameters[1] + 2 * cell.parameters[2] * cell_x.mean()
    cell_test = cell_line.linearity
    assert cell_test is not None and not cell_test.passed
    found = {
        "linear: s_y": line.residual_sd,
        "linear: s_x0 = s_y/b": line.residual_sd / slope,
        "linear: V_x0 = 100*s_x0/xbar": 100 * line.residual_sd / slope / x.mean(),
        "quadratic: a": a,
        "quadratic: b": b,
        "quadratic: c": c,
        "quadratic: s_y2": test.denominator_sd,
        "quadratic: sensitivity at xbar, b + 2c*xbar": sensitivity,
        "quadratic: s_x0 = s_y2/sensitivity": bent.residual_sd / sensitivity,
        "Mandel DS2": test.value * test.denominator_sd**2,
        "Mandel test value DS2/s_y2^2": test.value,
        "F(0.99; 1, n-3)": test.limit,
        "load cell: s_y2": cell.residual_sd,
        "load cell: sensitivity at xbar": cell_sensitivity,
        "load cell: s_x0 = s_y2/sensitivity": cell.residual_sd / cell_sensitivity,
        "load cell: V_x0": 100 * cell.residual_sd / cell_sensitivity / cell_x.mean(),
        "load cell: Mandel test value": cell_test.value,
        "load cell: F(0.99; 1, 30)": cell_test.limit,
    }
    places = {"linear: s_y": "miller-fluorescence-linear"}
    return {
        **{(name, places.get(name, "")): float(value) for name, value in found.items()},
        ("load cell: linear s_y", "nist-ehandbook-loadcell-quadratic"): float(cell_line.residual_sd),
    }


def miller(figures: dict[str, Any]) -> Figures:
    fit = ubudget.fit_curve("line", *columns(figures))
    found = line_figures(fit, {"b": "slope_b", "a": "intercept_a", "s": "s_y_x", "s_b": "s_b", "s_a": "s_a",
                               "ci_b": "ci95_half_slope", "ci_a": "ci95_half_intercept"})  # fmt: skip
    for y0 in ("2.9", "13.5", "23.0"):
        for readings, name in ((1, "single"), (4, "mean_of_4")):
            inverse = fit.inverse(float(y0), readings)
            found["x0", f"y0={y0}"] = inverse.value
            at = f"y0={y0}, m={readings}"
            found[f"s_x0_{name}", at] = inverse.standard_uncertainty
            found[f"ci95_half_{name}", at] = t95(inverse.degrees_of_freedom) * inverse.standard_uncertainty
    return found


def miller_weighted(figures: dict[str, Any]) -> Figures:
    x, y = columns(figures)
    plain = ubudget.fit_curve("line", x, y)
    inverse_squares = 1 / np.array(figures["data"]["s"]) ** 2
    fit = ubudget.fit_curve("line", x, y, weights=inverse_squares / inverse_squares.mean())
    found: Figures = {
        **line_figures(plain, {"b": "slope_unweighted", "a": "intercept_unweighted"}),
        **line_figures(fit, {"b": "slope_weighted", "a": "intercept_weighted", "s": "s_y_x_weighted"}),
    }
    for y0 in ("0.100", "0.600"):
        unweighted = plain.inverse(float(y0), 1)
        found["x0_unweighted", f"y0={y0}"] = unweighted.value
        found["x0_weighted", f"y0={y0}"] = fit.inverse(float(y0), 1, weight=1.0).value
        half = t95(unweighted.degrees_of_freedom) * unweighted.standard_uncertainty
        found["ci95_half_unweighted", f"y0={y0}, m=1"] = half
    return found


def linewidth(figures: dict[str, Any]) -> Figures:
    fit = ubudget.fit_curve("line", *columns(figures))
    (a, b), (u_a, u_b) = fit.parameters, fit.standard_uncertainties
    test = fit.lack_of_fit
    assert test is not None and test.degrees_of_freedom == (8, 30) and test.passed
    found: Figures = {
        **line_figures(fit, {"a": "intercept_a", "b": "slope_b", "s_a": "u_a", "s_b": "u_b", "s": "residual_sd"}),
        ("t_a", ""): a / u_a,
        ("t_b", ""): b / u_b,
        ("cov_aa", ""): fit.covariance[0, 0],
        ("cov_ab", ""): fit.covariance[0, 1],
        ("cov_bb", ""): fit.covariance[1, 1],
        ("max u(X') for Y' in 0..12", ""): float(np.max(fit.inverse(np.linspace(0, 12, 121)).standard_uncertainty)),
        ("pure_error_sd", ""): test.denominator_sd,
        ("lack_of_fit_F", ""): test.value,
    }
    for y0 in ("2.0", "6.0", "10.0"):
        inverse = fit.inverse(float(y0), 1)
        found["X'", f"Y'={y0}"], found["u(X')", f"Y'={y0}"] = inverse.value, inverse.standard_uncertainty
    return found


def load_cell_case_study(figures: dict[str, Any]) -> Figures:
    _, data = load("pontius")
    line, bent = (ubudget.fit_curve(kind, data["x"], data["y"]) for kind in ("line", "quadratic"))
    line_test, bent_test = line.lack_of_fit, bent.lack_of_fit
    assert line_test is not None and not line_test.passed and bent_test is not None and bent_test.passed
    inverse = bent.inverse(1.239722, 1)
    again = " (second printed output)"
    return {
        **line_figures(line, {"a": "line_B0", "b": "line_B1", "s_a": "line_s_B0", "s_b": "line_s_B1",
                              "s": "line_residual_sd"}),
        **line_figures(line, {"s_a": f"line_s_B0{again}", "s": f"line_residual_sd{again}"}),
        ("line_lack_of_fit_F", ""): line_test.value,
        ("F_critical_0.05(18,20)", ""): line_test.limit,
        ("quadratic_lack_of_fit_F", ""): bent_test.value,
        ("load for deflection 1.239722, certified coefficients", ""): inverse.value,
        ("u(load), one new reading", ""): inverse.standard_uncertainty,
        ("half width of 95 % interval, one new reading", ""):
            t95(inverse.degrees_of_freedom) * inverse.standard_uncertainty,
    }  # fmt: skip


def load_cell_quadratic(figures: dict[str, Any]) -> Figures:
    fit = ubudget.fit_curve("quadratic", *columns(figures))
    test = fit.lack_of_fit
    assert test is not None and test.degrees_of_freedom == (8, 22)
    found: Figures = dict(zip([("a", ""), ("b", ""), ("c", "")], fit.parameters.tolist(), strict=True))
    found |= dict(
        zip([("u_a", ""), ("u_b", ""), ("u_c", "")], fit.standard_uncertainties.tolist(), strict=True),
    )
    found |= {
        ("residual_sd", ""): fit.residual_sd,
        ("pure_error_sd", ""): test.denominator_sd,
        ("lack_of_fit_F", ""): test.value,
        ("cov_ab", ""): fit.covariance[0, 1],
        ("cov_ac", ""): fit.covariance[0, 2],
        ("cov_bc", ""): fit.covariance[1, 2],
    }
    for y0 in ("0.5", "1.0", "1.5", "2.0"):
        inverse, curve_alone = fit.inverse(float(y0), 1), fit.inverse(float(y0), WITHOUT_SCATTER)
        found["X'", f"Y'={y0}"] = inverse.value
        found["u(X') with s_Y'=residual_sd", f"Y'={y0}"] = inverse.standard_uncertainty
        found["u(X') calibration part only", f"Y'={y0}"] = curve_alone.standard_uncertainty
    return found


def pearson_york(figures: dict[str, Any]) -> Figures:
    x, y = columns(figures)
    u_x, u_y = (1 / np.sqrt(figures["data"][name]) for name in ("weight_x", "weight_y"))
    known, scaled = (
        ubudget.fit_curve("line", x, y, u_x=u_x, u_y=u_y, scatter=scatter) for scatter in ("known", "estimated")
    )
    plain = ubudget.fit_curve("line", x, y)
    by = ", scaled by sqrt(chi2/(n-2))"
    covariance = known.covariance
    return {
        **line_figures(known, {"b": "slope", "a": "intercept", "s_b": "u_slope", "s_a": "u_intercept"}),
        **line_figures(known, {"b": "slope (long)", "a": "intercept (long)", "s": "sqrt(chi2/(n-2))"}),
        **line_figures(scaled, {"s_b": f"u_slope{by}", "s_a": f"u_intercept{by}"}),
        **line_figures(plain, {"b": "ordinary least squares slope", "a": "ordinary least squares intercept"}),
        ("chi2", ""): known.chi_squared,
        ("chi2/(n-2)", ""): known.chi_squared / known.degrees_of_freedom,
        ("corr(a,b)", ""): covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]),
    }


def quam_a5(figures: dict[str, Any]) -> Figures:
    fit = ubudget.fit_curve("line", *columns(figures))
    found = line_figures(fit, {"a": "B0", "b": "B1", "s": "S", "s_a": "u_B0", "s_b": "u_B1"})
    for c0 in ("0.26", "0.90"):
        inverse = fit.inverse(fit.predict(float(c0)), 2)
        assert inverse.degrees_of_freedom == 13
        found["u_c0", f"c0={c0}, p=2"] = inverse.standard_uncertainty
    return found


def isooctane(figures: dict[str, Any]) -> Figures:
    fit = ubudget.fit_curve("line", *columns(figures))
    single, of_four = fit.inverse(2.65, 1), fit.inverse(2.65, 4)
    return {
        **line_figures(fit, {"a": "intercept", "b": "slope", "s": "s_r", "s_a": "s_intercept", "s_b": "s_slope"}),
        ("x0", "y0=2.65"): single.value,
        ("s_x0_single", "m=1"): single.standard_uncertainty,
        ("s_x0_mean_of_4", "m=4"): of_four.standard_uncertainty,
    }


def rational_kirby2(figures: dict[str, Any]) -> Figures:
    """Inverse values through gauss_newton's parameters and covariance, by the formulas of the file."""
    _, data = load("kirby2")
    x = np.array(data["x"])
    fit = ubudget.gauss_newton(
        lambda p: kirby2(DOUBLES, x, *p)[0],
        lambda p: np.stack(kirby2(DOUBLES, x, *p)[1], axis=-1),
        [2.0, -0.1, 0.003, -0.001, 0.00001],
        data["y"],
    )
    found: Figures = {("s (residual SD)", ""): fit.residual_sd}
    correlation = fit.covariance / np.outer(fit.standard_uncertainties, fit.standard_uncertainties)
    found |= {(f"corr(b{i + 1},b{j + 1})", ""): correlation[i, j] for i in range(5) for j in range(i + 1, 5)}
    b1, b2, b3, b4, b5 = fit.parameters
    for y0 in (5, 20, 40, 60, 80):
        quadratic, linear, constant = b3 - y0 * b5, b2 - y0 * b4, b1 - y0
        root = np.sqrt(linear**2 - 4 * quadratic * constant)
        roots = [(-linear + sign * root) / (2 * quadratic) for sign in (1, -1)]
        # The rising branch inside the data range.
        denominators = [1 + b4 * r + b5 * r * r for r in roots]
        slopes = [(b2 + 2 * b3 * r - y0 * (b4 + 2 * b5 * r)) / d for r, d in zip(roots, denominators, strict=True)]
        ((x0, slope),) = [
            (r, s) for r, s in zip(roots, slopes, strict=True) if s > 0 and x.min() <= r <= x.max()
        ]  # fmt: skip
        gradient = np.array(kirby2(DOUBLES, x0, *fit.parameters)[1])
        own = gradient @ fit.covariance @ gradient
        at = f"y0={y0}"
        found |= {
            ("x0", at): x0,
            ("slope dy/dx at x0", at): slope,
            ("u(x0), calibration part only", at): np.sqrt(own) / slope,
            ("u(x0), one new reading with s", at): np.sqrt(own + fit.residual_sd**2) / slope,
            ("u(x0), mean of 3 readings", at): np.sqrt(own + fit.residual_sd**2 / 3) / slope,
        }
    return found


CASES: dict[str, Callable[[dict[str, Any]], Figures]] = {
    "berthouex-hplc-dye": berthouex,
    "harvey-cadmium-voltammetry": cadmium,
    "harvey-external-standards": external_standards,
    "harvey-standard-addition-volume": harvey_addition,
    "harvey-weighted": harvey_weighted,
    "iso-28037-equal-weights": iso_28037,
    "iso-28037-unequal-weights": iso_28037,
    "iso-8466-process-characteristics": iso_8466,
    "miller-fluorescence-linear": miller,
    "miller-weighted-linear": miller_weighted,
    "nist-ehandbook-linewidth": linewidth,
    "nist-ehandbook-loadcell-case-study": load_cell_case_study,
    "nist-ehandbook-loadcell-quadratic": load_cell_quadratic,
    "pearson-york-errors-in-variables": pearson_york,
    "quam-a5": quam_a5,
    "rational-inverse-kirby2": rational_kirby2,
    "skoog-isooctane": isooctane,
    "standard-addition-two-conventions": two_conventions,
}

NOT_OF_A_CURVE = {
    "fieller95_low": "interval by Fieller's theorem: not the law of propagation",
    "fieller95_high": "interval by Fieller's theorem: not the law of propagation",
    "sum_s^-2": "sum of the given weights",
    "correlation_r": "correlation coefficient of the data",
    "t(0.975, 5)": "quantile",
    "t(0.975, 2)": "quantile",
    "limit_of_detection_3s": "detection limit",
    "limit_of_detection_3.3s": "detection limit",
    "limit_of_quantification_10s": "detection limit",
    "load for deflection 1.239722": "from the printed, rounded coefficients; the certified ones are checked",
    **{f"weight_{number}": "given weights" for number in range(1, 7)},
}
"""Figures of the files that are no answer of a fit, and why."""


@pytest.mark.parametrize("name", CASES)
def test_figures_of_the_source(name: str) -> None:
    figures = case(name)
    found = CASES[name](figures)
    checked = 0
    for row in figures["result"]:
        key = (row["quantity"], row.get("at", ""))
        if row["quantity"] in NOT_OF_A_CURVE:
            continue
        assert found[key] == pytest.approx(row["recomputed"], rel=1e-9), key
        if row.get("agrees"):
            assert within_printed(found[key], row["printed"]), key
        checked += 1
    assert checked


def test_the_older_line_width_revision_propagates() -> None:
    """Only its coefficients and covariances are published: the line is put together from them."""
    figures = case("nist-ehandbook-linewidth-older")
    data = figures["data"]
    # Where level and slope are uncorrelated.
    centre = -data["cov_ab"] / data["var_b"]
    level_variance = data["var_a"] - data["cov_ab"] ** 2 / data["var_b"]
    numbers = (centre, data["a"] + data["b"] * centre, data["b"], level_variance, data["var_b"])
    line = Line(*map(np.array, numbers))
    for row in figures["result"]:
        readings = np.linspace(0, 12, 1201) if row["quantity"].startswith("max") else np.array(row["at"].split("=")[1])
        found = float(np.max(line.solve(readings.astype(float), np.array(data["s"] ** 2)).u))
        assert found == pytest.approx(row["recomputed"], rel=1e-9)
        if row.get("agrees"):
            assert within_printed(found, row["printed"])


def test_every_file_is_used() -> None:
    assert {file.stem for file in DATA.glob("*.toml")} == CASES.keys() | {"nist-ehandbook-linewidth-older"}
