"""Fits against two packages that share nothing with ours: statsmodels (linear) and odrpack (ODRPACK95).

They are tools of the tests alone. Conventions: `normalized_cov_params` of statsmodels and `cov_beta` of odrpack are
(JᵀWJ)⁻¹, our scatter "known"; times the residual variance they are our scatter "estimated". odrpack takes J at the
adjusted points, as York (2004) does.
"""

from typing import Any

import numpy as np
import odrpack
import pytest
import statsmodels.api as sm

import ubudget
from tests.published import strd_floors

SEEDS = range(6)
LINEAR, ODR_PARAMETERS, ODR_COVARIANCE = 1e-9, 1e-7, 1e-5
POWERS = {"line": (0, 1), "line-through-zero": (1,), "quadratic": (0, 1, 2)}
FINEST = {"sstol": 1e-15, "partol": 1e-15, "maxit": 1000}


def standards(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Seven levels read three times, uncertainty growing with the level; invented."""
    rng = np.random.default_rng(seed)
    x = np.repeat(np.sort(rng.uniform(0.2, 1.0, 7)).cumsum(), 3) * 10.0 ** rng.integers(-3, 4)
    u = 0.01 + 0.02 * x / x.max()
    y = 0.05 + 1.4 * x / x.max() - 0.1 * (x / x.max()) ** 2 + rng.normal(0, u)
    return x, y, u


@pytest.mark.parametrize("kind", POWERS)
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("weighted", [False, True])
def test_linear_kinds(kind: str, seed: int, weighted: bool) -> None:
    x, y, u = standards(seed)
    weights = 1 / u**2 if weighted else np.ones_like(u)
    design = np.stack([x**k for k in POWERS[kind]], axis=-1)
    theirs = sm.WLS(y, design, weights=weights).fit()
    ours = ubudget.fit_curve(kind, x, y, weights=weights)
    bare = ubudget.least_squares(design, y, weights=weights)
    for fit in (ours, bare):
        np.testing.assert_allclose(fit.parameters, theirs.params, rtol=LINEAR)
        np.testing.assert_allclose(fit.covariance, theirs.cov_params(), rtol=LINEAR)
        assert fit.residual_sd == pytest.approx(np.sqrt(theirs.scale), rel=LINEAR)
        assert fit.degrees_of_freedom == theirs.df_resid
    known = ubudget.fit_curve(kind, x, y, weights=weights, scatter="known")
    np.testing.assert_allclose(known.covariance, theirs.normalized_cov_params, rtol=LINEAR)
    np.testing.assert_allclose(bare.covariance_unscaled, theirs.normalized_cov_params, rtol=LINEAR)
    # The uncertainty of a mean response is the curve's own part of an inverse prediction, over the slope.
    at = float(x[:12].mean())
    row = np.array([at**k for k in POWERS[kind]])
    slope = sum(k * b * at ** (k - 1) for k, b in zip(POWERS[kind], theirs.params, strict=True) if k)
    alone = ours.inverse(ours.predict(at), 1e30)
    response = np.sqrt(row @ theirs.cov_params() @ row)
    assert alone.standard_uncertainty == pytest.approx(response / abs(slope), rel=LINEAR)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("weighted", [False, True])
def test_tests_of_the_curve(seed: int, weighted: bool) -> None:
    x, y, u = standards(seed)
    weights = 1 / u**2 if weighted else np.ones_like(u)
    levels = (x[:, None] == np.unique(x)).astype(float)
    line, quadratic, means = (
        sm.WLS(y, design, weights=weights).fit()
        for design in (np.stack([x**0, x], axis=-1), np.stack([x**0, x, x**2], axis=-1), levels)
    )
    ours = ubudget.fit_curve("line", x, y, weights=weights)
    assert ours.lack_of_fit is not None and ours.linearity is not None
    for test, larger in ((ours.lack_of_fit, means), (ours.linearity, quadratic)):
        f, _, first = larger.compare_f_test(line)
        assert test.value == pytest.approx(f, rel=1e-7)
        assert test.degrees_of_freedom == (first, larger.df_resid)


def rational(_: Any, x: Any, a: Any, b: Any, c: Any) -> tuple[Any, tuple[Any, ...]]:
    d = 1 + c * x
    value = (a + b * x) / d
    return value, (1 / d, x / d, -x * value / d)


@pytest.mark.parametrize("seed", SEEDS)
def test_rational_curve_in_sixty_digits(seed: int) -> None:
    """Gauss-Newton in decimals, on the same doubles; readings good to a few per cent."""
    x, _, u = standards(seed)
    y = rational(None, x, 0.05, 2 / x.max(), 0.4 / x.max())[0] + np.random.default_rng(seed).normal(0, u)
    ours = ubudget.fit_curve("rational", x, y)
    start = [str(value) for value in ours.parameters.tolist()]
    parameters, sds, residual_sd = strd_floors.nonlinear(rational, x.tolist(), y.tolist(), start)
    np.testing.assert_allclose(ours.parameters, np.array(parameters, float), rtol=1e-11)
    np.testing.assert_allclose(ours.standard_uncertainties, np.array(sds, float), rtol=1e-11)
    assert ours.residual_sd == pytest.approx(float(residual_sd), rel=1e-12)


def odr_fit(x: np.ndarray, y: np.ndarray, start: Any, **options: Any) -> Any:
    """Both Jacobians must be given: without one, odrpack takes finite differences for all, five digits short."""
    return odrpack.odr_fit(options.pop("model"), x, y, np.asarray(start, float), **FINEST, **options)


def assert_same(ours: Any, theirs: Any, *, known: bool) -> None:
    np.testing.assert_allclose(ours.parameters, theirs.beta, rtol=ODR_PARAMETERS)
    scale = 1.0 if known else theirs.res_var
    np.testing.assert_allclose(ours.covariance, theirs.cov_beta * scale, rtol=ODR_COVARIANCE)
    assert np.square(ours.residual_sd) == pytest.approx(theirs.res_var, rel=ODR_PARAMETERS)


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("share", [0.001, 0.05])
def test_line_through_points_uncertain_in_both(seed: int, share: float, known: bool) -> None:
    x, y, u_y = standards(seed)
    u_x = share * (0.1 * x.max() + x)
    x = x + np.random.default_rng(seed + 100).normal(0, u_x)
    scatter = "known" if known else "estimated"
    ours = ubudget.fit_curve("line", x, y, u_x=u_x, u_y=u_y, scatter=scatter)
    theirs = odr_fit(
        x, y, ubudget.fit_curve("line", x, y).parameters,
        model=lambda x, b: b[0] + b[1] * x, weight_x=1 / u_x**2, weight_y=1 / u_y**2,
        jac_beta=lambda x, b: np.stack([np.ones_like(x), x]), jac_x=lambda x, b: np.full_like(x, b[1]),
    )  # fmt: skip
    assert_same(ours, theirs, known=known)


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("seed", SEEDS)
def test_rational_curve(seed: int, known: bool) -> None:
    x, _, u = standards(seed)
    c = 0.4 / x.max()
    y = (0.05 + 2 / x.max() * x) / (1 + c * x) + np.random.default_rng(seed).normal(0, u)
    scatter = "known" if known else "estimated"
    ours = ubudget.fit_curve("rational", x, y, u_y=u, scatter=scatter)

    def jacobian(x: np.ndarray, b: np.ndarray) -> np.ndarray:
        d = 1 + b[2] * x
        return np.stack([1 / d, x / d, -x * (b[0] + b[1] * x) / d**2])

    theirs = odr_fit(
        x, y, [0.05, 2 / x.max(), c], model=lambda x, b: (b[0] + b[1] * x) / (1 + b[2] * x),
        weight_y=1 / u**2, task="OLS", jac_beta=jacobian, jac_x=lambda x, b: (b[1] - b[0] * b[2]) / (1 + b[2] * x) ** 2,
    )  # fmt: skip
    assert_same(ours, theirs, known=known)
    steps = ubudget.gauss_newton(
        lambda p: (p[0] + p[1] * x) / (1 + p[2] * x), lambda p: jacobian(x, p).T, [0.0, 1 / x.max(), 0.0], y,
        weights=1 / u**2,
    )  # fmt: skip
    np.testing.assert_allclose(steps.parameters, theirs.beta, rtol=ODR_PARAMETERS)
    np.testing.assert_allclose(steps.covariance_unscaled, theirs.cov_beta, rtol=ODR_COVARIANCE)
