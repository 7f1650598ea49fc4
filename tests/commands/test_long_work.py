"""Long work: interrupted, it leaves nothing half-made; too large for one workbook, it is divided or refused."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.benchmarks.big_run import write_run
from tests.commands.running import ROOT, run
from tests.engines import compare, ironcalc_values, require_engine, stored_values
from ubudget import terminal
from ubudget.evaluation.coverage import STANDARD
from ubudget.files.verbs import evaluate, read_run
from ubudget.pages import size
from ubudget.terminal import Progress

HARBOUR = ROOT / "worked_examples" / "harbour_sediment"


@pytest.mark.skipif(sys.platform == "win32", reason="a console's Ctrl-C cannot be sent to one process alone there")
@pytest.mark.parametrize("there_before", [False, True])
@pytest.mark.usefixtures("ctrl_c_as_in_a_terminal")
def test_ctrl_c_while_a_workbook_is_written(tmp_path: Path, there_before: bool) -> None:
    """A real process gets SIGINT as soon as its temporary file is there."""
    write_run(tmp_path / "run", 60)
    book = tmp_path / "book.xlsx"
    if there_before:
        book.write_bytes(b"the workbook of yesterday")
    before = sorted(path.name for path in tmp_path.iterdir())
    with subprocess.Popen(
        [sys.executable, "-m", "ubudget", "workbook", "run", "book.xlsx", "--force"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        end = time.monotonic() + 100
        while not list(tmp_path.glob(".book.xlsx.*.part")) and process.poll() is None and time.monotonic() < end:
            time.sleep(0.005)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=100)
    assert process.returncode == 130
    assert (out, err) == ("", "interrupted\n")
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    if there_before:
        assert book.read_bytes() == b"the workbook of yesterday"


def test_one_workbook_for_each_analyte(tmp_path: Path) -> None:
    """Each has the results of its analyte as in the whole run, recalculates, and reads back."""
    done = run("workbook", HARBOUR, "out.xlsx", "--by", "analyte", folder=tmp_path)
    assert done.status == 0
    names = [f"out-{analyte}.xlsx" for analyte in ("Cu", "Zn", "Pb")]
    assert done.out.split() == [word for name in names for word in ("workbook", name)]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(names)
    whole = evaluate(read_run(HARBOUR))
    expected = {
        (key.sample, key.analyte, key.line): (
            float(whole.column(whole.assembly.value)[row]),
            float(whole.column(STANDARD)[row]),
        )
        for row, key in enumerate(whole.keys)
    }
    for name in names:
        part = evaluate(read_run(tmp_path / name))
        for row, key in enumerate(part.keys):
            value, u = expected.pop((key.sample, key.analyte, key.line))
            assert float(part.column(part.assembly.value)[row]) == pytest.approx(value, rel=1e-12)
            assert float(part.column(STANDARD)[row]) == pytest.approx(u, rel=1e-12)
    assert expected == {}
    require_engine("ironcalc")
    books = [tmp_path / name for name in names]
    for book, found in zip(books, ironcalc_values(books), strict=True):
        assert compare(stored_values(book), found) == []


def test_of_a_family_of_files_all_or_none_are_written(tmp_path: Path) -> None:
    (tmp_path / "out-Zn.xlsx").write_bytes(b"mine")
    done = run("workbook", HARBOUR, "out.xlsx", "--by", "analyte", folder=tmp_path)
    assert done.status == 2
    assert "out-Zn.xlsx: the file exists already" in done.err
    assert [path.name for path in tmp_path.iterdir()] == ["out-Zn.xlsx"]


def test_a_run_without_readings_is_not_divided(tmp_path: Path) -> None:
    method = ROOT / "worked_examples" / "published" / "quam_a1.toml"
    done = run("workbook", method, "out.xlsx", "--by", "analyte", folder=tmp_path)
    assert done.status == 2
    assert "no table of readings" in done.err
    assert run("workbook", method, "out.xlsx", "--by", "sample", folder=tmp_path).status == 2
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("limit", ["MOST_CELLS", "MOST_ROWS"])
def test_what_no_workbook_holds_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str) -> None:
    """The limits are lowered: a run that meets them takes minutes (`tests/benchmarks`)."""
    monkeypatch.setattr(size, limit, 100)
    done = run("workbook", HARBOUR, "out.xlsx", folder=tmp_path)
    assert done.status == 2
    assert done.err.startswith("stop: out.xlsx: workbook: found 52 results, which need about ")
    assert "--by analyte" in done.err
    assert list(tmp_path.iterdir()) == []


def test_progress_is_told_in_a_terminal_alone(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with Progress() as tell:
        tell("writing", 0.5)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(terminal.sys.stderr, "isatty", lambda: True)
    with pytest.raises(KeyboardInterrupt), Progress() as tell:
        tell("planning the workbook")
        tell("writing", 0.501)
        tell("writing", 0.502)
        raise KeyboardInterrupt
    assert capsys.readouterr().err.split("\r") == [
        "", "planning the workbook …", "writing … 50 %         ", " " * 14, ""
    ]  # fmt: skip
