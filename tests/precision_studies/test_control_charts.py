"""Control charts: constants of printed tables, limits by hand, patterns by hand and by chance."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ubudget.errors import UbudgetError
from ubudget.evaluation.control_limits import (
    given_limits,
    individual_limits,
    mean_limits,
    range_constants,
    range_limits,
    target_limits,
    unbiased_divisor,
)
from ubudget.evaluation.control_rules import RULES, signals


@pytest.mark.parametrize(
    ("n", "d2", "d3", "c4"),
    [
        (2, 1.128, 0.853, 0.7979),
        (3, 1.693, 0.888, 0.8862),
        (4, 2.059, 0.880, 0.9213),
        (5, 2.326, 0.864, 0.9400),
        (10, 3.078, 0.797, 0.9727),
        (25, 3.931, 0.708, 0.9896),
    ],
)
def test_constants_of_ranges(n: int, d2: float, d3: float, c4: float) -> None:
    """Table of factors for control charts, ISO 8258:1991 table 2 (from memory), three or four decimals."""
    found = range_constants(n)
    assert (round(found.d2, 3), round(found.d3, 3), round(unbiased_divisor(n), 4)) == (d2, d3, c4)


def test_constants_of_pairs_exact() -> None:
    """d2 = 2/√π, d3 = √(2 - d2²)."""
    found = range_constants(2)
    assert found.d2 == pytest.approx(2 / math.sqrt(math.pi), rel=1e-9)
    assert found.d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-8)


def test_limits_of_a_range_chart() -> None:
    """Nordtest TR 569: warning 2.833 s, action 3.686 s, and D4 = 3.267 times the mean range of pairs."""
    found = range_limits([(10.0, 10.2), (9.9, 10.3), (10.1, 10.4)])
    s = 0.3 / 1.128379
    assert found.centre == pytest.approx(0.3)
    assert found.warning[1] == pytest.approx(2.833 * s, rel=2e-4)
    assert found.action[1] == pytest.approx(3.267 * 0.3, rel=2e-4)
    assert found.action[0] == 0


def test_limits_of_single_values() -> None:
    values = [10.1, 9.9, 10.0, 10.2, 9.8, 10.0]
    found = individual_limits(values)
    assert found.centre == pytest.approx(np.mean(values))
    assert found.action[1] == pytest.approx(np.mean(values) + 3 * np.std(values, ddof=1))
    assert individual_limits(values, centre=10.5).centre == 10.5
    moving = individual_limits(values, moving_range=True)
    assert moving.s == pytest.approx(np.abs(np.diff(values)).mean() / 1.128379, rel=1e-6)


def test_degrees_of_freedom_of_moving_ranges() -> None:
    """var(s)/s² = 1/(2ν) of drawn series."""
    rng = np.random.default_rng(3)
    s = np.abs(np.diff(rng.normal(size=(20000, 40)), axis=1)).mean(axis=1)
    dof = individual_limits(list(range(40)), moving_range=True).degrees_of_freedom
    assert s.mean() ** 2 / (2 * s.var()) == pytest.approx(dof, rel=0.05)


def test_target_limits() -> None:
    """Nordtest TR 569, worked case: ammonium 0.5 mg/L, required U 40 %, s_Rw 10 %, 0.05 mg/L."""
    assert target_limits(0.5, 0.4 * 0.5).s == pytest.approx(0.05)


def test_means() -> None:
    found = mean_limits([(1.0, 1.2), (1.1, 1.3), (0.9, 1.3)])
    assert found.centre == pytest.approx(1.1333333)
    assert found.s == pytest.approx(np.std([1.1, 1.2, 1.1], ddof=1))


LONG = [0.1, -0.2] * 10


@pytest.mark.parametrize(
    ("number", "ending", "before"),
    [
        (1, [3.1], [2.9]),
        (2, [0.5] * 9, [0.5] * 8),
        (3, [-1.0, -0.5, 0.0, 0.5, 1.0, 1.5], [-1.0, -0.5, 0.0, 0.5, 1.0]),
        (4, [0.5, -0.5] * 7, [0.5, -0.5] * 6),
        (5, [2.1, 0.0, 2.2], [2.1, 0.0, -2.2]),
        (6, [1.1, 1.2, 0.0, 1.3, 1.4], [1.1, 0.2, 0.0, 1.3, 1.4]),
        (7, [0.9, -0.9, 0.5] * 5, [0.9, -0.9, 0.5] * 4 + [0.1, 0.2]),
        (8, [1.1, -1.2] * 4, [1.1, -1.2] * 3 + [1.1]),
        (9, [-0.5] * 7, [-0.5] * 6),
        (10, [6.0 - i for i in range(7)], [6.0 - i for i in range(6)]),
        (11, [0.3] * 5 + [-0.1] + [0.3] * 5, [0.3] * 4 + [-0.1] * 2 + [0.3] * 5),
        (12, [-2.1], [-1.9]),
    ],
)
def test_patterns(number: int, ending: list[float], before: list[float]) -> None:
    assert [signal.at for signal in signals(ending, [number])][-1:] == [len(ending) - 1]
    assert signals(before, [number]) == ()
    assert len(ending) >= RULES[number].length


def test_false_alarms_are_as_rare_as_chance_says() -> None:
    """Normal values, exact probabilities at one place: beyond 3 s 0.00270; two of three beyond one warning limit with
    the last among them; a run of seven 2/2⁷."""
    zones = np.random.default_rng(17).normal(size=60000)
    p = 0.0227501
    expected = {1: 0.0026998, 5: 2 * p * (1 - (1 - p) ** 2), 9: 2 / 2**7}
    for number, probability in expected.items():
        found = len(signals(zones.tolist(), [number])) / len(zones)
        # Runs come in clusters: their count scatters more than independent ones.
        assert found == pytest.approx(probability, rel=0.12)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: given_limits(1.0, 0.0, ""), "s above zero"),
        (lambda: individual_limits([1.0]), "found 1 value"),
        (lambda: mean_limits([(1.0, 2.0), (1.0,)]), "groups of 1, 2 results"),
        (lambda: range_limits([(1.0, 1.0), (2.0, 2.0)]), "no scatter"),
        (lambda: range_constants(30), "group of 30"),
        (lambda: unbiased_divisor(1), "group of 1"),
        (lambda: signals([0.0], [99]), "rules: found 99"),
    ],
)
def test_unusable_data(made: object, words: str) -> None:
    assert callable(made)
    with pytest.raises(UbudgetError, match=words):
        made()
