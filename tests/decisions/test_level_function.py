"""Level functions as plain functions: EURACHEM/CITAC CG 4, QUAM:2012.P1, E.5; fits against scipy.optimize.nnls."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import nnls

from ubudget import LevelFunction, fit_level_function
from ubudget.errors import UbudgetError


def test_constructed_figures_of_the_formula() -> None:
    """u = √(s0² + (x·s1)²), by hand: s0 = 0.1 and s1 = 0.02; s0 = 0.05 and s1 = 0.02."""
    function = LevelFunction(0.1, 0.02, 0.0, 100.0)
    found = function.standard_uncertainty([0.0, 5.0, 100.0])
    assert found == pytest.approx([0.1, 0.1414213562, 2.0024984395], rel=1e-9)
    other = LevelFunction(0.05, 0.02, 0.5, 50.0).standard_uncertainty([0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0])
    assert other == pytest.approx([0.050990, 0.053852, 0.064031, 0.111803, 0.206155, 0.403113, 1.001249], abs=5e-7)


def test_nothing_is_extrapolated() -> None:
    function = LevelFunction(0.1, 0.02, 1.0, 10.0)
    assert function.holds_at(1.0) and function.holds_at(10.0)
    for level in (0.99, 10.01):
        with pytest.raises(UbudgetError, match="accepted: 1 to 10"):
            function.standard_uncertainty(level)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.floats(0.1, 100), st.floats(0.01, 10)), min_size=4, max_size=9, unique_by=lambda p: p[0]))
def test_the_fit_is_least_squares_of_u2_on_x2_without_negative_parts(pairs: list[tuple[float, float]]) -> None:
    x, u = np.array(pairs).T
    if np.ptp(x**2) < 1e-3 * np.max(x) ** 2:
        return  # too much alike for the comparison with a solver that does not centre
    design = np.column_stack([np.ones_like(x), x**2])
    scale = np.linalg.norm(design, axis=0)
    (constant, relative), _ = nnls(design / scale, u**2)
    function = fit_level_function(x, u)
    expected = np.sqrt(constant / scale[0] + relative / scale[1] * x**2)
    assert u - np.array(function.residuals) == pytest.approx(expected, rel=1e-6, abs=1e-9)


BAD = [
    (([1, 2, 3], [1, 1, 1]), "4 or more pairs"),
    (([1, 2, 3, 4], [1, 1, 0, 1]), "u above zero"),
    (([3.1] * 4, [0.1] * 4), "without width"),
]


@pytest.mark.parametrize(("pairs", "words"), BAD, ids=[words for _, words in BAD])
def test_what_gives_no_function_is_refused(pairs: tuple[list[float], list[float]], words: str) -> None:
    with pytest.raises(UbudgetError, match=words):
        fit_level_function(*pairs)
