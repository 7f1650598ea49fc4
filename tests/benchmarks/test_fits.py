"""Speed of fits and inverse predictions, as ratios that do not depend on the machine.

Run by name only: python -m pytest tests/benchmarks/test_fits.py -n 0 -s
"""

import time
from collections.abc import Callable

import numpy as np
import pytest

import ubudget

LINES, LEVELS, READINGS, SAMPLES = 60, 8, 5, 100
POWERS = {"line": 1, "quadratic": 2}
MOST_FOR_FITS = 2.0
"""Times a loop of numpy.linalg.lstsq, which gives no covariance."""
MOST_FOR_INVERSES = 10.0
"""Times one evaluation of the curve by numpy."""


def fastest(work: Callable[[], object], *, seconds: float = 0.5) -> float:
    """Shortest of many runs: what the machine does when nothing else disturbs it."""
    work()
    best, end = np.inf, time.perf_counter() + seconds
    while time.perf_counter() < end:
        begin = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begin)
    return float(best)


@pytest.fixture(scope="module")
def standards() -> tuple[np.ndarray, np.ndarray]:
    """Sixty lines, eight levels read five times each; invented, slightly curved."""
    rng = np.random.default_rng(20)
    x = np.repeat(np.linspace(0.0, 2.0, LEVELS), READINGS)
    steepness = rng.uniform(0.5, 20.0, (LINES, 1))
    y = steepness * (0.02 + x - 0.03 * x**2) + rng.normal(0.0, 0.01, (LINES, x.size)) * steepness
    return np.broadcast_to(x, y.shape).copy(), y


@pytest.mark.parametrize("kind", ["line", "quadratic"])
def test_sixty_fits(kind: str, standards: tuple[np.ndarray, np.ndarray]) -> None:
    x, y = standards

    def loop() -> None:
        for one_x, one_y in zip(x, y, strict=True):
            np.linalg.lstsq(np.vander(one_x, POWERS[kind] + 1, increasing=True), one_y, rcond=None)

    designs = [np.vander(one_x, POWERS[kind] + 1, increasing=True) for one_x in x]

    def bare_loop() -> None:
        for design, one_y in zip(designs, y, strict=True):
            np.linalg.lstsq(design, one_y, rcond=None)

    ours = fastest(lambda: ubudget.fit_curve(kind, x, y).covariance)
    bare, full = fastest(bare_loop), fastest(loop)
    print(f"\n{kind}: {LINES} fits with covariance {ours * 1e3:.2f} ms, lstsq alone {bare * 1e3:.2f} ms: "
          f"{ours / bare:.2f} times; with its designs {full * 1e3:.2f} ms: {ours / full:.2f} times")  # fmt: skip
    assert ours <= MOST_FOR_FITS * bare


@pytest.mark.parametrize("kind", ["line", "quadratic"])
def test_six_thousand_inverse_predictions(kind: str, standards: tuple[np.ndarray, np.ndarray]) -> None:
    fit = ubudget.fit_curve(kind, *standards)
    x = np.random.default_rng(21).uniform(0.1, 1.9, (LINES, SAMPLES))
    a, b, *bent = (column[:, None] for column in fit.parameters.T)

    def evaluate() -> np.ndarray:
        return a + b * x + bent[0] * x * x if bent else a + b * x

    y = evaluate()
    ours, once = fastest(lambda: fit.inverse(y, 3)), fastest(evaluate)
    print(f"\n{kind}: {x.size} inverse predictions with u {ours * 1e6:.0f} µs, "
          f"one evaluation {once * 1e6:.1f} µs: {ours / once:.1f} times")  # fmt: skip
    assert ours <= MOST_FOR_INVERSES * once
    np.testing.assert_allclose(fit.inverse(y, 3).value, x, rtol=1e-10)
