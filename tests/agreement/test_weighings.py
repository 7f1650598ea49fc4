"""Weighings of every form, balance and air against the package `uncertainties`."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest
from uncertainties import nominal_value, std_dev

from tests.agreement.test_uncertainties import Walk, assert_walk_agrees
from tests.weighing.weighing_runs import AIR, BALANCES, FORMS, WEIGHT, evaluation_of, three_balances, weighing_run
from ubudget.bench.assembly import RESULTS

KINDS = [*product(BALANCES, FORMS, ["CIPM-2007"]), *product(["by load"], ["by difference"], AIR)]


@pytest.mark.parametrize(("balance", "form", "air"), KINDS)
def test_walk_of_uncertainties_agrees(balance: str, form: str, air: str, tmp_path: Path) -> None:
    path = weighing_run(tmp_path, form=FORMS[form], balance=BALANCES[balance], register=WEIGHT, more=AIR[air])
    evaluation = evaluation_of(path)
    walk = Walk(evaluation)
    assert_walk_agrees(evaluation, walk)


def test_three_balances_at_once(tmp_path: Path) -> None:
    evaluation = evaluation_of(three_balances(tmp_path))
    walk = Walk(evaluation)
    for row, result in enumerate(evaluation.results):
        number = walk.cell(RESULTS, evaluation.assembly.value, row)
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        assert result.standard_uncertainty == pytest.approx(std_dev(number), rel=1e-12)
