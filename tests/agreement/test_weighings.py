"""Weighings of every form, balance and air against the package `uncertainties`."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
import pytest
from uncertainties import covariance_matrix, nominal_value, std_dev

from tests.agreement.test_uncertainties import Walk
from tests.weighing.weighing_runs import AIR, BALANCES, FORMS, WEIGHT, evaluation_of, three_balances, weighing_run
from ubudget.bench.assembly import RESULTS
from ubudget.evaluation.covariance import covariance_matrix as our_covariance

KINDS = [*product(BALANCES, FORMS, ["CIPM-2007"]), *product(["by load"], ["by difference"], AIR)]


@pytest.mark.parametrize(("balance", "form", "air"), KINDS)
def test_walk_of_uncertainties_agrees(balance: str, form: str, air: str, tmp_path: Path) -> None:
    path = weighing_run(tmp_path, form=FORMS[form], balance=BALANCES[balance], register=WEIGHT, more=AIR[air])
    evaluation = evaluation_of(path)
    walk = Walk(evaluation)
    numbers = [walk.cell(RESULTS, evaluation.assembly.value, row) for row in range(len(evaluation.keys))]
    for result, number in zip(evaluation.results, numbers, strict=True):
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        assert result.standard_uncertainty == pytest.approx(std_dev(number), rel=1e-12)
    expected = np.array(covariance_matrix(numbers))
    u = np.sqrt(np.diag(expected))
    found = our_covariance(evaluation.propagated, evaluation.numbers)
    assert found / np.outer(u, u) == pytest.approx(expected / np.outer(u, u), abs=1e-12)


def test_three_balances_at_once(tmp_path: Path) -> None:
    evaluation = evaluation_of(three_balances(tmp_path))
    walk = Walk(evaluation)
    for row, result in enumerate(evaluation.results):
        number = walk.cell(RESULTS, evaluation.assembly.value, row)
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        assert result.standard_uncertainty == pytest.approx(std_dev(number), rel=1e-12)
