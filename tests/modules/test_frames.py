"""Data frames hold the numbers of the results."""

from __future__ import annotations

import pytest

import ubudget
from ubudget.files.shipped import shipped_folder

EXAMPLE = shipped_folder("worked_examples") / "harbour_sediment"


def test_frames_hold_every_result_and_every_budget_row() -> None:
    evaluation = ubudget.evaluate(ubudget.read_run(EXAMPLE))
    results, budgets = ubudget.results_frame(evaluation), ubudget.budgets_frame(evaluation)
    assert len(results) == len(evaluation.results)
    assert results["value"].tolist() == [result.value for result in evaluation.results]
    # GUM 5.1.2 eq. 10: the contributions of each result give back its standard uncertainty.
    squares = budgets.assign(square=budgets["contribution"] ** 2).groupby(["sample", "analyte", "line"])["square"].sum()
    for result in evaluation.results:
        u = squares[result.sample, result.analyte, result.line] ** 0.5
        assert u == pytest.approx(result.standard_uncertainty, rel=1e-12)
