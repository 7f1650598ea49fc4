"""Laboratories whose true components are known: estimates without bias, and intervals that hold as often as stated.

Each of 1,000 laboratories is drawn by numpy: results = true value + bias + day + reading. The bounds of the coverage,
93 and 97 %, hold for intervals stated at 95.45 %, by t and by k = 2."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from ubudget import variance_components
from ubudget.evaluation.bias_studies import MaterialStudy, Round, bias_from_material, bias_from_rounds
from ubudget.evaluation.validation_route import combined, from_control_sample

LABORATORIES = 1000
DAY, READING = 1.3, 0.9
SAMPLING = 4.0
"""Standard deviations of the mean of all laboratories that an unbiased estimate may be off."""


def unbiased(estimates: np.ndarray, true: float) -> bool:
    return abs(estimates.mean() - true) <= SAMPLING * estimates.std(ddof=1) / math.sqrt(len(estimates))


@pytest.mark.parametrize("balanced", [True, False])
def test_components_and_the_interval_of_a_routine_result(balanced: bool) -> None:
    """Components of fifteen days, with two readings each or with one to four; then a duplicate on a new day."""
    rng = np.random.default_rng(20260317)
    readings = np.full(15, 2) if balanced else np.arange(15) % 4 + 1
    days = np.repeat(np.arange(15), readings)
    names = [f"day {day}" for day in days]
    found = np.zeros((LABORATORIES, 2))
    held = 0
    for number in range(LABORATORIES):
        values = 50 + rng.normal(0, DAY, 15)[days] + rng.normal(0, READING, len(days))
        between, within = variance_components(values.tolist(), day=names).strata
        found[number] = between.component, within.component
        routine = 50 + rng.normal(0, DAY) + rng.normal(0, READING, 2).mean()
        parts = [(between.s**2, between.component_degrees_of_freedom), (within.s**2 / 2, within.degrees_of_freedom)]
        variance = sum(part for part, _ in parts)
        nu = variance**2 / sum(part**2 / dof for part, dof in parts if part > 0)
        held += abs(routine - 50) <= stats.t.ppf(0.97725, nu) * math.sqrt(variance)
    assert unbiased(found[:, 0], DAY**2)
    assert unbiased(found[:, 1], READING**2)
    print(f"coverage {held / LABORATORIES:.3f}")
    assert 0.93 <= held / LABORATORIES <= 0.97


def test_the_second_route_covers_as_stated_from_a_reference_material() -> None:
    """u(Rw) of forty control results, u(bias) of one material measured on thirty days; laboratories with own bias."""
    rng = np.random.default_rng(20260318)
    scatter, own_bias, u_certified = math.hypot(DAY, READING), 0.4, 0.25
    held = 0
    squares = np.zeros(LABORATORIES)
    for number in range(LABORATORIES):
        bias = rng.normal(0, own_bias)
        control = rng.normal(70 + bias, scatter, 40)
        material = rng.normal(60 + bias, scatter, 30)
        certified = rng.normal(60, u_certified)
        within = from_control_sample(float(control.std(ddof=1)), 40)
        squares[number] = within.u**2
        found = MaterialStudy(float(material.mean()), float(material.std(ddof=1)), 30, certified, u_certified)
        _, U = combined(within.u, bias_from_material(found).u)
        held += abs(rng.normal(50 + bias, scatter) - 50) <= U
    assert unbiased(squares, scatter**2)
    print(f"coverage {held / LABORATORIES:.3f}")
    assert 0.93 <= held / LABORATORIES <= 0.97


def test_the_second_route_covers_as_stated_from_proficiency_tests() -> None:
    """u(bias) of eight rounds among thirty laboratories, each assigned value with an error of its own.

    Scatter of a round and of its assigned value are in the biases already, and u of the assigned values is added once
    more (Nordtest TR 537): a little wide, here by little, with means of nine days."""
    rng = np.random.default_rng(20260319)
    scatter, own_bias, s_R = 1.0, 0.4, 1.2
    held = 0
    for _ in range(LABORATORIES):
        bias = rng.normal(0, own_bias)
        control = rng.normal(70 + bias, scatter, 40)
        within = from_control_sample(float(control.std(ddof=1)), 40)
        rounds = [
            Round(rng.normal(50 + bias, scatter / 3), rng.normal(50, s_R / math.sqrt(30)), s_R, 30) for _ in range(8)
        ]
        _, U = combined(within.u, bias_from_rounds(rounds).u)
        held += abs(rng.normal(50 + bias, scatter) - 50) <= U
    print(f"coverage {held / LABORATORIES:.3f}")
    assert 0.93 <= held / LABORATORIES <= 0.97
