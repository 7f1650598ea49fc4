"""Pooled scatter, robust means, several laboratories, expected reproducibility: published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ubudget.errors import UbudgetError
from ubudget.evaluation.collaborative import level_precision
from ubudget.evaluation.horwitz import horwitz, thompson
from ubudget.evaluation.pooled_scatter import (
    duplicate_scatter,
    duplicates_by_level,
    pooled_by_degrees,
    pooled_sd,
)
from ubudget.evaluation.robust import algorithm_a

COPPER_IN_FLOUR = [
    *(2.2, 2.2, 2.4, 2.4, 2.5, 2.7, 2.8, 2.9, 3.03, 3.03, 3.1, 3.37),
    *(3.4, 3.4, 3.4, 3.5, 3.6, 3.7, 3.7, 3.7, 3.7, 3.77, 5.28, 28.95),
]
"""Analytical Methods Committee, Analyst 114 (1989) 1693: 24 determinations of copper in wholemeal flour, µg/g."""


def test_pooled_glucose() -> None:
    """Skoog, West, Holler and Crouch, Fundamentals of Analytical Chemistry, chapter 6, example 6-2 (from memory)."""
    months = [
        (1108, 1122, 1075, 1099, 1115, 1083, 1100),
        (992, 975, 1022, 1001, 991),
        (788, 805, 779, 822, 800),
        (799, 745, 750, 774, 777, 800, 758),
    ]
    found = pooled_sd(months)
    assert round(found.s) == 19
    assert found.degrees_of_freedom == 20
    # by numpy, from deviations within months
    deviations = np.concatenate([np.subtract(month, np.mean(month)) for month in months])
    assert found.s == pytest.approx(math.sqrt((deviations**2).sum() / 20), rel=1e-12)


def test_pooled_check_standard() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 2.4.4.4: s = 0.10290 with 300 degrees of freedom."""
    squares = (0.48115, 0.69209, 0.48483, 1.21752, 0.30076)
    s, dof = pooled_by_degrees([math.sqrt(total / 60) for total in squares], [60] * 5)
    assert (round(s, 5), dof) == (0.10290, 300)


def test_duplicates() -> None:
    """Formulas of ISO 11352 and Nordtest TR 537 (mean range/1.128; √(Σd²/2n)) on made-up differences, by hand."""
    pairs = [(1.02, 1.0), (0.97, 1.0), (1.01, 1.0), (1.04, 1.0), (1.0, 1.0)]
    assert duplicate_scatter(pairs).s == pytest.approx(0.017321, abs=5e-7)
    assert duplicate_scatter(pairs, by="mean range").s == pytest.approx(0.017725, abs=5e-7)


def test_degrees_of_freedom_of_a_mean_range() -> None:
    """The variance of s from mean ranges of drawn pairs is s²/(2ν) (common approximation, GUM table E.1)."""
    rng = np.random.default_rng(11)
    ranges = np.abs(np.diff(rng.normal(size=(20000, 40, 2)), axis=-1))[..., 0].mean(axis=1) / 1.1283791671
    dof = duplicate_scatter([(0.0, 1.0)] * 40, by="mean range").degrees_of_freedom
    assert 1 / (2 * ranges.var()) == pytest.approx(dof, rel=0.05)


def test_scatter_by_level() -> None:
    low, middle, high = duplicates_by_level([(9.9, 10.1), (99.0, 101.0), (98.0, 102.0)], [50, 500], relative_from=50)
    assert low is not None and middle is not None and high is None
    assert low.s == pytest.approx(0.2 / math.sqrt(2))
    assert middle.s == pytest.approx(math.sqrt((0.02**2 + 0.04**2) / 4))


def test_algorithm_a() -> None:
    """ISO 13528:2015, C.3.1 iterated to convergence on the flour; the assigned value's u = 1.25 s*/√p. Figures derived
    by a separate calculation with scipy below."""
    found = algorithm_a(COPPER_IN_FLOUR)
    assert found.mean == pytest.approx(3.20556592273, rel=1e-9)
    assert found.s == pytest.approx(0.674150100028, rel=1e-8)
    assert found.u == pytest.approx(0.172012891158, rel=1e-8)


def test_algorithm_a_is_a_fixed_point_by_scipy() -> None:
    from scipy.optimize import fsolve

    data = np.array(COPPER_IN_FLOUR)

    def moved(state: np.ndarray) -> np.ndarray:
        drawn = np.clip(data, state[0] - 1.5 * state[1], state[0] + 1.5 * state[1])
        return np.array([drawn.mean() - state[0], 1.134 * drawn.std(ddof=1) - state[1]])

    assert (algorithm_a(COPPER_IN_FLOUR).mean, algorithm_a(COPPER_IN_FLOUR).s) == pytest.approx(
        tuple(fsolve(moved, [np.median(data), 0.6], xtol=1e-13)), rel=1e-9
    )


def test_sulfur_in_coal() -> None:
    """ISO 5725-2:1994, annex B.1, level 1, data and printed results from memory: m 0.690, s_r 0.015, s_R 0.026."""
    found = level_precision(
        {
            "1": (0.71, 0.71, 0.70, 0.71),
            "2": (0.69, 0.67, 0.68),
            "3": (0.66, 0.65, 0.69),
            "4": (0.67, 0.65, 0.66),
            "5": (0.70, 0.69, 0.66, 0.71, 0.69),
            "6": (0.73, 0.74, 0.73),
            "7": (0.71, 0.71, 0.69),
            "8": (0.70, 0.65, 0.68),
        }
    )
    assert (round(found.mean, 3), round(found.s_r, 3), round(found.s_R, 3)) == (0.690, 0.015, 0.026)


def test_a_single_result_is_left_out() -> None:
    paired = {"1": (88.0, 88.4), "2": (89.1, 88.7), "3": (87.9, 88.2)}
    assert level_precision({**paired, "4": (95.0,)}) == level_precision(paired)


def test_an_outlying_laboratory_is_told() -> None:
    results = {str(number): (10.0 + 0.01 * number, 10.02 + 0.01 * number) for number in range(8)}
    found = level_precision({**results, "wild": (11.9, 8.1), "far": (14.0, 14.02)})
    assert [(told.laboratory, told.test.name, told.outlier) for told in found.told] == [
        ("wild", "Cochran", True),
        ("far", "Grubbs", True),
    ]


@pytest.mark.parametrize(("fraction", "printed"), [(1, 2), (1e-2, 4), (1e-4, 8), (1e-6, 16), (1e-8, 32), (1e-9, 45)])
def test_expected_reproducibility(fraction: float, printed: int) -> None:
    """AOAC table of the function in %; Thompson, Analyst 125 (2000) 385: 22 % at trace, 1 % of what is pure."""
    assert round(100 * horwitz(fraction) / fraction) == printed
    expected = {1: 1.0, 1e-8: 22.0, 1e-9: 22.0}.get(fraction)
    assert expected is None or 100 * thompson(fraction) / fraction == pytest.approx(expected)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: pooled_sd([[1.0]]), "no set of two values"),
        (lambda: pooled_sd([[1.0, -1.0]], relative=True), "set 1: found mean 0"),
        (lambda: pooled_sd([[1.0, math.inf]]), "finite"),
        (lambda: pooled_by_degrees([], []), "no standard deviation"),
        (lambda: duplicate_scatter([]), "no duplicate"),
        (lambda: duplicates_by_level([(1.0, 1.1)], [5, 2]), "rising levels"),
        (lambda: algorithm_a([1.0, 2.0]), "three finite numbers"),
        (lambda: level_precision({"1": (1.0, 1.1), "2": (1.0,)}), "1 laboratories with two results or more"),
        (lambda: horwitz(2.0), "mass fraction: found 2"),
    ],
)
def test_unusable_data(made: object, words: str) -> None:
    assert callable(made)
    with pytest.raises(UbudgetError, match=words):
        made()
