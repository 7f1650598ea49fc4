"""Worked examples of JCGM 101:2008, clause 9, and models on which first-order propagation fails.

Printed figures from memory, checked against exact ones: moments and quantiles of the models (non-central chi-squared;
quadrature for the correlated sum of squares; the piecewise polynomial of the sum of rectangular quantities)."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

import ubudget
from tests.simulation.small import Quantity, additive, small
from ubudget.evaluation.deviations import Deviations
from ubudget.evaluation.first_order import FirstOrder, compare
from ubudget.evaluation.simulation import Settings
from ubudget.quantity.graph import INFINITE_DOF

ROOT = Path(__file__).parents[2]
P = 0.95
LIMIT_9_2_3 = 2 * math.sqrt(3) * (2 - 0.6**0.25)


@pytest.mark.parametrize(
    ("us", "distribution", "digits", "u", "high", "delta", "accepted"),
    [
        ((1, 1, 1, 1), "normal", 2, 2.0, 3.92, 0.05, True),  # 9.2.2
        ((1, 1, 1, 1), "rectangular", 2, 2.0, LIMIT_9_2_3, 0.05, True),  # 9.2.3: 3.88 against 3.92
        ((1, 1, 1, 10), "rectangular", 2, 10.1489, 17.0158, 0.5, False),  # 9.2.4: 17.0 against 19.9
    ],
)
def test_additive_models(
    us: tuple[float, ...], distribution: str, digits: int, u: float, high: float, delta: float, accepted: bool
) -> None:
    U = np.array([1.959964 * math.sqrt(sum(one**2 for one in us))])
    first_order = FirstOrder(np.zeros(1), U)
    found = additive(us, distribution).simulated(Settings(probability=P, digits=digits), first_order)
    assert found.tolerance[0] == pytest.approx(delta, rel=1e-12)
    assert found.stable[0]
    for figure, exact in (
        (found.value[0], 0.0),
        (found.standard_uncertainty[0], u),
        (found.low[0], -high),
        (found.high[0], high),
    ):
        assert figure == pytest.approx(exact, abs=delta)
    assert bool(compare(found, np.zeros(1), U).valid[0]) is accepted


def test_mass_calibration() -> None:
    """9.3, Tables 5 to 7: air buoyancy is zero at the estimates, so that first-order u leaves it out."""
    named = ubudget.input_quantity
    weight = named("mRc", 100_000.0, "mg", u=0.050)
    small_weight = named("dmRc", 1.234, "mg", u=0.020)
    air = named("a", 1.20, "kg/m^3", half_width=0.10, distribution="rectangular")
    test = named("W", 8000.0, "kg/m^3", half_width=1000.0, distribution="rectangular")
    reference = named("R", 8000.0, "kg/m^3", half_width=50.0, distribution="rectangular")
    nominal, reference_air = named("n", 100_000.0, "mg"), named("a0", 1.2, "kg/m^3")
    buoyancy = 1 + (air - reference_air) * (1 / test - 1 / reference)
    simulated = ubudget.simulate(
        ubudget.budget((weight + small_weight) * buoyancy - nominal, "mg", probability=P), digits=1
    )
    (found,) = simulated.results
    assert found is not None and found.value is not None and found.interval is not None
    assert found.tolerance == 0.005
    assert found.value == pytest.approx(1.2340, abs=0.0015)
    # Exact standard deviation from the moments of the model; printed 0.0754.
    assert found.standard_uncertainty == pytest.approx(0.075480, abs=0.001)
    # 20 million trials: 1.0845 and 1.3836.
    assert found.interval == pytest.approx((1.0845, 1.3836), abs=0.0025)
    # Printed: 1.1285 to 1.3395, d_low = 0.045 and d_high = 0.043, not validated.
    assert found.first_order_interval == pytest.approx((1.1285, 1.3395), abs=5e-5)
    assert not found.first_order_valid
    assert [one.result.sample for one in simulated.to_look_at] == ["budget"]


@pytest.mark.parametrize(
    ("r", "x1", "mean", "u", "symmetric", "shortest"),
    [
        (0.0, 0.0, 50, 50, (1.27, 184.44), (0.0, 149.79)),
        (0.0, 0.010, 150, 111.8034, (8.55, 427.12), (0.0, 366.01)),
        (0.9, 0.0, 50, 67.2681, (0.56, 241.22), (0.0, 185.06)),
        (0.9, 0.050, 2550, 504.5047, (1696.86, 3659.80), (1624.42, 3554.68)),
    ],
)
def test_comparison_loss(
    r: float, x1: float, mean: float, u: float, symmetric: tuple[float, float], shortest: tuple[float, float]
) -> None:
    """9.4.2 and 9.4.3, in 1e-6: printed means 50, 150, 2550 and u 50, 112, 67, 505; limits exact by quadrature."""
    correlations = {(0, 1): r} if r else None
    pair = [Quantity("X1", x1, 0.005), Quantity("X2", 0.0, 0.005)]
    model = small(pair, "1e6*(X1^2 + X2^2)", correlations=correlations)
    found = model.simulated(Settings(trials=200_000, probability=P))
    # Standard errors of 200,000 trials are below 0.006 u at the upper ends; shortest ends are flatter.
    assert found.value[0] == pytest.approx(mean, abs=0.01 * u)
    assert found.standard_uncertainty[0] == pytest.approx(u, rel=0.02)
    assert tuple(found.symmetric[0]) == pytest.approx(symmetric, abs=0.03 * u)
    assert tuple(found.shortest[0]) == pytest.approx(shortest, abs=0.08 * u)


@pytest.mark.parametrize(
    ("x", "mean", "u", "high", "first_order_u"),
    [(0.0, 1.0, 1.414214, 5.02389, 0.0), (1.0, 2.0, 2.44949, 8.76518, 2.0), (10.0, 101.0, 20.04994, 143.041, 20.0)],
)
def test_first_order_is_refused_near_a_stationary_point(
    x: float, mean: float, u: float, high: float, first_order_u: float
) -> None:
    """Y = X², X normal with u = 1: exact moments, and quantiles of non-central chi-squared."""
    model = small([Quantity("X", x, 1.0)], "X^2")
    found = model.simulated(Settings(probability=P))
    delta = found.tolerance[0]
    assert found.value[0] == pytest.approx(mean, abs=delta)
    assert found.standard_uncertainty[0] == pytest.approx(u, abs=delta)
    assert found.high[0] == pytest.approx(high, abs=delta)
    assert not compare(found, np.array([x**2]), np.array([1.96 * first_order_u])).valid[0]


def test_end_gauge_with_known_scatter(monkeypatch: pytest.MonkeyPatch) -> None:
    """GUM H.1.7 (from memory): u of 32 nm becomes 34 nm with the terms of second order, which the draws hold."""
    monkeypatch.setattr(Deviations, "dof_of", lambda *_: INFINITE_DOF)
    evaluation = ubudget.evaluate(ubudget.read_run(ROOT / "worked_examples" / "published" / "gum_h1.toml"))
    (found,) = ubudget.simulate(evaluation, trials=100_000).results
    assert found is not None and found.standard_uncertainty is not None
    assert f"{evaluation.results[0].standard_uncertainty:.0f}" == "32"
    assert f"{found.standard_uncertainty:.0f}" == "34"


def test_a_linear_result_is_accepted_at_the_finer_tolerance() -> None:
    """Clause 8.2: trials go on until the test does not hang on chance."""
    a = ubudget.input_quantity("a", 10.0, "mg", u=0.12)
    b = ubudget.input_quantity("b", 4.0, "mg", u=0.16)
    (found,) = ubudget.simulate(ubudget.budget(a + b, probability=P), digits=2).results
    assert found is not None
    assert found.first_order_valid and found.stable
    assert found.trials > 100_000
