"""`ubudget workbook --empty` as a person gives it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.commands.running import run, run_apart
from tests.live_empty.filling import EXAMPLES, example, planned, typed
from tests.typed_cells import type_into
from ubudget.files.verbs import read_run

EMPTY = ("workbook", "--empty")


def test_write_fill_evaluate(tmp_path: Path) -> None:
    """The whole way by the real entry point: write it, type into it, and give it as RUN."""
    source = EXAMPLES / "patterns" / "oil-in-solvent"
    done = run_apart(
        *EMPTY, source, "day.xlsx", "--samples", "5", "--levels", "6", "--replicates", "4", folder=tmp_path
    )
    # The pattern is a draft, which a person must decide on.
    assert (done.status, done.faults.count("draft")) == (1, 1)
    assert "samples = 5; levels = 6; replicates = 4; blanks = 3" in done.out
    records = example("patterns/oil-in-solvent")
    type_into(tmp_path / "day.xlsx", typed(planned(read_run(source), 5, 6, 4, 3), records))
    from_book = run_apart("evaluate", "day.xlsx", "--csv", "-", folder=tmp_path)
    assert from_book.status == 1
    from_files = run("evaluate", source, "--csv", "-", folder=tmp_path)
    oil = [line for line in from_files.out.splitlines() if line.startswith("OIL-1")]
    assert oil and all(line in from_book.out.splitlines() for line in oil)


def test_same_bytes_and_no_silent_replacement(tmp_path: Path) -> None:
    source = EXAMPLES / "patterns" / "water-direct"
    for name in ("a.xlsx", "b.xlsx"):
        assert run(*EMPTY, source, name, folder=tmp_path).status == 1
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    again = run(*EMPTY, source, "a.xlsx", folder=tmp_path)
    assert again.status == 2
    assert "exists already" in again.err


def test_method_file_with_its_run_beside_it(tmp_path: Path) -> None:
    """A method file stands for the run in its folder that names it."""
    shutil.copytree(EXAMPLES / "patterns" / "water-direct", tmp_path / "water")
    assert run(*EMPTY, "water", "a.xlsx", folder=tmp_path).status == 1
    assert run(*EMPTY, Path("water") / "method.toml", "b.xlsx", folder=tmp_path).status == 1
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("harbour_sediment", "--samples", "0"), "--samples 0"),
        (("harbour_sediment", "--replicates", "21"), "--replicates 21"),
        (("harbour_sediment", "--levels", "4"), "give --levels 6 or more"),
        (("harbour_sediment", "--blanks", "0"), "give --blanks 1 or more"),
        (("harbour_sediment", "--samples", "1"), "pieces of ware"),
        (("patterns/titration",), "a method file alone"),
        (("zinc_standard/mass_concentration.toml",), "a method file alone"),
        (("river_manganese", "--levels", "8"), "prepared standards"),
    ],
)
def test_what_is_not_possible_is_told(words: tuple[str, ...], told: str, tmp_path: Path) -> None:
    source, *options = words
    done = run(*EMPTY, EXAMPLES / source, "out.xlsx", *options, folder=tmp_path)
    assert done.status == 2
    assert told in done.err
    assert "Traceback" not in done.err
    assert not (tmp_path / "out.xlsx").exists()


def test_numbers_of_rows_belong_to_empty(tmp_path: Path) -> None:
    done = run("workbook", EXAMPLES / "harbour_sediment", "out.xlsx", "--samples", "3", folder=tmp_path)
    assert done.status == 2
    assert "belong to --empty" in done.err
