"""Draws against exact distributions, by the test of Kolmogorov and Smirnov with scipy.stats, at fixed seeds.

Models: JCGM 101:2008, 6.4 (distributions) and 9.2 (sums); squares and products of normal quantities have the known
distributions of textbooks (non-central chi-squared, modified Bessel function of the second kind). With 50,000 trials a
distance of 0.0073 from the exact distribution is exceeded once in a hundred times by chance."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import integrate, special, stats

from tests.simulation.small import Quantity, Small, small
from ubudget.evaluation.simulation import Settings, draws

TRIALS = 50_000
LEAST_P = 0.01


def drawn(model: Small, trials: int = TRIALS, seed: int = 101) -> np.ndarray:
    settings = Settings(trials=trials, seed=seed)
    return draws(model.graph, model.numbers, model.propagated, settings)


def _product_of_normals(y: np.ndarray) -> np.ndarray:
    """Distribution function of the product of two standard normal quantities: density K0(|y|)/pi."""
    grid = np.linspace(0, 12, 20_001)[1:]
    # K0 is integrable at zero; the first step by its own integral.
    first = integrate.quad(special.k0, 0, grid[0])[0]
    rest = integrate.cumulative_trapezoid(special.k0(grid), grid, initial=0.0)
    half = (first + rest) / np.pi
    return 0.5 + np.sign(y) * np.interp(np.abs(y), grid, half)


ROOT3 = 3**0.5
WIDE = (3 / (3 + 0.5**2)) ** 0.5 * ROOT3
"""Half-width of a curvilinear trapezoid with u = 1 and an inexactness of half of it."""


def _curvilinear(y: np.ndarray) -> np.ndarray:
    """JCGM 101 6.4.3.2: density ln((w + d)/max(|y|, w - d))/(4 d) up to w + d, w the half-width, d = w/2."""
    d = WIDE / 2
    grid = np.linspace(0, WIDE + d, 20_001)
    density = np.log((WIDE + d) / np.maximum(grid, WIDE - d)) / (4 * d)
    half = integrate.cumulative_trapezoid(density, grid, initial=0.0)
    return 0.5 + np.sign(y) * np.interp(np.abs(y), grid, half)


def _sum_of_four(y: np.ndarray) -> np.ndarray:
    """Irwin 1927, Hall 1927: sum over k of (-1)^k binomial(4, k) (x - k)^4/4! where x > k, for limits 0 and 1."""
    x = np.clip((y + 4 * ROOT3) / (2 * ROOT3), 0, 4)
    return sum((-1) ** k * special.comb(4, k) * np.clip(x - k, 0, None) ** 4 for k in range(5)) / 24


ONE = [Quantity("x", 0.0, 1.0)]
CASES: dict[str, tuple[Small, Callable[[np.ndarray], np.ndarray]]] = {
    "sum of four rectangular quantities (9.2.3)": (
        small([Quantity(f"x{n}", 0.0, 1.0, "rectangular") for n in range(4)], "x0 + x1 + x2 + x3"),
        _sum_of_four,
    ),
    "difference of two rectangular quantities is triangular": (
        small([Quantity(f"x{n}", 0.0, 1.0, "rectangular") for n in range(2)], "x0 - x1"),
        stats.triang(0.5, loc=-2 * ROOT3, scale=4 * ROOT3).cdf,
    ),
    "triangular": (small([Quantity("x", 2.0, 1.0, "triangular")], "x"), stats.triang(0.5, 2 - 6**0.5, 2 * 6**0.5).cdf),
    "trapezoidal": (
        small([Quantity("x", 0.0, 1.0, "trapezoidal", shape=0.4)], "x"),
        stats.trapezoid(0.3, 0.7, loc=-((6 / 1.16) ** 0.5), scale=2 * (6 / 1.16) ** 0.5).cdf,
    ),
    "arcsine": (
        small([Quantity("x", 0.0, 1.0, "arcsine")], "x"),
        stats.arcsine(loc=-(2**0.5), scale=2 * 2**0.5).cdf,
    ),
    "limits known inexactly": (
        small([Quantity("x", 0.0, 1.0, "curvilinear trapezoid", shape=0.5)], "x"),
        _curvilinear,
    ),
    "square of a normal quantity": (small([Quantity("x", 0.5, 1.0)], "x^2"), stats.ncx2(1, 0.25).cdf),
    "sum of squares": (
        small([Quantity(f"x{n}", 0.0, 1.0) for n in range(3)], "x0^2 + x1^2 + x2^2"),
        stats.chi2(3).cdf,
    ),
    "product of two normal quantities": (small([ONE[0], Quantity("z", 0.0, 1.0)], "x*z"), _product_of_normals),
    "exponential of a normal quantity": (small([Quantity("x", 0.0, 0.5)], "exp(x)"), stats.lognorm(0.5).cdf),
    "t with 4 degrees of freedom": (small([Quantity("x", 3.0, 0.2, "t", 4)], "x"), stats.t(4, 3.0, 0.2).cdf),
    "normal with stated degrees of freedom (6.4.9.7)": (
        small([Quantity("x", 0.0, 1.0, "normal", 6)], "x"),
        stats.t(6).cdf,
    ),
    "limits keep their shape whatever the degrees of freedom": (
        small([Quantity("x", 0.0, 1.0, "rectangular", 6)], "x"),
        stats.uniform(-ROOT3, 2 * ROOT3).cdf,
    ),
    # Two deviations on one variance estimate are multivariate t: any sum of them is a t with the same nu.
    "sum of two quantities on one variance estimate": (
        small([Quantity(n, 0.0, u, "t", 5, variance_estimate="s") for n, u in (("x", 0.6), ("z", 0.8))], "x + z"),
        stats.t(5).cdf,
    ),
    "correlated normal quantities, r = 0.9 (6.4.8)": (
        small([ONE[0], Quantity("z", 0.0, 1.0)], "x + z", correlations={(0, 1): 0.9}),
        stats.norm(0, 3.8**0.5).cdf,
    ),
    "correlated on one variance estimate": (
        small(
            [Quantity(name, 0.0, 1.0, "t", 5, variance_estimate="s") for name in ("x", "z")],
            "x - z",
            correlations={(0, 1): 0.5},
        ),
        stats.t(5).cdf,
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_draws_have_the_exact_distribution(name: str) -> None:
    model, distribution = CASES[name]
    assert stats.kstest(drawn(model)[:, 0], distribution).pvalue > LEAST_P


def test_quantities_on_estimates_of_their_own_are_no_single_t() -> None:
    """The sum of independent t quantities is not the t of one estimate: the test above can fail."""
    model = small([Quantity(n, 0.0, u, "t", 5) for n, u in (("x", 0.6), ("z", 0.8))], "x + z")
    assert stats.kstest(drawn(model)[:, 0], stats.t(5).cdf).pvalue < LEAST_P


def test_coefficients_of_one_are_exact() -> None:
    pair = [Quantity("x", 1.0, 0.3), Quantity("z", 2.0, 0.6)]
    apart = drawn(small(pair, "2*x - z", correlations={(0, 1): 1.0}), 1000)
    together = drawn(small(pair, "2*x + z", correlations={(0, 1): -1.0}), 1000)
    assert apart == pytest.approx(np.zeros((1000, 1)), abs=1e-12)
    assert together == pytest.approx(np.full((1000, 1), 4.0), abs=1e-12)


def test_correlated_with_different_degrees_of_freedom_keep_their_own_t() -> None:
    pair = [Quantity("x", 0.0, 1.0, "t", 5), Quantity("z", 0.0, 1.0, "t", 50)]
    values = drawn(small(pair, "x", "z", correlations={(0, 1): 0.8}))
    for column, dof in enumerate((5, 50)):
        assert stats.kstest(values[:, column], stats.t(dof).cdf).pvalue > LEAST_P
    # Spearman's rank correlation of the normal deviations beneath is 6/pi·asin(r/2) = 0.786; the factors lower it.
    assert 0.74 < stats.spearmanr(values[:, 0], values[:, 1]).statistic < 0.79


def test_results_share_what_they_have_in_common() -> None:
    """Covariance of two results is the variance of their common quantity (GUM 5.2, F.1.2.3)."""
    quantities = [Quantity(name, 0.0, u) for name, u in (("x", 1.0), ("z", 2.0), ("common", 1.5))]
    values = drawn(small(quantities, "x + common", "z + common"))
    found = np.cov(values, rowvar=False)
    assert found == pytest.approx(np.array([[3.25, 2.25], [2.25, 6.25]]), abs=0.1)
    # The sum of both, trial by trial, has the variance that the common draws give.
    assert values.sum(axis=1).var() == pytest.approx(14.0, rel=0.03)
