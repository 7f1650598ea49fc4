"""Distributions: divisors and draws against the variances of JCGM 101:2008, 6.4 and Table 1 (from memory)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ubudget.evaluation.notebook import input_quantity
from ubudget.quantity.distributions import DISTRIBUTIONS, divisor
from ubudget.quantity.numbers import evaluate

HALF_WIDTH = 1.0
TOP = 0.4

# Interval from a = -1 to b = 1, so b - a = 2.
VARIANCES = {
    "rectangular": 2**2 / 12,
    "triangular": 2**2 / 24,
    "trapezoidal": 2**2 * (1 + TOP**2) / 24,
    "arcsine": 2**2 / 8,
    # 6.4.3.3, with the half-width known to d = 0.4.
    "curvilinear trapezoid": 2**2 / 12 + TOP**2 / 9,
}
REACH = {"curvilinear trapezoid": 1 + TOP}
"""Outermost values over the half-width, where that is not 1."""


@pytest.mark.parametrize("name", VARIANCES)
def test_half_width_over_divisor_is_the_standard_deviation(name: str) -> None:
    found = float(evaluate(divisor(name, TOP), lambda _: 0.0))
    assert HALF_WIDTH / found == pytest.approx(math.sqrt(VARIANCES[name]), rel=1e-12)


@pytest.mark.parametrize("name", VARIANCES)
def test_draws_fill_their_interval_with_that_standard_deviation(name: str) -> None:
    draws = _drawn(name, u=math.sqrt(VARIANCES[name]), parameter=TOP)
    reach = HALF_WIDTH * REACH.get(name, 1)
    assert abs(draws).max() <= reach * (1 + 1e-12)
    assert abs(draws).max() > 0.98 * reach
    _has_moments(draws, VARIANCES[name])


def test_draws_of_a_trapezoid_end_as_triangle_and_rectangle() -> None:
    """GUM 4.3.9: beta = 0 is the triangle, beta = 1 the rectangle."""
    for top, name in ((0.0, "triangular"), (1.0, "rectangular")):
        u = math.sqrt(VARIANCES[name])
        quantiles = [0.05, 0.25, 0.5, 0.75, 0.95]
        trapezoid = np.quantile(_drawn("trapezoidal", u, top), quantiles)
        assert trapezoid == pytest.approx(np.quantile(_drawn(name, u, 0.0), quantiles), abs=5e-3)


def test_normal_draws() -> None:
    draws = _drawn("normal", u=0.3, parameter=0.0)
    _has_moments(draws, 0.09)
    # 68.27 % within one standard deviation (GUM Table G.1).
    assert np.mean(abs(draws) < 0.3) == pytest.approx(0.6827, abs=2e-3)


def test_student_draws_are_wider_than_u() -> None:
    """JCGM 101 6.4.9.4: variance u^2 nu/(nu - 2)."""
    _has_moments(_drawn("t", u=0.3, parameter=9.0), 0.09 * 9 / 7)


def _drawn(name: str, u: float, parameter: float) -> np.ndarray:
    rng = np.random.Generator(np.random.PCG64(20260317))
    draws = np.empty(400_000)
    DISTRIBUTIONS[name].fill(rng, draws, parameter)
    return u * draws


def _has_moments(draws: np.ndarray, variance: float) -> None:
    """Mean zero and the variance, within five times their sampling errors."""
    n = draws.size
    assert abs(draws.mean()) < 5 * math.sqrt(variance / n)
    fourth = float(np.mean(draws**4))
    assert abs(draws.var() - variance) < 5 * math.sqrt((fourth - variance**2) / n)


@pytest.mark.parametrize(
    ("stated", "printed"),
    [
        ({"U": 240e-6, "k": 3}, 80e-6),  # GUM 4.3.3: three standard deviations
        ({"U": 129e-6, "confidence": 0.99}, 50e-6),  # GUM 4.3.4: 99 %, normal
        ({"U": 0.04, "confidence": 0.5}, 0.06),  # GUM 4.3.5: even chance, 1.48 a
        ({"half_width": 4, "distribution": "rectangular"}, 2.3),  # GUM 4.4.5
        ({"half_width": 4, "distribution": "triangular"}, 1.6),  # GUM 4.4.6
        ({"half_width": 0.40e-6, "distribution": "rectangular"}, 0.23e-6),  # GUM 4.3.7
    ],
)
def test_standard_uncertainties_of_the_guide(stated: dict[str, object], printed: float) -> None:
    """JCGM 100:2008, clauses as named (from memory)."""
    found = input_quantity("x", 100, **stated).standard_uncertainty  # type: ignore[arg-type]  # keywords of the table
    assert float(f"{found:.1e}") == pytest.approx(printed, rel=1e-9) or float(f"{found:.0e}") == pytest.approx(
        printed, rel=1e-9
    )


def test_repeated_readings_of_the_guide() -> None:
    """GUM 4.4.3, Table 1 (from memory): 20 readings, mean 100.14 printed for 100.145, s of the mean 0.33."""
    readings = [
        *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
        *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
    ]
    found = input_quantity("t", unit="degC", readings=readings)
    assert found.estimate == pytest.approx(100.145, rel=1e-12)
    assert f"{found.standard_uncertainty:.2f}" == "0.33"
