"""Grubbs, Dixon and Cochran against printed tables and worked examples, and against drawn readings."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from ubudget.evaluation.outlier_tests import DIXON_CRITICAL, DIXON_LEVELS, cochran, dixon, grubbs

PRINTED: dict[str, Any] = tomllib.loads((Path(__file__).parent / "data" / "outlier_tables.toml").read_text("utf-8"))


def readings(n: int) -> list[float]:
    return [float(i * i) for i in range(n)]


@pytest.mark.parametrize("row", PRINTED["grubbs"]["rows"], ids=lambda row: f"n={row[0]}")
def test_critical_values_of_grubbs_are_those_printed(row: list[float]) -> None:
    for level, printed in zip((0.05, 0.01), row[1:], strict=True):
        test = grubbs(readings(int(row[0])), level)
        assert test is not None
        assert test.critical == pytest.approx(printed, abs=PRINTED["grubbs"]["tolerance"])


@pytest.mark.parametrize("row", PRINTED["cochran"]["rows"], ids=lambda row: f"p={row[0]} n={row[1]}")
def test_critical_values_of_cochran_are_those_printed(row: list[float]) -> None:
    sets = [[(k + 1) * value for value in readings(int(row[1]))] for k in range(int(row[0]))]
    for level, printed in zip((0.05, 0.01), row[2:], strict=True):
        test = cochran(sets, level)
        assert test is not None and test.at == len(sets) - 1
        assert test.critical == pytest.approx(printed, abs=PRINTED["cochran"]["tolerance"])


def test_the_light_penny() -> None:
    penny = PRINTED["pennies"]
    q = dixon(penny["x"], 0.05)
    assert q is not None and q.significant and q.at == 3
    assert q.statistic == pytest.approx(penny["q"], abs=0.0005)
    assert q.critical == penny["q_critical"]


def test_extreme_studentised_deviates_of_usp_1010() -> None:
    series = PRINTED["usp_1010"]
    first = grubbs(series["x"], 0.05)
    assert first is not None and first.significant and first.at == 9
    assert first.statistic == pytest.approx(series["deviation"], abs=0.0005)
    second = grubbs(series["x"][:9], 0.05)
    assert second is not None and not second.significant and second.at == 8
    assert second.statistic == pytest.approx(series["deviation_without_the_first"], abs=0.0005)


@pytest.mark.parametrize("n", [3, 5, 10])
def test_grubbs_and_dixon_reject_as_often_as_their_level_says(n: int) -> None:
    """Normal readings without outlier, 40,000 series, seed 11; the standard error of a share of 5 % is 0.1 %.

    Dixon's table is known to be off by up to 0.003 in Q, which is 0.2 % in the share."""
    drawn = np.random.default_rng(11).normal(size=(40_000, n))
    deviations = np.abs(drawn - drawn.mean(axis=1, keepdims=True)).max(axis=1) / drawn.std(axis=1, ddof=1)
    g, q = grubbs(readings(n), 0.05), dixon(readings(n), 0.05)
    assert g is not None and q is not None
    assert np.mean(deviations > g.critical) == pytest.approx(0.05, abs=0.005)
    ordered = np.sort(drawn, axis=1)
    gaps = np.maximum(ordered[:, 1] - ordered[:, 0], ordered[:, -1] - ordered[:, -2])
    assert np.mean(gaps / (ordered[:, -1] - ordered[:, 0]) > q.critical) == pytest.approx(0.05, abs=0.006)


@pytest.mark.parametrize(("level", "column"), [(0.05, 1), (0.01, 4)])
def test_dixon_of_three_readings_is_that_of_drawn_ones(level: float, column: int) -> None:
    """400,000 series of three normal readings, seed 12."""
    drawn = np.sort(np.random.default_rng(12).normal(size=(400_000, 3)), axis=1)
    gaps = np.maximum(drawn[:, 1] - drawn[:, 0], drawn[:, 2] - drawn[:, 1]) / (drawn[:, 2] - drawn[:, 0])
    assert DIXON_LEVELS[column] == level
    assert DIXON_CRITICAL[3][column] == pytest.approx(float(np.quantile(gaps, 1 - level)), abs=0.001)


def test_p_is_the_tail_of_the_same_distribution() -> None:
    """By `scipy.stats`. Grubbs: p = 2 n P(T > t), t² = n(n-2)G²/((n-1)² - nG²); Cochran: p P(F > (p-1)C/(1-C))."""
    x = PRINTED["usp_1010"]["x"]
    test = grubbs(x, 0.05)
    assert test is not None and test.p is not None
    n, g = len(x), test.statistic
    t = (n * (n - 2) * g * g / ((n - 1) ** 2 - n * g * g)) ** 0.5
    assert test.p == pytest.approx(2 * n * stats.t.sf(t, n - 2), rel=1e-9)
    sets = [[0.0, 1.0, 2.0], [0.0, 1.5, 2.0], [0.0, 1.0, 7.0], [1.0, 2.0, 3.0]]
    c = cochran(sets, 0.05)
    assert c is not None and c.p is not None
    assert c.p == pytest.approx(4 * stats.f.sf(3 * c.statistic / (1 - c.statistic), 2, 6), rel=1e-9)


def test_what_cannot_be_tested_is_not() -> None:
    assert grubbs([1.0, 2.0], 0.05) is None
    assert grubbs([1.0, 1.0, 1.0], 0.05) is None
    assert dixon([1.0, 1.0, 1.0], 0.05) is None
    assert dixon(readings(11), 0.05) is None
    assert dixon(readings(5), 0.03) is None
    assert cochran([[1.0, 2.0], [1.0]], 0.05) is None
    assert cochran([[1.0, 1.0], [2.0, 2.0]], 0.05) is None


def test_the_largest_deviation_of_three_readings_has_p_of_nothing() -> None:
    test = grubbs([0.0, 0.0, 1.0], 0.05)
    assert test is not None and test.p == pytest.approx(0, abs=1e-6) and test.significant
