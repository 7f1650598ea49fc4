"""Scores against cases constructed after ISO 13528:2022, and against scipy and uncertainties.

The formulas of ISO 13528 and the limits are from memory, compared with Thompson, Ellison, Wood, Pure Appl. Chem. 78
(2006) 145; the laboratory's own copy of the standard decides."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import studentized_range
from uncertainties import correlated_values_norm

import ubudget
from ubudget.errors import UbudgetError
from ubudget.evaluation.scores import QUESTIONABLE, SATISFACTORY, UNSATISFACTORY

CASES = [
    # x, u(x), x_pt, u(x_pt), sigma_pt; z, z′, zeta, E_n with k = 2 on both
    (10.6, 0.30, 10.0, 0.20, 0.8, 0.750, 0.728, 1.664, 0.832),
    (10.6, 0.15, 10.0, 0.20, 0.5, 1.200, 1.114, 2.400, 1.200),
]


@pytest.mark.parametrize("case", CASES)
def test_performance_scores(case: tuple[float, ...]) -> None:
    x, u, assigned, u_assigned, sigma, z, z_prime, zeta, en = case
    assert ubudget.z_score(x, assigned, sigma).value == pytest.approx(z, abs=5e-4)
    assert ubudget.z_prime_score(x, assigned, sigma, u_assigned).value == pytest.approx(z_prime, abs=5e-4)
    assert ubudget.zeta_score(x, u, assigned, u_assigned).value == pytest.approx(zeta, abs=5e-4)
    assert ubudget.normalised_error(x, 2 * u, assigned, 2 * u_assigned).value == pytest.approx(en, abs=5e-4)


def test_u_of_the_assigned_value_is_negligible_up_to_a_third_of_sigma() -> None:
    """ISO 13528:2022, 9.2.1: u(x_pt) at most 0.3 sigma_pt; 0.2 is below 0.24 and above 0.15."""
    assert ubudget.z_score(10.6, 10.0, 0.8, u_assigned=0.2).remark == ""
    assert "z′" in ubudget.z_score(10.6, 10.0, 0.5, u_assigned=0.2).remark


@pytest.mark.parametrize(
    ("z", "verdict"), [(2.0, SATISFACTORY), (-2.01, QUESTIONABLE), (2.99, QUESTIONABLE), (-3.0, UNSATISFACTORY)]
)
def test_limits_of_performance(z: float, verdict: str) -> None:
    """ISO 13528:2022, 9.4.2: 2 is still satisfactory, 3 already gives an action signal."""
    assert ubudget.z_score(z, 0.0, 1.0).verdict == verdict


def test_the_limit_of_the_normalised_error_is_one() -> None:
    assert ubudget.normalised_error(1.0, 0.6, 0.0, 0.8).verdict == SATISFACTORY
    assert ubudget.normalised_error(1.001, 0.6, 0.0, 0.8).verdict == UNSATISFACTORY


def test_trueness_as_the_producer_shows_it() -> None:
    """ERM Application Note 1 as a producer's user support quotes it: difference 3.2 µg/kg, U 3.48 µg/kg with k = 2,
    the certificate adding almost nothing; no bias visible."""
    check = ubudget.trueness_check(103.2, 1.74, 100.0, 0.0)
    assert check.limits == pytest.approx((3.48,)) and check.passed
    assert not ubudget.trueness_check(103.5, 1.74, 100.0, 0.0).passed


MILK = [
    # w_crm, u_crm, mean, s_obs, printed t, relative u of the recovery recomputed for n = 6
    (13490, 50, 14000, 780, 1.9, 0.0230),
    (11100, 65, 11100, 330, 0.5, 0.0135),
    (9940, 150, 10020, 320, 0.6, 0.0199),
    (0.602, 0.010, 0.611, 0.015, 1.0, 0.0194),
]


@pytest.mark.parametrize("row", MILK)
def test_materials_of_milk_agree_as_printed(row: tuple[float, ...]) -> None:
    """Trancoso et al., Dairy Sci. Technol. 89 (2009) 241-256, Table V, rows whose printed u follows from the printed
    inputs with n = 6. Their t, below 2 throughout, tests the recovery against 1; the difference judges alike, and its U
    over 2 w is the relative u of the recovery but for the mean in place of w."""
    certified, u_certified, mean, s, t, relative = row
    check = ubudget.trueness_check(mean, s / math.sqrt(6), certified, u_certified)
    assert check.passed == (t <= 2)
    assert check.limits[0] / 2 / certified == pytest.approx(relative, rel=0.05)


def test_the_critical_range_is_that_of_the_studentised_range() -> None:
    for n in (2, 3, 5, 10):
        expected = studentized_range.ppf(0.95, n, math.inf)
        assert ubudget.critical_range_factor(n) == pytest.approx(expected, rel=1e-6)


def test_factors_as_the_standard_prints_them() -> None:
    """ISO 5725-6:1994, Table 1 (from memory): f(n) to one decimal."""
    printed = {2: 2.8, 3: 3.3, 4: 3.6, 5: 3.9, 6: 4.0, 10: 4.5}
    assert {n: round(ubudget.critical_range_factor(n), 1) for n in printed} == printed


def test_duplicates_against_the_repeatability_limit() -> None:
    assert ubudget.repeatability_limit(0.5) == pytest.approx(1.959964 * math.sqrt(2) * 0.5, rel=1e-6)
    assert ubudget.repeatability_check([10.0, 11.38], 0.5).passed
    assert not ubudget.repeatability_check([10.0, 11.39], 0.5).passed


@settings(max_examples=20, deadline=None)
@given(st.floats(0.1, 5), st.floats(0.1, 5), st.floats(-0.9, 0.9))
def test_correlation_counts_as_uncertainties_counts_it(u: float, u_other: float, r: float) -> None:
    a, b = correlated_values_norm([(12.0, u), (10.0, u_other)], [[1, r], [r, 1]])
    expected = 2.0 / (a - b).std_dev
    assert ubudget.zeta_score(12.0, u, 10.0, u_other, covariance=r * u * u_other).value == pytest.approx(expected)
    expanded = ubudget.normalised_error(12.0, 2 * u, 10.0, 2 * u_other, covariance=4 * r * u * u_other)
    assert expanded.value == pytest.approx(expected / 2)


BAD = [
    (lambda: ubudget.z_score(1.0, 1.0, 0.0), "sigma: found 0"),
    (lambda: ubudget.z_prime_score(1.0, 1.0, 1.0, -0.1), "u_assigned: found -0.1"),
    (lambda: ubudget.zeta_score(1.0, 0.0, 1.0, 0.0), "found zero for the difference"),
    (lambda: ubudget.zeta_score(1.0, 0.2, 1.0, 0.2, covariance=0.04), "found zero for the difference"),
    (lambda: ubudget.zeta_score(1.0, 0.2, 1.0, 0.2, covariance=0.05), "from -1 to 1"),
    (lambda: ubudget.zeta_score(math.nan, 0.2, 1.0, 0.2), "x: found nan"),
    (lambda: ubudget.normalised_error(1.0, -0.2, 1.0, 0.2), "U: found -0.2"),
    (lambda: ubudget.trueness_check(1.0, 0.2, 1.0, 0.2, k=0), "k: found 0"),
    (lambda: ubudget.repeatability_check([1.0], 0.5), "n: found 1"),
    (lambda: ubudget.repeatability_limit(-0.5), "s_r: found -0.5"),
]


@pytest.mark.parametrize(("call", "words"), BAD, ids=[words for _, words in BAD])
def test_what_cannot_be_compared_is_told_in_one_line(call: object, words: str) -> None:
    assert callable(call)
    with pytest.raises(UbudgetError) as told:
        call()
    assert words in str(told.value) and "accepted:" in str(told.value) and "\n" not in str(told.value)
