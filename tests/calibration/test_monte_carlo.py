"""u of results, and their correlation, against the scatter of a whole calibration drawn many times.

Stock, every physical deviation of the glassware, readings of standards and samples are drawn from their distributions
(JCGM 101:2008, clause 7); each trial is refitted and predicts. The calibration of `whole_calibration` is numpy alone.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.calibration.runs import Declared, evaluated
from tests.calibration.whole_calibration import results
from ubudget.evaluation.covariance import covariance_matrix

TRIALS = 100_000
FOUR = 4
"""Standard errors of sampling allowed: chance alone exceeds four once in 16,000 comparisons. Seeds are fixed."""
ONE_LINE = ("257.610",)
CASES = [
    Declared("line", lines=ONE_LINE),
    Declared("line", "1/x", lines=ONE_LINE),
    Declared("line through zero", "1/x", lines=ONE_LINE),
    Declared("quadratic", lines=ONE_LINE),
    Declared("quadratic", "noise model", known=True, lines=ONE_LINE),
    Declared("rational", lines=ONE_LINE),
    Declared("rational", "noise model", known=True, lines=ONE_LINE),
]


@pytest.mark.parametrize(("seed", "declared"), list(enumerate(CASES)), ids=str)
def test_u_and_correlation_are_those_of_the_whole_calibration_drawn(seed: int, declared: Declared) -> None:
    evaluation = evaluated(declared)
    drawn = results(declared, TRIALS, seed)
    assert [result.sample for result in evaluation.results] == ["A", "B", "C"]
    u = np.array([result.standard_uncertainty for result in evaluation.results])
    values = np.array([result.value for result in evaluation.results])

    # Standard error of a mean u/sqrt(N). Terms of second order shift it by the square of the relative uncertainty,
    # which is below 1e-4.
    assert (u / values).max() < 1e-2
    assert (np.abs(drawn.mean(axis=0) - values) < FOUR * u / math.sqrt(TRIALS) + 1e-4 * values).all()
    # Standard error of a standard deviation u/sqrt(2 N): 0.22 %.
    spread = drawn.std(axis=0, ddof=1)
    assert spread / u == pytest.approx(np.ones(3), abs=FOUR / math.sqrt(2 * TRIALS))

    covariance = covariance_matrix(evaluation.propagated, evaluation.numbers)
    ours = covariance / np.outer(u, u)
    found = np.corrcoef(drawn.T)
    assert ours[0, 1] > 0.05
    for i, j in ((0, 1), (0, 2), (1, 2)):
        # Standard error of a correlation coefficient (1 - r^2)/sqrt(N).
        assert found[i, j] == pytest.approx(ours[i, j], abs=FOUR * (1 - ours[i, j] ** 2) / math.sqrt(TRIALS))
