"""Results compared by the command and in the library: what they share, materials of a run, bad calls."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from uncertainties import covariance_matrix

from tests.commands.running import run
from tests.workbooks.books import HARBOUR, written
from ubudget.bench.result_table import ANALYTE
from ubudget.evaluation.comparison import between_runs, material_comparisons, within_run
from ubudget.pages.results_table import find_result


def test_results_of_one_run_covary_as_uncertainties_has_it() -> None:
    evaluation = written(HARBOUR).evaluation
    a, b = (find_result(evaluation, label) for label in ("SED-01/Cu/324.754", "SED-02/Cu/324.754"))
    numbers = evaluation.as_ufloats()
    expected = covariance_matrix([numbers[a], numbers[b]])
    assert within_run(evaluation, a, b) == pytest.approx(expected[0][1], rel=1e-9)


def test_runs_share_what_both_registers_hold() -> None:
    """The same run twice, as two runs: all that outlasts it is its stock solution; ware of a set is new at each use."""
    evaluation = written(HARBOUR).evaluation
    a, b = (find_result(evaluation, label) for label in ("SED-01/Cu/324.754", "SED-02/Cu/324.754"))
    covariance, items = between_runs(evaluation, a, evaluation, b)
    stock = [next(row for row in evaluation.budget(row) if row.symbol == "c_stock") for row in (a, b)]
    assert items == ["STK-CU"]
    assert covariance == pytest.approx(stock[0].contribution * stock[1].contribution, rel=1e-12)


def test_materials_by_hand() -> None:
    """Lead of the material: certified 121.5 mg/kg, U = 5.4 mg/kg, k = 2 (invented); ISO 13528, 9.6 and 9.7."""
    evaluation = written(HARBOUR).evaluation
    found = {one.first.name: one for _, one in material_comparisons(evaluation) if one is not None}
    lead = found["RM-SED/Pb/220.353"]
    difference = lead.first.value - 121.5
    assert lead.scores[0].value == pytest.approx(abs(difference))
    assert lead.scores[1].value == pytest.approx(difference / math.hypot(lead.first.u, 2.7), rel=1e-12)
    assert lead.scores[2].value == pytest.approx(difference / math.hypot(lead.first.U, 5.4), rel=1e-12)
    table = evaluation.graph.tables["reference materials"]
    at = list(table.texts(ANALYTE)).index("Pb")
    assert evaluation.column("E_n", "reference materials")[at] == pytest.approx(lead.scores[2].value, rel=1e-12)


def test_the_command_prints_and_writes(tmp_path: Path) -> None:
    words = ("scores", HARBOUR, "--result", "SED-01/Pb", "--value", "60 mg/kg", "--U", "3000 ug/kg", "--k", "2")
    done = run(*words, folder=tmp_path)
    assert done.status == 0 and "zeta" in done.out and "ISO 13528:2022, 9.7" in done.out
    assert all(len(line) <= 80 for line in done.out.splitlines())
    (one,) = json.loads(run(*words, "--json", "-", folder=tmp_path).out)["comparisons"]
    assert one["second"]["standard_uncertainty"] == pytest.approx(1.5)
    far = run(*words[:5], "80 mg/kg", "--u", "1 mg/kg", folder=tmp_path)
    assert far.status == 1 and "unsatisfactory" in far.out
    assert run("scores", HARBOUR, folder=tmp_path).status == 0


RESULT = ("--result", "SED-01/Pb")
VALUE = (*RESULT, "--value", "60 mg/kg")
BAD = [
    ((*VALUE, "--U", "3 mg/kg"), "found no k"),
    (VALUE, "neither --U nor --u"),
    ((*VALUE, "--U", "3 mg/kg", "--u", "1 mg/kg"), "both --U and --u"),
    ((*VALUE, "--u", "1 mg/L"), "another unit"),
    ((*VALUE, "--u", "-1 mg/kg"), "a negative one"),
    ((*VALUE, "--u", "1 mg/kg", "--k", "2"), "found beside --u"),
    ((*VALUE, "--U", "1 mg/kg", "--k", "-2"), "no coverage factor"),
    ((*VALUE, "--u", "1 mg/kg", "--r", "1.5"), "no correlation"),
    ((*VALUE, "--u", "1 mg/kg", "--basis", "as received"), "accepted: one basis"),
    ((*VALUE, "--u", "1 mg/kg", "--sigma", "2 s"), "another unit"),
    ((*RESULT, "--value", "60 mg/L", "--u", "1 mg/L"), "units that convert"),
    ((*RESULT, "--value", "60,1 mg/kg", "--u", "1 mg/kg"), "decimal comma"),
    ((*RESULT, "--result2", "SED-01/Pb"), "the same result twice"),
    ((*RESULT, "--result2", "SED-99/Pb"), "there is no such result"),
]


@pytest.mark.parametrize(("words", "told"), BAD, ids=[told for _, told in BAD])
def test_bad_calls_are_told_in_one_line(words: tuple[str, ...], told: str, tmp_path: Path) -> None:
    done = run("scores", HARBOUR, *words, folder=tmp_path)
    assert done.status == 2 and told in done.faults, done.err
    assert done.faults.count("\n") == 1 and not done.out


@pytest.mark.parametrize("words", [("--value", "1 mg/kg"), RESULT, (*RESULT, "--result2", "x", "--U", "1 mg/kg")])
def test_calls_that_say_too_little_are_refused(words: tuple[str, ...], tmp_path: Path) -> None:
    assert run("scores", HARBOUR, *words, folder=tmp_path).status == 2
