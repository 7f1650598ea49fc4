"""Targets of a method: which holds for a result, met or not by plain arithmetic, live in the workbook, bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands.running import run
from tests.engines import ironcalc_variants, require_engine
from tests.findings.small_run import METHOD, write_run
from tests.run_checks.checked_run import WITH_CHECKS, checked_run
from tests.targets.target_run import CASES, GENERAL, evaluation_of
from tests.workbooks.books import HARBOUR, Written, edited, evaluated, written
from tests.workbooks.live_checks import assert_engines_agree
from tests.workbooks.test_alive import as_edit, numeric_cells
from ubudget.files.reading import read_records
from ubudget.files.verbs import read_run
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages.plan import plan_book


def test_the_case_of_the_level_holds() -> None:
    """SED-02 at about 100 mg/kg: U at most 5 mg/kg; SED-01 diluted, about 200 mg/kg: the same, U = 5 mg/kg; above
    300 mg/kg u at most 2 %."""
    evaluation = evaluation_of(GENERAL + CASES)
    assert evaluation.column("target", "targets") == pytest.approx([5.0, 5.0])
    high = evaluation_of((GENERAL + CASES).replace('"300 mg/kg"', '"150 mg/kg"'))
    first = high.results[0]
    assert first.value is not None and first.coverage_factor is not None and first.expanded_uncertainty is not None
    expected = 0.02 * first.value * first.coverage_factor
    assert high.column("target", "targets") == pytest.approx([expected, 5.0])
    assert high.column("U/target", "targets")[0] == pytest.approx(first.expanded_uncertainty / expected)


def test_levels_without_target_have_none() -> None:
    only_above = evaluation_of(METHOD + CASES[CASES.index("[[target]]", 20) :])
    assert only_above.column("target", "targets").tolist() == [0.0, 0.0]
    assert "targets" not in evaluation_of(METHOD).graph.tables


def test_the_target_for_all_holds_at_levels_that_no_case_names() -> None:
    above = evaluation_of((GENERAL + CASES.partition("\n\n")[0] + "\n").replace('"300 mg/kg"', '"150 mg/kg"'))
    assert above.column("target", "targets") == pytest.approx([0.04 * (above.results[0].value or 0), 5.0])


def test_the_single_field_is_an_expanded_uncertainty_for_all() -> None:
    evaluation = evaluation_of()
    values = [result.value or 0.0 for result in evaluation.results]
    assert evaluation.column("target", "targets") == pytest.approx([0.04 * value for value in values])


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Written:
    """The run with all checks: targets by level, and a material that the method limits."""
    method = GENERAL + WITH_CHECKS["method"].removeprefix(METHOD) + CASES
    return written(checked_run(tmp_path_factory.mktemp("targets"), method=method))


def test_engines_agree(example: Written, tmp_path: Path) -> None:
    assert_engines_agree(example, tmp_path)


def words(example: Written) -> dict[str, list[str]]:
    """Addresses of all verdicts."""
    found: dict[str, list[str]] = {}
    for sheet, name, heading in (
        ("targets", "targets in words", "target"),
        ("blanks and checks", "reference materials", "verdict"),
        ("blanks and checks", "reference materials", "certified"),
    ):
        band = next(band for s in example.book.sheets if s.name == sheet for band in s.bands if band.name == name)
        at = [column.heading for column in band.columns].index(heading)
        letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
        found.setdefault(sheet, []).extend(f"{letters[at]}{row}" for row in range(band.first_row, band.last_row + 1))
    return found


def test_targets_and_certified_values_are_open_and_move_their_verdicts(example: Written, tmp_path: Path) -> None:
    """A certified value that the limits of the method judge is one open cell, which the other band follows."""
    require_engine("ironcalc")
    file = example.save(tmp_path / "book.xlsx")
    cells = numeric_cells(example)
    target = next(cell for cell in cells if cell.sheet == "targets" and cell.origin.path == ("target", 0, "U"))
    places = [cell for cell in cells if cell.origin.path[-3:] == ("property", 0, "value") and cell.sheet != "standards"]
    (known,) = [cell for cell in places if cell.origin.path[1] == 1]
    assert known.heading == "known"
    edits = [[], [(target.sheet, target.address, 0.1)], [(known.sheet, known.address, 130.0)]]
    plain, strict, higher = ironcalc_variants(file, edits, words(example), timeout=120)
    assert "met" in plain["targets"].values() and set(strict["targets"].values()) == {"not met"}
    verdict, certified = words(example)["blanks and checks"]
    assert (plain["blanks and checks"][verdict], plain["blanks and checks"][certified]) == ("agrees", 96)
    assert (higher["blanks and checks"][verdict], higher["blanks and checks"][certified]) == ("differs", 130)
    library = edited(example.records, [as_edit(known, 130.0)])
    assert library.column("differs", "reference materials").tolist() == [1.0]


def test_the_workbook_reads_back(example: Written, tmp_path: Path) -> None:
    file = example.save(tmp_path / "book.xlsx")
    again = read_run(file)
    assert again.edits == () and again.method.targets == example.records.method.targets
    assert book_bytes(plan_book(evaluated(again))) == file.read_bytes()


def test_a_method_without_target_has_no_sheet(tmp_path: Path) -> None:
    book = written(write_run(tmp_path)).book
    assert "targets" not in [sheet.name for sheet in book.sheets]


def test_the_command_tells_and_tries(tmp_path: Path) -> None:
    done = run("target", HARBOUR, folder=tmp_path)
    assert done.status == 0 and "52 of 52 results meet their target." in done.out
    run_folder = write_run(tmp_path, method=GENERAL.replace('"4 %"', '"2 %"'))
    words = ("target", run_folder, "--result", "SED-02/Zn", "--portions", "2,4", "--try", "input R=0.2 %; replicates 5")
    told = run(*words, folder=tmp_path)
    assert told.status == 1 and all(len(line) <= 80 for line in told.out.splitlines()), told.out
    (result,) = json.loads(run(*words, "--json", "-", folder=tmp_path).out)["results"]
    assert [one["option"] for one in result["options"]] == ["portions 2", "portions 4", "input R=0.2 %; replicates 5"]
    assert sum(group["share"] for group in result["groups"]) == pytest.approx(1)
    assert result["met"] is False and result["options"][2]["ratio"] < result["ratio"]
    assert run("target", run_folder, "--try", "portions", folder=tmp_path).status == 2


BAD = [
    ('target_uncertainty = "4 %"', 'target_uncertainty = "4 mg/L"', "a target in % of the result, or in mg/kg"),
    ('target_uncertainty = "4 %"', "target_uncertainty = 4", "a target in % of the result, or in mg/kg"),
    ('U = "5 mg/kg"', 'U = "5 mL"', "a target in % of the result, or in mg/kg"),
    ('U = "5 mg/kg"', 'U = "-5 mg/kg"', "a number above zero"),
    ('U = "5 mg/kg"', 'U = "5 mg/kg"\nu = "1 %"', "both or neither of U and u"),
    ('u = "2 %"', 'source = "x"', "twice"),
    ('level_to = "300 mg/kg"', 'level_to = "300 mL"', "a level in the unit of the results"),
    ('level_to = "300 mg/kg"', 'level_to = "300 %"', "a level in the unit of the results"),
    ('level_to = "300 mg/kg"', 'level_to = "310 mg/kg"', "a second target for the same results"),
    ('level_to = "300 mg/kg"', 'level_from = "10 mg/kg"\nlevel_to = "5 mg/kg"', "level_from below level_to"),
    ('analyte = "Zn"', 'analyte = "Q"', "the unknown analyte Q"),
    ('analyte = "Zn"', 'analyte = "Zn"\nline = "1"', "the unknown line 1"),
]


@pytest.mark.parametrize(("old", "new", "told"), BAD)
def test_bad_targets_are_told(old: str, new: str, told: str, tmp_path: Path) -> None:
    method = GENERAL + CASES
    assert old in method
    _, findings = read_records(write_run(tmp_path, method=method.replace(old, new, 1)))
    stops = [finding.line() for finding in findings if finding.severity == "stop"]
    assert any(told in line for line in stops), stops


def test_workbooks_with_spare_rows_refuse_targets_of_cases(tmp_path: Path) -> None:
    folder = write_run(tmp_path, method=GENERAL + CASES)
    done = run("workbook", "--empty", folder, tmp_path / "daily.xlsx", folder=tmp_path)
    assert done.status == 2 and "targets of single cases" in done.faults
