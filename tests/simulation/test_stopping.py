"""How many trials are enough, tolerances, and intervals from sorted values.

Figures of JCGM 101:2008, 7.7 and 7.9 (from memory; each follows from the definition beside it)."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from scipy import stats

from tests.simulation.small import Quantity, Small, additive, small
from ubudget.errors import UbudgetError
from ubudget.evaluation.simulation import Settings
from ubudget.evaluation.simulation_settings import BYTES
from ubudget.evaluation.trial_numbers import Rule, block_size, fewest_trials
from ubudget.evaluation.trial_statistics import covered, shortest_interval, symmetric_interval, tolerance

P, SEEDS, LEAST = 0.95, 100, 88
"""Of a hundred seeds, each figure alone is to lie within the tolerance in so many."""
LIMIT = 2 * math.sqrt(3) * (2 - 0.6**0.25)
"""Upper end for four rectangular quantities with u = 1 each (9.2.3)."""
SQUARE = stats.ncx2(1, 1)
T5 = stats.t(5)
CASES: dict[str, tuple[Small, Sequence[float], float, int]] = {
    "9.2.3": (additive([1] * 4, "rectangular"), (0, 2, -LIMIT, LIMIT), 0.05, 2),
    "four rectangular quantities, u = 4.0": (
        additive([2] * 4, "rectangular"),
        (0, 4, -2 * LIMIT, 2 * LIMIT),
        0.05,
        2,
    ),
    "9.2.4": (additive([1, 1, 1, 10], "rectangular"), (0, 10.14889157, -17.01581406, 17.01581406), 0.5, 2),
    "9.2.2, u = 3.0": (additive([1.5] * 4, "normal"), (0, 3, -5.879892, 5.879892), 0.05, 2),
    "square of a normal quantity": (
        small([Quantity("X", 1.0, 1.0)], "X*X"),
        (2, math.sqrt(6), *SQUARE.ppf([0.025, 0.975])),
        0.05,
        2,
    ),
    "t with 5 degrees of freedom": (
        small([Quantity("X", 0.0, 1.0, "t", 5)], "X"),
        (0, T5.std(), *T5.ppf([0.025, 0.975])),
        0.05,
        2,
    ),
    "9.4.3 at 0.050, in 1e-6": (
        small([Quantity("X", 0.05, 0.005), Quantity("Z", 0.0, 0.005)], "1e6*(X*X + Z*Z)", correlations={(0, 1): 0.9}),
        (2550, 504.5047, 1696.86, 3659.80),
        50,
        1,
    ),
}


def within(model: Small, exact: Sequence[float], delta: float, settings: Settings, rule: Rule) -> np.ndarray:
    """In how many of the seeds mean, u, low and high each lie within the tolerance."""
    hits = np.zeros(4, dtype=np.int64)
    for seed in range(SEEDS):
        found = model.simulated(Settings(None, settings.digits, seed, settings.interval, P, rule=rule))
        assert found.stable[0] and found.tolerance[0] == pytest.approx(delta)
        figures = (found.value[0], found.standard_uncertainty[0], found.low[0], found.high[0])
        hits += np.abs(np.subtract(figures, exact)) <= delta
    return hits


@pytest.mark.parametrize("name", CASES)
def test_each_figure_lies_within_the_tolerance(name: str) -> None:
    model, exact, delta, digits = CASES[name]
    assert (within(model, exact, delta, Settings(digits=digits), "two stages") >= LEAST).all()


def test_the_plain_rule_stops_too_early() -> None:
    """Why two stages are the default: 7.9.4 as it stands misses the upper end of a skewed distribution more often."""
    model, exact, delta, digits = CASES["square of a normal quantity"]
    assert within(model, exact, delta, Settings(digits=digits), "plain").min() < LEAST


def test_ends_of_a_shortest_interval() -> None:
    """Exact: from zero, F(high) = 0.95, for the square of a normal quantity with x = u."""
    model = CASES["square of a normal quantity"][0]
    exact = (2, math.sqrt(6), 0.0, SQUARE.ppf(0.95))
    assert (within(model, exact, 0.5, Settings(digits=1, interval="shortest"), "two stages") >= LEAST).all()


@pytest.mark.parametrize(
    ("u", "digits", "delta"),
    [
        (0.00035, 2, 0.000005),
        (0.00035, 1, 0.00005),
        (2.0, 1, 0.5),
        (0.0754, 1, 0.005),  # 9.3
        (2.0, 2, 0.05),  # 9.2
        (0.0996, 2, 0.005),  # rounds to 10·10^-2
        (0.96, 1, 0.5),  # rounds to 1
    ],
)
def test_tolerance(u: float, digits: int, delta: float) -> None:
    """7.9.2: u written as c·10^l with an integer c of so many digits; half of 10^l."""
    assert tolerance(u, digits) == pytest.approx(delta, rel=1e-12)


def test_intervals_from_sorted_values() -> None:
    """7.7: q = pM, or its integer part with one half added; r = (M - q)/2, or the integer part of (M - q + 1)/2."""
    assert [covered(*pair) for pair in ((100, 0.95), (10, 0.95), (1001, 0.9545))] == [95, 10, 955]
    ordered = np.arange(1.0, 102.0)
    # M = 101, q = integer part of 96.45, r = integer part of 3: the third value to the 99th.
    assert symmetric_interval(ordered, 0.95) == (3.0, 99.0)
    skewed = ordered**2
    # All start from the lowest value, since distances grow: the first to the 97th.
    assert shortest_interval(skewed, 0.95) == (1.0, 97.0**2)


def test_blocks_and_fewest_trials() -> None:
    """7.9.4 b: 10^4 trials, or the smallest integer from 100/(1 - p) on, here in blocks of 10^4."""
    assert [block_size(p) for p in (0.95, 0.99, 0.999)] == [10_000, 10_000, 100_000]
    assert [fewest_trials(p) for p in (0.95, 0.99)] == [200, 1000]


@pytest.mark.parametrize(
    "wrong",
    [
        {"probability": 0.0},
        {"probability": 1.0},
        {"probability": math.nan},
        {"digits": 0},
        {"digits": 3},
        {"seed": -1},
        {"interval": "widest"},
        {"memory": 0},
        {"trials": 0},
        {"trials": -5},
        {"trials": 100},
        {"trials": 10**12},
    ],
)
def test_settings_that_cannot_be(wrong: dict[str, float]) -> None:
    with pytest.raises(UbudgetError, match=r"^simulation: found .*; accepted: [^\n]*$"):
        Settings(**wrong)  # type: ignore[arg-type]  # that is what is tested


def test_what_does_not_become_stable_in_the_memory_is_told() -> None:
    """u = 9.8 with a tolerance of 0.05 needs more than the 800,000 trials that 16 MB hold."""
    found = additive([4.9] * 4, "normal").simulated(Settings(probability=P, memory=16))
    assert found.trials[0] * BYTES <= 16e6
    assert not found.stable[0]
    assert "more memory may help" in found.reasons[0]


def test_few_trials_are_told_as_not_stable() -> None:
    found = additive([1] * 4, "normal").simulated(Settings(trials=1000, probability=P))
    assert found.trials[0] == 1000
    assert not found.stable[0]
    assert "more trials may help" in found.reasons[0]


def test_no_standard_deviation() -> None:
    """A t distribution has a variance with more than two degrees of freedom, a mean with more than one (6.4.9.4)."""
    for dof, has_mean, has_u in ((1.0, False, False), (2.0, True, False), (3.0, True, True)):
        found = small([Quantity("X", 5.0, 0.1, "t", dof)], "X").simulated(Settings(digits=1, probability=P))
        assert (np.isfinite(found.value[0]), np.isfinite(found.standard_uncertainty[0])) == (has_mean, has_u)
        high = 5 + 0.1 * stats.t(dof).ppf(0.975)
        assert found.high[0] == pytest.approx(high, abs=2 * found.tolerance[0])
        assert bool(found.reasons[0]) is not has_u


def test_two_degrees_of_freedom_that_do_not_show() -> None:
    """A share below a thousandth of u² is no reason to say nothing of u; a larger one is."""
    for u, told in ((0.03, True), (0.1, False)):
        model = small([Quantity("X", 5.0, 1.0), Quantity("Z", 0.0, u, "t", 2)], "X + Z")
        found = model.simulated(Settings(digits=1, probability=P))
        assert bool(np.isfinite(found.standard_uncertainty[0])) is told
        assert "Z has 2 degrees of freedom" in found.reasons[0]


def test_trials_without_a_value() -> None:
    """The logarithm of a normal quantity 3.5 u above zero: 233 trials in a million are below. Two u: 2.3 %."""
    few = small([Quantity("X", 3.5, 1.0)], "ln(X)").simulated(Settings(trials=100_000, probability=P))
    assert 0 < few.left_out[0] <= 100
    assert np.isfinite(few.low[0])
    assert "are left out" in few.reasons[0]
    many = small([Quantity("X", 2.0, 1.0)], "ln(X)").simulated(Settings(digits=1, probability=P))
    assert many.left_out[0] == pytest.approx(0.02275 * many.trials[0], rel=0.05)
    assert not np.isfinite([many.low[0], many.value[0], many.standard_uncertainty[0]]).any()
    assert "more than 0.1 %" in many.reasons[0]


def test_trials_in_which_a_curve_is_not_reached() -> None:
    """A result whose status says so in a trial is no value, finite as its formula may be: 0.13 % below minus 3 u."""
    for estimate, told in ((3.5, True), (3.0, False)):
        model = small([Quantity("X", estimate, 1.0)], "X", not_below_zero="X")
        found = model.simulated(Settings(trials=100_000, probability=P))
        assert found.left_out[0] == pytest.approx(100_000 * stats.norm.cdf(-estimate), rel=0.5)
        assert bool(np.isfinite(found.low[0])) is told


def test_an_exact_result() -> None:
    found = small([Quantity("X", 2.0, 0.0)], "X*3").simulated(Settings())
    assert (found.value[0], found.standard_uncertainty[0], found.low[0], found.high[0]) == (6.0, 0.0, 6.0, 6.0)
