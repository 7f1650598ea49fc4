"""`ubudget check` as a person gives it, and what programs read of it."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import pytest

import ubudget
from tests.commands.running import run, run_apart, widest
from tests.mutation.mutations import by_a_shift, by_its_value, subject
from tests.mutation.real_files import with_cell
from tests.workbooks.books import EXAMPLES, HARBOUR, written
from ubudget.pages.cells_as_read import CellAsRead
from ubudget.pages.plan_fingerprint import plan_fingerprint
from ubudget.pages.record_sheet import fingerprint

SMALL = EXAMPLES / "well_arsenic"
CONTRACT = ["intact", "edited_inputs", "broken_formulas", "disagreements", "not_calculated"]


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(SMALL).save(tmp_path_factory.mktemp("issued") / "book.xlsx")


def test_the_demonstration_by_the_real_entry_point(tmp_path: Path) -> None:
    """The workbook that `demo` writes has no finding: verdict first, exit status 0, 80 columns."""
    assert run("demo", folder=tmp_path).status == 0
    done = run_apart("check", Path("ubudget-demo") / "budget.xlsx", folder=tmp_path)
    assert (done.status, done.err) == (0, "")
    assert done.out.splitlines()[0] == "budget.xlsx: intact. Nothing was changed since it was issued."
    assert widest(done.out) <= 80
    assert fingerprint(written(HARBOUR).records.texts) in done.out


def told(file: Path, *words: str) -> tuple[int, dict[str, object]]:
    done = run("check", file, "--json", "-", *words, folder=file.parent)
    assert done.err == ""
    return done.status, json.loads(done.out)


def test_the_contract_for_programs(issued: Path, tmp_path: Path) -> None:
    status, untouched = told(issued)
    assert (status, list(untouched)[:5]) == (0, CONTRACT)
    assert [untouched[name] for name in CONTRACT] == [True, [], [], [], False]

    formula = subject(SMALL).found.by_name["measured lines"].cells["E9"]
    shifted = by_a_shift(formula)
    assert shifted is not None
    for changed in (by_its_value(formula), shifted):
        file = with_cell(issued, tmp_path / "broken.xlsx", "measured lines", "E9", changed)
        status, report = told(file)
        (entry,) = report["broken_formulas"]  # type: ignore[misc]
        found = changed.value if changed.formula is None else f"={changed.formula}"
        assert {key: entry[key] for key in ("sheet", "cell", "expected", "found")} == {
            "sheet": "measured lines",
            "cell": "E9",
            "expected": f"={formula.formula}",
            "found": found,
        }
        assert (status, report["intact"]) == (1, False)

    file = with_cell(issued, tmp_path / "edited.xlsx", "readings", "E9", CellAsRead(None, 0.0061, locked=False))
    status, report = told(file)
    (entry,) = report["edited_inputs"]  # type: ignore[misc]
    assert (entry["sheet"], entry["cell"], entry["expected"], entry["found"]) == ("readings", "E9", 0.00556, 0.0061)
    assert entry["what"] == "reading [1], BL-1 As 193.7 1 (readings.csv: data row 7, r1)"
    # The file still stores what was calculated before the edit.
    assert (status, report["intact"], report["not_calculated"], report["disagreements"]) == (1, True, True, [])

    file = with_cell(issued, tmp_path / "false.xlsx", "measured lines", "E9", formula._replace(value=9.0))
    status, report = told(file)
    (entry,) = report["disagreements"]  # type: ignore[misc]
    assert (entry["sheet"], entry["cell"], entry["expected"], entry["found"]) == (
        "measured lines",
        "E9",
        formula.value,
        9.0,
    )
    assert (status, report["intact"], report["edited_inputs"]) == (1, False, [])


def test_long_lists_are_shortened_and_lines_are_short(issued: Path, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(issued)
    for row in range(9, 40):
        book["readings"][f"J{row}"] = row
    book["results"].protection.sheet = False
    book.save(tmp_path / "broken.xlsx")
    done = run("check", "broken.xlsx", folder=tmp_path)
    assert done.status == 1
    assert done.out.startswith("broken.xlsx: NOT INTACT. 31 formulas broken, 1 change around the cells.")
    assert "formulas broken: 31\n" in done.out and "… and 19 more (readings 19); --all shows them" in done.out
    assert widest(done.out) <= 80
    whole = run("check", "broken.xlsx", "--all", folder=tmp_path)
    assert "readings!J39" in whole.out and "readings!J39" not in done.out
    assert widest(whole.out) <= 80


def test_descent(issued: Path, tmp_path: Path) -> None:
    mine = fingerprint(written(SMALL).records.texts)
    plan = plan_fingerprint(written(SMALL).book)
    assert openpyxl.load_workbook(issued)["record"]["B3"].value == plan
    for words in (("--against", mine), ("--against", plan[:12].upper()), ("--original", SMALL), ("--original", issued)):
        assert run("check", issued, *words, folder=tmp_path).status == 0, words
    other = written(EXAMPLES / "published" / "quam_a2.toml").save(tmp_path / "other.xlsx")
    for words in (("--against", "0" * 64), ("--original", HARBOUR), ("--original", other)):
        done = run("check", issued, *words, folder=tmp_path)
        assert done.status == 1
        assert "does NOT descend" in " ".join(done.out.split()) and mine in done.out
    done = run("check", issued, "--against", "0123", folder=tmp_path)
    assert done.status == 2 and "hexadecimal" in done.err


def test_files_that_are_not_ours_and_outputs_that_exist(issued: Path, tmp_path: Path) -> None:
    (tmp_path / "text.xlsx").write_text("no archive", encoding="utf-8")
    done = run("check", "text.xlsx", folder=tmp_path)
    assert (done.status, done.out, done.err.count("\n")) == (2, "", 1)
    (tmp_path / "report.json").write_text("mine", encoding="utf-8")
    assert run("check", issued, "--json", "report.json", folder=tmp_path).status == 2
    assert (tmp_path / "report.json").read_text(encoding="utf-8") == "mine"
    assert run("check", issued, "--json", "report.json", "--force", folder=tmp_path).status == 0
    assert json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))["intact"] is True


def test_the_front_door(issued: Path) -> None:
    report = ubudget.check_workbook(issued)
    assert report.intact and report.unchanged and report.edited_inputs == ()
    assert report.records_fingerprint == fingerprint(written(SMALL).records.texts)


def test_a_workbook_for_daily_use(tmp_path: Path) -> None:
    """Untouched it has nothing to tell; what is filled in is told, and waits to be calculated."""
    pattern = EXAMPLES / "patterns" / "oil-in-solvent"
    assert run("workbook", "--empty", pattern, "day.xlsx", "--samples", "3", folder=tmp_path).status == 1
    assert run("check", "day.xlsx", folder=tmp_path).status == 0
    book = openpyxl.load_workbook(tmp_path / "day.xlsx")
    book["samples"]["A9"] = "OIL-1"
    book.save(tmp_path / "filled.xlsx")
    report = ubudget.check_workbook(tmp_path / "filled.xlsx")
    (entry,) = report.edited_inputs
    assert (entry.sheet, entry.cell, entry.found, entry.field.kind) == ("samples", "A9", "OIL-1", "filled")
    assert report.intact
