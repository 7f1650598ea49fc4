"""`convert`, and fill-in workbooks in place of a run folder in the other commands."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from tests.commands.running import run
from tests.findings.small_run import write_run

FLAGGED = 1
"""The small run reports a result with a flag."""


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """A folder with the small run in `run`."""
    (tmp_path / "run").mkdir()
    write_run(tmp_path / "run")
    assert run("convert", "run", "run.xlsx", folder=tmp_path).status == 0
    return tmp_path


def _results(name: str, folder: Path) -> Any:
    """What `evaluate` gives; the records' own files and fingerprint differ, and are not looked at."""
    done = run("evaluate", name, "--json", "-", folder=folder)
    assert done.status == FLAGGED, done.err
    return json.loads(done.out)["results"]


def _file(match: re.Match[str]) -> str:
    return f"{match[1]}.{'csv' if match[1] in ('samples', 'solutions', 'readings') else 'toml'}:"


def _words(text: str) -> str:
    return " ".join(text.split())


def test_a_workbook_stands_for_the_run_in_every_command(desk: Path) -> None:
    for words in (("statement",), ("explain", "--result", "SED-02/Zn")):
        command, *options = words
        from_text = run(command, "run", *options, folder=desk)
        from_workbook = run(command, "run.xlsx", *options, folder=desk)
        assert from_text.status == from_workbook.status < 2
        # The derivation says where a figure stands, each in its own file.
        assert re.sub(r"run\.xlsx, (\w+):", _file, _words(from_workbook.out)) == _words(from_text.out)
    assert run("workbook", "run.xlsx", "budget.xlsx", folder=desk).status == FLAGGED
    assert _results("run", desk) == _results("run.xlsx", desk) == _results("budget.xlsx", desk)


def test_there_and_back(desk: Path) -> None:
    done = run("convert", "run.xlsx", "back", folder=desk)
    assert done.status == 0
    assert sorted(path.name for path in (desk / "back").iterdir()) == [
        "method.toml",
        "readings.csv",
        "register.toml",
        "run.toml",
        "samples.csv",
        "solutions.csv",
    ]
    assert run("convert", "back", "second.xlsx", folder=desk).status == 0
    assert (desk / "second.xlsx").read_bytes() == (desk / "run.xlsx").read_bytes()


def test_text_files_keep_their_comments(desk: Path) -> None:
    method = desk / "run" / "method.toml"
    method.write_text("# as agreed\n" + method.read_text(encoding="utf-8"), encoding="utf-8")
    assert run("convert", "run", "copy", folder=desk).status == 0
    assert (desk / "copy" / "method.toml").read_text(encoding="utf-8").startswith("# as agreed\n")


def test_a_register_elsewhere_comes_into_the_folder(desk: Path) -> None:
    (desk / "common").mkdir()
    (desk / "run" / "register.toml").rename(desk / "common" / "lab.toml")
    sheet = desk / "run" / "run.toml"
    sheet.write_text(sheet.read_text(encoding="utf-8").replace('"register.toml"', '"../common/lab.toml"'), "utf-8")
    assert run("convert", "run", "copy", folder=desk).status == 0
    assert (desk / "copy" / "register.toml").is_file()
    assert run("evaluate", "copy", folder=desk).status == FLAGGED
    assert run("convert", "run", "lab.xlsx", folder=desk).status == 0
    assert run("evaluate", "lab.xlsx", folder=desk).status == FLAGGED


def test_nothing_is_overwritten_unasked(desk: Path) -> None:
    before = (desk / "run.xlsx").read_bytes()
    assert run("convert", "run", "run.xlsx", folder=desk).status == 2
    assert run("convert", "run.xlsx", "run", folder=desk).status == 2
    assert (desk / "run.xlsx").read_bytes() == before
    assert run("convert", "run", "run.xlsx", "--force", folder=desk).status == 0


def test_an_unusable_workbook_is_told_and_nothing_written(desk: Path) -> None:
    from openpyxl import load_workbook

    book = load_workbook(desk / "run.xlsx")
    book["equipment"]["C6"] = "scale"
    book.save(desk / "run.xlsx")
    for command in (("evaluate", "run.xlsx"), ("convert", "run.xlsx", "out"), ("workbook", "run.xlsx", "b.xlsx")):
        done = run(*command, folder=desk)
        assert (done.status, done.out) == (2, "")
        assert "sheet equipment, row 6 (BAL-1), column kind" in " ".join(done.err.split())
    assert not (desk / "out").exists() and not (desk / "b.xlsx").exists()


def test_edits_of_a_budget_workbook_go_into_the_records(desk: Path) -> None:
    from openpyxl import load_workbook

    assert run("workbook", "run", "budget.xlsx", folder=desk).status == FLAGGED
    book = load_workbook(desk / "budget.xlsx")
    (gross,) = [
        cell
        for row in book["samples"].iter_rows()
        for cell in row
        if cell.value == 0.0125034 and not cell.protection.locked
    ]
    gross.value = 0.0126034
    book.save(desk / "budget.xlsx")
    assert run("convert", "budget.xlsx", "edited", folder=desk).status == 0
    assert "12.6034" in (desk / "edited" / "samples.csv").read_text(encoding="utf-8")
    assert _results("budget.xlsx", desk) == _results("edited", desk)
