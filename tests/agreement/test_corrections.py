"""Corrections of readings against the package `uncertainties`, and against refits with moved readings."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.agreement.test_uncertainties import assert_walk_agrees, evaluated
from tests.calibration.test_exactness import FitWalk
from tests.modules.corrected_run import DRIFT, INTERNAL, corrected_run
from ubudget.bench.assembly import RESULTS
from ubudget.quantity.numbers import Numbers

KINDS = {
    "line": {},
    "internal standard alone": {"corrections": INTERNAL},
    "drift alone": {"corrections": DRIFT},
    "quadratic": {"more": 'curve = "quadratic"'},
    "through zero": {"more": 'curve = "line through zero"', "scatter": "own"},
    "on means": {"more": 'fit_on = "means"', "scatter": "own"},
    "1/x": {"more": 'weights = "1/x"\nweight_floor = "0.1 mg/L"'},
    "1/y": {"more": 'weights = "1/y"', "scatter": "pooled"},
    "two points": {"more": 'curve = "two points"', "standards": ("S0", "S3"), "scatter": "pooled"},
}


@pytest.mark.parametrize("options", KINDS.values(), ids=KINDS)
def test_walk_of_uncertainties_agrees(options: dict[str, object], tmp_path: Path) -> None:
    evaluation = evaluated(corrected_run(tmp_path, **options))  # type: ignore[arg-type]
    walk = FitWalk(evaluation)
    assert_walk_agrees(evaluation, walk)


ITERATED = {
    "rational": {"more": 'curve = "rational"'},
    "errors in variables": {
        "more": 'standards = "errors in variables"\nstandard_u = "0.5 %"',
        "scatter": "own",
    },
}


@pytest.mark.parametrize("options", ITERATED.values(), ids=ITERATED)
def test_moved_readings_move_the_refit(options: dict[str, str], tmp_path: Path) -> None:
    """Curves found by steps: the whole fit anew with each amount added and each check moved by +h and -h."""
    evaluation = evaluated(corrected_run(tmp_path, **options))  # type: ignore[arg-type]
    graph, value = evaluation.graph, evaluation.assembly.value
    taken = {("signal corrections", "D taken"): evaluation.column("D taken", "signal corrections")}
    checked = 0
    for table, column in (("internal standard by solution", "added"), ("drift checks", "check")):
        estimate = evaluation.column(column, table)
        for row in range(estimate.size):
            h = 1e-4 * (abs(estimate[row]) or 1.0)
            ends = []
            for sign in (1, -1):
                moved = estimate.copy()
                moved[row] += sign * h
                ends.append(Numbers(graph, taken | {(table, column): moved}).column(RESULTS, value))
            slope = (ends[0] - ends[1]) / (2 * h)
            member = graph.tables[table].leaf_of[column].members[row]
            for result in range(len(evaluation.keys)):
                c = sum(
                    evaluation.column(slot.sensitivity)[result]
                    for slot in evaluation.slots
                    if slot.rows[result] >= 0 and slot.members[result] == member
                )
                assert math.isclose(c, slope[result], rel_tol=1e-5, abs_tol=1e-6 / (abs(estimate[row]) or 1.0))
                checked += abs(slope[result]) > 0
    assert checked > 40
