"""The solvers beneath the curves: what they refuse, and arithmetic in twice the digits."""

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import ubudget
from ubudget.quantity.twofold import sum_products, sum_twofold

FINITE = st.floats(-1e100, 1e100, allow_subnormal=False)


@given(st.lists(FINITE, min_size=1, max_size=20))
def test_sums_carry_twice_the_digits(terms: list[float]) -> None:
    """Bound of Ogita, Rump and Oishi (2005), theorem 4.5: one rounding, and the square of it times Σ|terms|."""
    exact, size = sum(map(Fraction, terms)), sum(abs(Fraction(term)) for term in terms)
    error = abs(Fraction(float(sum_twofold(np.array(terms)))) - exact)
    eps = Fraction(2) ** -52
    assert error <= eps * abs(exact) + len(terms) ** 2 * eps**2 * size


@given(st.lists(st.tuples(st.floats(-1e60, 1e60), st.floats(1e-60, 1e60)), min_size=1, max_size=20))
def test_sums_of_products_carry_twice_the_digits(pairs: list[tuple[float, float]]) -> None:
    exact = sum(Fraction(a) * Fraction(b) for a, b in pairs)
    size = sum(abs(Fraction(a) * Fraction(b)) for a, b in pairs)
    a, b = np.array(pairs).T
    error = abs(Fraction(float(sum_products(a, b))) - exact)
    eps = Fraction(2) ** -52
    # Losses of products below 1e-290 fall out of the range of doubles.
    assert error <= eps * abs(exact) + len(pairs) ** 2 * eps**2 * size + Fraction(10) ** -290


def test_a_stack_of_systems_is_its_systems_one_by_one() -> None:
    rng = np.random.default_rng(3)
    design, y, w = rng.normal(size=(4, 9, 3)), rng.normal(size=(4, 9)), rng.uniform(0.1, 3, (4, 9))
    stack = ubudget.least_squares(design, y, weights=w)
    for row in range(4):
        one = ubudget.least_squares(design[row], y[row], weights=w[row])
        np.testing.assert_allclose(stack.parameters[row], one.parameters, rtol=1e-14)
        np.testing.assert_allclose(stack.covariance[row], one.covariance, rtol=1e-12)
    assert ubudget.least_squares(design[0], y).parameters.shape == (4, 3)


@pytest.mark.parametrize(
    ("design", "y", "weights", "words"),
    [
        ([[1.0, 1], [1, 1], [1, 1]], [1.0, 2, 3], None, "linearly dependent"),
        ([[1.0, 0], [1, 0], [1, 0]], [1.0, 2, 3], None, "is zero"),
        ([[1.0, 1], [1, 2]], [1.0, 2], None, "at least one more"),
        ([[1.0], [1]], [1.0, 2, 3], None, "are needed"),
        ([[1.0], [np.nan]], [1.0, 2], None, "finite"),
        ([[1.0], [1.0]], [1.0, 2], [1.0, 0.0], "greater than 0"),
    ],
)
def test_what_has_no_unique_solution_is_refused(design: Any, y: Any, weights: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ubudget.least_squares(design, y, weights=weights)


def exponential(x: np.ndarray) -> tuple[Any, Any]:
    return (
        lambda p: p[0] * np.exp(-p[1] * x),
        lambda p: np.stack([np.exp(-p[1] * x), -p[0] * x * np.exp(-p[1] * x)], axis=-1),
    )


def test_an_exact_curve_is_found_exactly() -> None:
    x = np.linspace(0, 3, 9)
    model, jacobian = exponential(x)
    fit = ubudget.gauss_newton(model, jacobian, [1.0, 0.0], model([5.0, 0.7]))
    np.testing.assert_allclose(fit.parameters, [5.0, 0.7], rtol=1e-14)
    assert fit.degrees_of_freedom == 7


@pytest.mark.parametrize(
    ("start", "y", "words"),
    [
        ([1.0, np.nan], np.ones(9), "finite numbers"),
        ([1.0, -1e6], np.ones(9), "not finite at the starting values"),
        ([1.0, 0.0], np.ones((3, 3)), "more observations"),
        ([0.0, 0.0], np.zeros(9), "cannot be told apart|is zero"),
    ],
)
def test_a_start_that_leads_nowhere_is_refused(start: list[float], y: np.ndarray, words: str) -> None:
    model, jacobian = exponential(np.linspace(0, 3, 9))
    with pytest.raises(ValueError, match=words):
        ubudget.gauss_newton(model, jacobian, start, y)


def test_a_minimum_at_infinity_is_not_reported() -> None:
    x = np.linspace(1, 3, 9)
    with pytest.raises(ValueError):
        ubudget.gauss_newton(
            lambda p: np.exp(-p[0] * x), lambda p: (-x * np.exp(-p[0] * x))[:, None], [0.0], np.full(9, -1.0)
        )


def test_wrong_shapes_of_a_model_are_refused() -> None:
    x = np.linspace(0, 3, 9)
    model, jacobian = exponential(x)
    with pytest.raises(ValueError, match="the model gives shape"):
        ubudget.gauss_newton(lambda p: model(p)[:-1], jacobian, [1.0, 0.0], np.ones(9))
    with pytest.raises(ValueError, match="the Jacobian has shape"):
        ubudget.gauss_newton(model, lambda p: jacobian(p).T, [1.0, 0.0], np.ones(9))


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=30))
def test_moments_are_those_of_exact_fractions(values: list[float]) -> None:
    exact = [Fraction(value) for value in values]
    mean = sum(exact, Fraction(0)) / len(exact)
    variance = sum(((value - mean) ** 2 for value in exact), Fraction(0)) / (len(exact) - 1)
    found = ubudget.mean_and_sd(values)
    assert found.mean == pytest.approx(float(mean), rel=1e-15, abs=1e-9)
    assert found.sd == pytest.approx(math.sqrt(variance), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(("values", "words"), [([1.0], "at least two"), ([1.0, np.inf], "finite")])
def test_what_has_no_standard_deviation_is_refused(values: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ubudget.mean_and_sd(values)


def test_equal_values_have_no_autocorrelation() -> None:
    with pytest.raises(ValueError, match="all values are equal"):
        ubudget.lag_1_autocorrelation([2.0, 2.0, 2.0])
