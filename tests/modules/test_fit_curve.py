"""Calibration curves: what must hold whatever the data, and what is refused or flagged."""

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import ubudget
from ubudget.errors import UbudgetError

KINDS = ("line", "line-through-zero", "quadratic", "rational")
ORIGIN_FREE = ("line", "quadratic", "rational")
"""Kinds that a shift of x or y maps onto themselves."""

X = np.repeat([0.2, 0.5, 1.0, 1.6, 2.4, 3.0, 4.1, 5.0], 2)
"""Levels of invented standards, each read twice."""


@st.composite
def readings(draw: st.DrawFn) -> np.ndarray:
    """Rising or falling, gently curved, with scatter of up to 2 %; zero at zero but for the scatter."""
    bend, slope = draw(st.floats(0.0, 0.08)), draw(st.sampled_from([-3.0, 0.7, 40.0]))
    seed, noise = draw(st.integers(0, 10_000)), draw(st.floats(1e-4, 0.02))
    scatter = np.random.default_rng(seed).normal(0, noise * abs(slope), X.size)
    y: np.ndarray = slope * X / (1 + bend * X) + scatter
    return y


def weights_of(y: np.ndarray) -> np.ndarray:
    w: np.ndarray = 1 / (0.01 * np.abs(y).max() + 0.02 * np.abs(y)) ** 2
    return w


def scalar(prediction: Any) -> tuple[float, float]:
    value, u, _ = prediction
    return float(value), float(u)


@given(readings(), st.sampled_from(KINDS), st.booleans(), st.floats(0.2, 5.0))
def test_inverse_undoes_predict(y: np.ndarray, kind: str, weighted: bool, x0: float) -> None:
    fit = ubudget.fit_curve(kind, X, y, weights=weights_of(y) if weighted else None)
    prediction = fit.inverse(fit.predict(x0), 3, weight=1.0)
    assert float(prediction.value) == pytest.approx(x0, rel=1e-12)
    assert prediction.flags == () and prediction.degrees_of_freedom == fit.degrees_of_freedom


@given(readings(), st.sampled_from(KINDS), st.floats(0.2, 5.0))
def test_uncertainty_is_the_law_of_propagation_in_raw_parameters(y: np.ndarray, kind: str, x0: float) -> None:
    """u² = (s²/(p·w₀) + gᵀVg)/f'² with the printed parameters and covariance; GUM 5.2.2 eq. 13, ISO 11095."""
    fit = ubudget.fit_curve(kind, X, y, weights=weights_of(y))
    p = fit.parameters
    if kind == "rational":
        d = 1 + p[2] * x0
        gradient = np.array([1, x0, -x0 * (p[0] + p[1] * x0) / d]) / d
        slope = (p[1] - p[0] * p[2]) / d**2
    else:
        powers = np.arange(len(p)) + (kind == "line-through-zero")
        gradient = x0**powers
        slope = np.sum(powers * p * x0 ** (powers - 1.0))
    w0 = float(weights_of(y)[3])
    expected = np.sqrt(float(fit.residual_sd) ** 2 / (2 * w0) + gradient @ fit.covariance @ gradient) / abs(slope)
    _, u = scalar(fit.inverse(fit.predict(x0), 2, weight=w0))
    assert u == pytest.approx(expected, rel=1e-9)


@given(
    readings(),
    st.sampled_from(KINDS),
    st.floats(-1e4, 1e4),
    st.floats(-1e4, 1e4),
    st.sampled_from([1e-9, 0.3, 1e6]),
    st.sampled_from([-1e7, 1e-8, 2.5]),
)
def test_units_and_origins_change_only_what_they_must(
    y: np.ndarray, kind: str, shift_x: float, shift_y: float, scale_x: float, scale_y: float
) -> None:
    if kind not in ORIGIN_FREE:
        shift_x = shift_y = 0.0
    plain = ubudget.fit_curve(kind, X, y)
    # The rational curve must keep its pole away from the new origin: there its equation has no constant 1.
    if kind == "rational":
        pole = -1 / plain.parameters[2] if plain.parameters[2] else np.inf
        assume(abs(pole + shift_x) > 1e-6)
    moved = ubudget.fit_curve(kind, scale_x * (X + shift_x), scale_y * (y + shift_y * np.abs(y).max()))
    target = float(y.mean())
    x0, u = scalar(plain.inverse(target, 2))
    new_x0, new_u = scalar(moved.inverse(scale_y * (target + shift_y * np.abs(y).max()), 2))
    # A shift of 1e4 leaves twelve digits of what was there, and curvature feeds on some of them.
    assert new_x0 / scale_x - shift_x == pytest.approx(x0, rel=1e-7)
    assert new_u / scale_x == pytest.approx(u, rel=1e-7)
    assert moved.residual_sd == pytest.approx(abs(scale_y) * plain.residual_sd, rel=1e-7)


@given(readings(), st.sampled_from(KINDS), st.sampled_from([1e-12, 7.0, 1e20]))
def test_weights_count_by_their_ratios(y: np.ndarray, kind: str, factor: float) -> None:
    fit, scaled = (ubudget.fit_curve(kind, X, y, weights=weights_of(y) * f) for f in (1.0, factor))
    assert (np.abs(scaled.parameters - fit.parameters) <= 1e-9 * fit.standard_uncertainties).all()
    np.testing.assert_allclose(scaled.covariance, fit.covariance, rtol=1e-9)
    y0 = float(y.mean())
    assert scalar(scaled.inverse(y0, 2)) == pytest.approx(scalar(fit.inverse(y0, 2)), rel=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_a_batch_is_its_curves_one_by_one(kind: str) -> None:
    rng = np.random.default_rng(5)
    y = np.array([[1.0], [30.0], [-0.2]]) * (X / (1 + 0.05 * X)) * (1 + rng.normal(0, 0.005, (3, X.size)))
    w = rng.uniform(0.5, 2.0, y.shape)
    batch = ubudget.fit_curve(kind, X, y, weights=w)
    at = y[:, ::3]
    together = batch.inverse(at, 2, weight=1.0)
    for row, (one_y, one_w) in enumerate(zip(y, w, strict=True)):
        single = ubudget.fit_curve(kind, X, one_y, weights=one_w)
        np.testing.assert_allclose(batch.parameters[row], single.parameters, rtol=1e-12)
        np.testing.assert_allclose(batch.covariance[row], single.covariance, rtol=1e-11)
        alone = single.inverse(at[row], 2, weight=1.0)
        np.testing.assert_allclose(together.value[row], alone.value, rtol=1e-12)
        np.testing.assert_allclose(together.standard_uncertainty[row], alone.standard_uncertainty, rtol=1e-11)
        assert single.lack_of_fit is not None and batch.lack_of_fit is not None
        assert batch.lack_of_fit.value[row] == pytest.approx(single.lack_of_fit.value, rel=1e-9)
    assert np.shape(batch.inverse(y[:, 3], [1, 2, 3], weight=1.0).value) == (3,)
    assert np.shape(batch.predict(np.full((3, 4), 1.0))) == (3, 4)


@pytest.mark.parametrize("bend", [0.0, 1e-18, 1e-12, 1e-6, -1e-9])
def test_vanishing_curvature_loses_nothing(bend: float) -> None:
    """The root of the quadratic tends to that of the line; the schoolbook formula would lose every digit."""
    x = np.arange(8.0)
    fit = ubudget.fit_curve("quadratic", x, 3.0 + 2.0 * x + bend * x**2)
    for y0 in (4.0, 9.5, 15.0):
        exact = (y0 - 3.0) / 2.0
        exact += -bend * exact**2 / 2.0 + bend**2 * exact**3 / 2.0
        assert float(fit.inverse(y0, 1).value) == pytest.approx(exact, rel=1e-11)


def test_equal_weights_are_those_of_a_reading() -> None:
    """u_y = 0.5 at every standard: without further word a reading has it too (ISO/TS 28037 example, 0.322)."""
    fit = ubudget.fit_curve("line", [1, 2, 3, 4, 5, 6], [3.3, 5.6, 7.1, 9.3, 10.7, 12.1], u_y=0.5 * np.ones(6),
                            scatter="known")  # fmt: skip
    prediction = fit.inverse(10.5, 1)
    assert float(prediction.standard_uncertainty) == pytest.approx(0.322035560129, rel=1e-9)
    assert prediction.flags == ()


def test_what_lies_outside_is_flagged() -> None:
    x = np.arange(6.0)
    line = ubudget.fit_curve("line", x, 1 + 2 * x)
    prediction = line.inverse([0.5, 1.0, 11.0, 11.5], 1)
    np.testing.assert_array_equal(prediction.outside_range, [True, False, False, True])
    assert prediction.flags == ("outside the range of the standards",)
    uneven = ubudget.fit_curve("line", x, 1 + 2 * x, weights=1 / (1 + x))
    assert "weight of the reading not stated" in uneven.inverse(3.0, 1).flags[0]


@pytest.mark.parametrize(
    ("kind", "curve", "reached", "never", "word"),
    [
        ("quadratic", lambda x: 10 * x - x**2 / 1.5, 20.0, 40.0, "turning point"),
        ("quadratic", lambda x: -10 * x + x**2 / 1.5, -20.0, -40.0, "turning point"),
        ("rational", lambda x: 10 * x / (1 + 0.5 * x), 12.0, 21.0, "plateau"),
        ("rational", lambda x: -10 * x / (1 + 0.5 * x), -12.0, -20.1, "plateau"),
    ],
)
def test_what_the_curve_never_reaches_has_no_value(
    kind: str, curve: Any, reached: float, never: float, word: str
) -> None:
    x = np.arange(7.0)
    ripple = np.array([1, -1, 1, -1, 1, -1, 1]) * 1e-9
    fit = ubudget.fit_curve(kind, x, curve(x) + ripple)
    prediction = fit.inverse([reached, never], 2)
    np.testing.assert_array_equal(prediction.no_solution, [False, True])
    alone = fit.inverse(never * 1.001, 2)
    assert np.isnan(alone.value) and np.isnan(alone.standard_uncertainty) and bool(alone.no_solution)
    assert word in alone.flags[0]


LEVELS = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
RISING = [0.1, 1.0, 2.1, 2.9, 4.0, 5.1]


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        (("line", [1, 1, 1, 1], [1, 2, 3, 4]), {}, "all x are equal"),
        (("line", [1, 1, 2, 2], [1, 2, 3, 4]), {}, "fewer than 3 levels"),
        (("line-through-zero", [2], [1]), {}, "all x are equal"),
        (("quadratic", [1, 2, 3, 3], [1, 2, 3, 4]), {}, "fewer than 4 levels"),
        (("rational", [1, 2, 3, 3], [1, 2, 3, 4]), {}, "fewer than 4 levels"),
        (("line", [], []), {}, "no standards"),
        (("line", LEVELS, RISING[:-1]), {}, "one x for each y"),
        (("line", LEVELS, [*RISING[:-1], np.nan]), {}, "finite"),
        (("line", [*LEVELS[:-1], np.inf], RISING), {}, "finite"),
        (("line", LEVELS, RISING), {"weights": [1, 1, 1, 1, 1, 0]}, "greater than 0"),
        (("line", LEVELS, RISING), {"weights": [1, 1, 1, 1, 1, -1]}, "greater than 0"),
        (("line", LEVELS, RISING), {"weights": [1, 1, 1]}, "one weight per observation"),
        (("line", LEVELS, RISING), {"u_y": [1, 1, 1, 1, 1, 0]}, "u_y must be"),
        (("line", LEVELS, RISING), {"u_y": 0.1, "weights": 1.0}, "give one of them"),
        (("line", LEVELS, RISING), {"scatter": "known"}, "how large the scatter of y is"),
        (("line", LEVELS, RISING), {"u_x": 0.1}, "how large the scatter of y is"),
        (("line", LEVELS, RISING), {"u_x": -0.1, "u_y": 0.1}, "u_x must be"),
        (("line", LEVELS, RISING), {"u_x": [0.1, 0.1], "u_y": 0.1}, "one for each x"),
        (("quadratic", LEVELS, RISING), {"u_x": 0.1, "u_y": 0.1}, "for a line only"),
        (("cubic", LEVELS, RISING), {}, "kind 'cubic'"),
        (("line", LEVELS, RISING), {"scatter": "unknown"}, "scatter 'unknown'"),
        (("line", LEVELS, [0.1] * 6), {}, "flat"),
        (("line", LEVELS, [0.0] * 6), {}, "flat"),
        (("quadratic", LEVELS, [0, 3, 4, 4, 3, 0]), {}, "not monotonic"),
        (("rational", LEVELS, [1, 2, 4, 40, -6, -3]), {}, "pole"),
        (("rational", LEVELS, [1 / (level - 2.6) for level in LEVELS]), {}, "pole"),
        (("rational", LEVELS, [1 / (level - 5.01) for level in LEVELS]), {}, "pole"),
        (("rational", [1, 2, 3, 4, 5], [1 / x for x in (1, 2, 3, 4, 5)]), {}, "pole at x = 0"),
    ],
)
def test_what_gives_no_curve_is_refused_in_one_line(arguments: Any, options: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words) as refused:
        ubudget.fit_curve(*arguments, **options)
    assert isinstance(refused.value, UbudgetError)
    assert "\n" not in str(refused.value)


def test_the_refusal_names_the_curve_of_a_batch() -> None:
    with pytest.raises(ValueError, match=r"flat.*curve 2 of the batch"):
        ubudget.fit_curve("line", LEVELS, [RISING, [1.0] * 6])


@pytest.mark.parametrize(
    ("y", "readings", "options", "words"),
    [
        (np.nan, 1, {}, "finite"),
        (1.0, 0, {}, "readings"),
        (1.0, 1, {"weight": 0.0}, "weight of a reading"),
        (1.0, 1, {"weight": np.nan}, "weight of a reading"),
    ],
)
def test_what_cannot_be_read_off_is_refused(y: float, readings: int, options: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ubudget.fit_curve("line", LEVELS, RISING).inverse(y, readings, **options)


def test_a_batch_needs_its_shape() -> None:
    with pytest.raises(ValueError, match="leading shape"):
        ubudget.fit_curve("line", LEVELS, [RISING, RISING]).inverse([1.0, 2.0, 3.0], 1)
