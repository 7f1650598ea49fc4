"""Limits as functions, against published factors, tables and examples; the source stands beside each check."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from scipy import stats

import ubudget
from ubudget.errors import UbudgetError
from ubudget.evaluation.method_detection_limit import confidence_factors, pooled_limit

# Berthouex and Brown, Statistics for Environmental Engineers, 2nd edition, chapter 14, examples 14.1 and 14.2.
SET_1 = [2.5, 2.7, 2.2, 2.2, 3.1, 2.6, 2.8]
SET_2 = [1.6, 1.9, 1.3, 1.7, 2.1, 0.9, 1.8]
# Miller and Miller, Statistics and Chemometrics for Analytical Chemistry: fluorescence of fluorescein, pg/mL.
FLUORESCEIN = ([0.0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7])


@pytest.mark.parametrize(
    ("nu", "error", "factor"),
    [
        # Currie, IUPAC 1995: 4.07 for nu = 4 at 0.05 (from memory); the others solved from the distribution.
        (4, 0.05, 4.06727564116),
        (2, 0.05, 5.51588305682),
        (9, 0.05, 3.57538483404),
        (20, 0.05, 3.4083238304),
        (100, 0.05, 3.31224230575),
        (4, 0.01, 7.52026390573),
        (20, 0.01, 5.00614688211),
    ],
)
def test_factor_of_the_non_central_t(nu: float, error: float, factor: float) -> None:
    assert ubudget.detection_factor(nu, alpha=error, beta=error) == pytest.approx(factor, rel=1e-9)


@pytest.mark.parametrize(("nu", "alpha", "beta"), [(3, 0.05, 0.05), (7, 0.01, 0.05), (12, 0.05, 0.2), (1, 0.1, 0.1)])
def test_the_factor_gives_the_stated_errors(nu: float, alpha: float, beta: float) -> None:
    """Definition (ISO 11843-1): at the detection limit a share beta lies below the decision limit. scipy.stats."""
    delta = ubudget.detection_factor(nu, alpha=alpha, beta=beta)
    assert stats.nct.cdf(stats.t.ppf(1 - alpha, nu), nu, delta) == pytest.approx(beta, rel=1e-7)


def test_errors_of_one_half_leave_nothing_to_detect() -> None:
    assert ubudget.detection_factor(5, alpha=0.5, beta=0.5) == 0


def test_normal_factors_of_the_iupac_recommendations() -> None:
    """Currie 1968 and IUPAC 1995: 1.645 and 3.29 sigma; paired blank 2.33 and 4.65; quantification 10 and 14.1."""
    limits = ubudget.detection_limits(1.0, math.inf)
    assert (round(limits.decision, 3), round(limits.detection, 2)) == (1.645, 3.29)
    paired = ubudget.detection_limits(1.0, math.inf, blanks=1)
    assert (round(paired.decision, 2), round(paired.detection, 2)) == (2.33, 4.65)
    assert ubudget.quantification_limit(1.0) == 10
    assert round(ubudget.quantification_limit(paired.s), 1) == 14.1
    assert ubudget.detection_factor(4, factor="sum of t") == pytest.approx(2 * 2.13184678633, rel=1e-9)


@pytest.mark.parametrize(
    ("background", "paired", "limits"),
    [
        # Currie 1968, table of working expressions: L_D = 2.71 + 4.65 sqrt(B) and 2.71 + 3.29 sqrt(B).
        (0, True, (0.0, 2.7055434541, 100.0)),
        (25, True, (11.6308715368, 25.9672865276, 136.602540378)),
        (25, False, (8.22426813476, 19.1540797236, 120.710678119)),
        (400, True, (46.5234861471, 95.7525157482, 337.228132327)),
    ],
)
def test_counting_limits(background: float, paired: bool, limits: tuple[float, float, float]) -> None:
    assert ubudget.counting_limits(background, paired=paired) == pytest.approx(limits, rel=1e-9, abs=1e-12)


def test_limits_from_blanks() -> None:
    """Eurachem, Fitness for Purpose, 2nd edition, 6.2 (formulas from memory): s'0 = s0 sqrt(1/n + 1/n_b)."""
    ten = ubudget.detection_limits(0.323669437485, 9, replicates=2, blanks=10)
    assert ten.s == pytest.approx(0.250713268211, rel=1e-9)
    assert ubudget.detection_limits(0.323669437485, 9, replicates=4).s == pytest.approx(0.161834718743, rel=1e-9)
    found = ubudget.limits_from_blanks(SET_1)
    s = np.std(SET_1, ddof=1) * math.sqrt(1 + 1 / 7)
    assert found.s == pytest.approx(s, rel=1e-12)
    assert found.decision == pytest.approx(stats.t.ppf(0.95, 6) * s, rel=1e-9)
    assert found.degrees_of_freedom == 6
    shifted = ubudget.limits_from_blanks([value - 5 for value in SET_1], corrected=False)
    assert shifted.s == pytest.approx(0.323669437485, rel=1e-9)


@pytest.mark.parametrize(
    ("K", "y_C", "x_C", "x_D"),
    [
        (1, 2.57329706268, 0.546758885384, 1.05006167582),
        (2, 2.37434945708, 0.443696295992, 0.852127854854),
        (4, 2.25500835823, 0.381872970033, 0.73339488682),
    ],
)
def test_limits_from_a_calibration_line(K: int, y_C: float, x_C: float, x_D: float) -> None:
    """ISO 11843-2:2000, constant standard deviation (formulas from memory), applied to the fluorescein line."""
    found = ubudget.limits_from_calibration(*FLUORESCEIN, replicates=K)
    assert found.decision_signal == pytest.approx(y_C, rel=1e-9)
    assert (found.decision, found.detection) == pytest.approx((x_C, x_D), rel=1e-9)


def test_equal_weights_change_nothing_and_larger_scatter_above_raises_the_detection_limit() -> None:
    x, y = FLUORESCEIN
    plain = ubudget.limits_from_calibration(x, y)
    same = ubudget.limits_from_calibration(x, y, weights=[3.0] * 7, unknown_weight=3.0)
    assert (same.decision, same.detection) == pytest.approx((plain.decision, plain.detection), rel=1e-9)
    rising = ubudget.limits_from_calibration(x, y, weights=[1.0] * 7, unknown_weight=lambda at: 1 / (1 + at) ** 2)
    assert rising.decision == pytest.approx(plain.decision, rel=1e-12)
    assert rising.detection > plain.detection


def test_quantification_limit_where_the_relative_uncertainty_reaches_a_target() -> None:
    x = ubudget.quantification_limit_at(0.3, 0.02, 0.05, k=2)
    # By its own definition: U/x = 30 % there.
    assert 2 * math.hypot(0.02, 0.05 * x) / x == pytest.approx(0.3, rel=1e-12)
    assert ubudget.quantification_limit_at(0.1, 0.02) == pytest.approx(0.2)


# --- 40 CFR part 136, appendix B ---

T_99 = {7: 3.143, 8: 2.998, 9: 2.896, 10: 2.821, 11: 2.764, 16: 2.602, 21: 2.528, 26: 2.485, 31: 2.457, 61: 2.390}
"""Table of t(n - 1, 0.99) printed there."""


def test_the_printed_table_of_t() -> None:
    for n, t in T_99.items():
        values = np.arange(n) * 1.0 + 1
        limit = ubudget.method_detection_limit_1984(values)
        assert round(limit.value / np.std(values, ddof=1), 3) == t


def test_confidence_factors() -> None:
    """Revision 1.11: 0.64 and 2.20 for seven results (from memory); 0.72 and 1.65 for 12 degrees of freedom."""
    assert [round(factor, 2) for factor in confidence_factors(6)] == [0.64, 2.20]
    assert [round(factor, 2) for factor in confidence_factors(12)] == [0.72, 1.65]
    # Wisconsin NR 252.0365 prints 0.69 and 1.92 for seven: the interval of 90 %.
    assert [round(factor, 2) for factor in confidence_factors(6, 0.90)] == [0.69, 1.92]


def test_worked_example_of_two_sets() -> None:
    """Examples 14.1 and 14.2: 1.0 and 1.3 µg/L, pooled 0.98 (0.96 from rounded s), pooled by n 1.7."""
    first, second = (ubudget.method_detection_limit_1984(values) for values in (SET_1, SET_2))
    assert (round(first.value, 1), round(second.value, 1)) == (1.0, 1.3)
    pooled = ubudget.pooled_method_detection_limit(SET_1, SET_2)
    assert pooled.value == pytest.approx(0.978087587818, rel=1e-9)
    assert round(pooled.value / pooled.s, 3) == 2.681
    assert round(pooled_limit([0.55, 0.41], [20, 14]).value, 1) == 1.7


@pytest.mark.parametrize(
    ("blanks", "from_blanks"),
    [
        # Revision 2, step (4)(iv): none, some, all blanks with a numerical result; a negative mean counts as zero.
        ([None] * 7, None),
        ([0.3, None, 1.4, None, 0.2, 0.1, None], 1.4),
        (SET_2, np.mean(SET_2) + stats.t.ppf(0.99, 6) * np.std(SET_2, ddof=1)),
        ([value - 9 for value in SET_2], stats.t.ppf(0.99, 6) * np.std(SET_2, ddof=1)),
        # Its example: 164 blanks, 164·0.99 = 162.36, the result of rank 162.
        ([None] * 160 + [1.7, 1.9, 5.0, 10.0], 1.9),
    ],
)
def test_part_from_blanks(blanks: Sequence[float | None], from_blanks: float | None) -> None:
    found = ubudget.method_detection_limit(SET_1, blanks)
    own = stats.t.ppf(0.99, 6) * np.std(SET_1, ddof=1)
    assert found.from_spikes == pytest.approx(own, rel=1e-9)
    assert found.from_blanks == (None if from_blanks is None else pytest.approx(from_blanks, rel=1e-9))
    assert found.value == pytest.approx(max(own, from_blanks or 0), rel=1e-9)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ubudget.limits_from_blanks([0.1]), "found 1; accepted: 2 or more"),
        (lambda: ubudget.limits_from_blanks([]), "found 0"),
        (lambda: ubudget.limits_from_blanks([0.1, 0.1, 0.1]), "all equal"),
        (lambda: ubudget.limits_from_blanks([0.1, math.nan]), "not finite"),
        (lambda: ubudget.limits_from_blanks([0.1, None]), "no number|not finite"),  # type: ignore[list-item]
        (lambda: ubudget.detection_limits(0.1, 0), "degrees of freedom: found 0"),
        (lambda: ubudget.detection_limits(0.1, math.nan), "degrees of freedom"),
        (lambda: ubudget.detection_limits(0.1, 5, alpha=0.6), "alpha: found 0.6"),
        (lambda: ubudget.detection_limits(0.1, 5, beta=0), "beta: found 0"),
        (lambda: ubudget.detection_limits(0.1, 5, blanks=-3), "blanks: found -3"),
        (lambda: ubudget.detection_limits(0.1, 5, replicates=0), "replicates"),
        (lambda: ubudget.detection_limits(-0.1, 5), "standard deviation"),
        (lambda: ubudget.detection_factor(4, factor="guess"), "factor"),  # type: ignore[arg-type]
        (lambda: ubudget.limits_from_calibration([1, 1, 1], [1, 2, 3]), "1 levels"),
        (lambda: ubudget.limits_from_calibration([1, 2], [1, 2]), "2 points"),
        (lambda: ubudget.limits_from_calibration([1, 2, 3], [1, 2]), "3 x and 2 y"),
        (lambda: ubudget.limits_from_calibration([1, 2, 3], [2, 2, 2]), "no slope|standard deviation"),
        (lambda: ubudget.limits_from_calibration(*FLUORESCEIN, weights=[1.0] * 7), "unknown_weight"),
        (lambda: ubudget.quantification_limit(0), "standard deviation"),
        (lambda: ubudget.quantification_limit_at(0.1, 0.02, 0.06, k=2), "target"),
        (lambda: ubudget.counting_limits(-1), "background"),
        (lambda: ubudget.truncated_interval(1, -1), "expanded uncertainty"),
        (lambda: ubudget.limits_from_calibration([1, 2, 3], [2, 4, 6]), "all equal"),
        (lambda: ubudget.method_detection_limit_1984(SET_1[:6]), "found 6"),
        (lambda: ubudget.method_detection_limit_1984([0.1] * 7), "no scatter"),
        (lambda: ubudget.method_detection_limit([*SET_1, 0], SET_2), "found 0; accepted: results above zero"),
        (lambda: ubudget.method_detection_limit(SET_1, SET_2[:3]), "blanks: found 3"),
        (lambda: ubudget.pooled_method_detection_limit(SET_1, [10 * value for value in SET_2]), "ratio"),
    ],
)
def test_figures_that_give_no_limit_are_told_in_one_line(call: Callable[[], object], words: str) -> None:
    with pytest.raises(UbudgetError) as told:
        call()
    assert any(word in str(told.value) for word in words.split("|")), told.value
    assert "\n" not in str(told.value)


def test_interval_of_a_quantity_that_cannot_be_negative() -> None:
    """QUAM:2012, appendix F (from memory): the interval is cut at zero, value and U stay."""
    assert ubudget.truncated_interval(0.06, 0.11) == pytest.approx((0, 0.17))
    assert ubudget.truncated_interval(-0.02, 0.05) == pytest.approx((0, 0.03))
    assert ubudget.truncated_interval(-0.2, 0.05) == (0, 0)
    assert ubudget.truncated_interval(1, 0.2) == pytest.approx((0.8, 1.2))
