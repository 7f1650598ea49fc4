"""`demo` and `start`: what they lay down, and what they never overwrite."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import zipfile
from pathlib import Path

import pytest

from tests.commands.running import ROOT, run, run_apart, widest
from ubudget.files.shipped import shipped_folder

PATTERNS = [
    "oil-in-solvent",
    "single-budget",
    "solid-digested",
    "standard-solution",
    "titration",
    "vapour-generation",
    "water-direct",
]
EXAMPLE = shipped_folder("worked_examples") / "harbour_sediment"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that `demo` made."""
    folder = tmp_path_factory.mktemp("demo") / "there"
    done = run("demo", "--into", folder, folder=folder.parent)
    assert (done.status, done.err) == (0, "")
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


def test_demo_needs_no_argument_and_says_where(tmp_path: Path) -> None:
    done = run_apart("demo", folder=tmp_path)
    assert done.status == 0
    assert str(tmp_path / "ubudget-demo" / "budget.xlsx") in done.out
    assert "SED-01" in done.out
    assert widest(done.out.split("example ")[0]) <= 80


def test_the_folder_of_the_demo_stands_alone(made: Path) -> None:
    assert zipfile.is_zipfile(made / "budget.xlsx")
    assert contents(made).keys() == (contents(EXAMPLE).keys() - {"budget-sheet.png"}) | {"budget.xlsx"}
    done = run("evaluate", ".", "--json", "-", folder=made)
    assert done.status == 0
    assert {finding["severity"] for finding in json.loads(done.out)["findings"]} <= {"note"}


def test_demo_renews_a_folder_that_nobody_changed(made: Path) -> None:
    before = contents(made)
    assert run("demo", "--into", made, folder=made.parent).status == 0
    assert contents(made) == before


@pytest.mark.parametrize("name", ["readings.csv", "budget.xlsx", "notes.txt"])
def test_demo_refuses_a_folder_that_somebody_changed(made: Path, tmp_path: Path, name: str) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    for file, content in contents(made).items():
        (folder / file).write_bytes(content)
    (folder / name).write_bytes(b"my own work")
    before = contents(folder)
    done = run("demo", "--into", folder, folder=tmp_path)
    assert (done.status, done.out) == (2, "")
    assert name in done.err and len(done.err.splitlines()) == 1
    assert contents(folder) == before


def test_force_replaces_the_examples_files_and_leaves_others(made: Path, tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "readings.csv").write_text("mine", encoding="utf-8")
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    assert run("demo", "--into", folder, "--force", folder=tmp_path).status == 0
    assert contents(folder) == contents(made) | {"notes.txt": b"mine"}


def test_demo_into_a_file_is_refused_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    done = run("demo", "--into", "taken", folder=tmp_path)
    assert done.status == 2
    assert len(done.err.splitlines()) == 1 and "taken" in done.err


def test_start_lists_the_patterns(tmp_path: Path) -> None:
    done = run("start", "--list", folder=tmp_path)
    assert done.status == 0
    assert [line.split()[0] for line in done.out.splitlines()] == PATTERNS


@pytest.mark.parametrize("workbook", [False, True], ids=["text", "workbook"])
@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_pattern_evaluates_at_once(tmp_path: Path, pattern: str, workbook: bool) -> None:
    """All that is found is that the method is a draft: a person must approve it."""
    options = ["--workbook"] if workbook else []
    laid = run("start", "mine", "--pattern", pattern, *options, folder=tmp_path)
    assert laid.status == 0
    (shown,) = [line for line in laid.out.splitlines() if line.startswith("  ") and " evaluate " in line]
    done = run("evaluate", shown.split()[-1], "--json", "-", folder=tmp_path)
    assert done.status == 1, done.err
    told = json.loads(done.out)
    assert [finding["found"] for finding in told["findings"] if finding["severity"] != "note"] == ["the status draft"]
    assert all(result["value"] > 0 and not result["flags"] for result in told["results"])


def test_a_workbook_to_fill_in_is_never_overwritten_unasked(tmp_path: Path) -> None:
    (tmp_path / "titration.xlsx").write_bytes(b"my own work")
    done = run("start", ".", "--pattern", "titration", "--workbook", folder=tmp_path)
    assert done.status == 2 and "titration.xlsx" in done.err
    assert contents(tmp_path) == {"titration.xlsx": b"my own work"}
    assert run("start", ".", "--pattern", "titration", "--workbook", "--force", folder=tmp_path).status == 0
    assert run("start", ".", "--pattern", "liquid", "--workbook", folder=tmp_path).status == 2


@pytest.mark.parametrize("pattern", PATTERNS)
def test_every_text_of_a_pattern_says_that_its_figures_are_placeholders(pattern: str) -> None:
    for file in (shipped_folder("worked_examples") / "patterns" / pattern).glob("*.toml"):
        assert file.read_text(encoding="utf-8").startswith("# PLACEHOLDERS:"), file


def test_start_refuses_existing_files_and_writes_none(tmp_path: Path) -> None:
    (tmp_path / "run.toml").write_text("mine", encoding="utf-8")
    done = run("start", ".", "--pattern", "solid-digested", folder=tmp_path)
    assert done.status == 2
    assert "run.toml" in done.err
    assert contents(tmp_path) == {"run.toml": b"mine"}


def test_an_unknown_pattern_names_those_that_exist(tmp_path: Path) -> None:
    done = run("start", "mine", "--pattern", "liquid", folder=tmp_path)
    assert done.status == 2
    assert "single-budget" in done.err and "solid-digested" in done.err
    assert not (tmp_path / "mine").exists()


def test_start_without_pattern_is_a_usage_error(tmp_path: Path) -> None:
    assert run("start", "mine", folder=tmp_path).status == 2


def test_the_demo_brings_no_picture(tmp_path: Path) -> None:
    assert run("demo", "--into", "demo", folder=tmp_path).status == 0
    assert not list((tmp_path / "demo").glob("*.png"))


def test_the_commands_that_are_named_next_work_without_an_activated_environment(tmp_path: Path) -> None:
    done = run_apart("start", "mine", "--pattern", "single-budget", folder=tmp_path, PATH=os.defpath)
    named = done.out.splitlines()[-1].strip()
    again = subprocess.run(
        shlex.split(named),
        cwd=tmp_path,
        env={"PYTHONPATH": str(ROOT), "PATH": os.defpath},
        capture_output=True,
        timeout=120,
        check=False,
    )
    # The pattern's method is a draft, which is told.
    assert again.returncode == 1, again.stderr
    assert again.stdout.startswith(b"sample")
