"""Several runs of the program at the same moment: no row is lost, and each file is one of those written."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from tests.robustness.writers import CHARTS, EXAMPLES
from ubudget.errors import NotWritable, UbudgetError
from ubudget.evaluation.control_charts import Charted
from ubudget.files import one_at_a_time
from ubudget.files.amendment_append import append_amendment
from ubudget.files.atomic import replace_file
from ubudget.files.control_history import append_rows, read_history
from ubudget.files.one_at_a_time import replace_unchanged
from ubudget.records.control_charts import Entry


def at_once(works: Sequence[Callable[[], object]]) -> list[int]:
    """Each in a process of its own, begun together; 0 done, 2 refused in a line, else a fault."""
    ready, go = os.pipe()
    children = []
    for work in works:
        child = os.fork()
        if child == 0:
            status = 70
            try:
                os.close(go)
                os.read(ready, 1)
                work()
                status = 0
            except UbudgetError:
                status = 2
            finally:
                os._exit(status)
        children.append(child)
    os.close(ready)
    os.close(go)
    return [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]


def test_amendments_at_once(tmp_path: Path) -> None:
    """As many amendments stand in the run file as runs of the program said that theirs was appended."""
    folder = tmp_path / "run"
    shutil.copytree(EXAMPLES / "rinse_water", folder)
    before = tomllib.loads((folder / "run.toml").read_text(encoding="utf-8"))
    analyst = before["run"]["analyst"]
    done = at_once([lambda n=n: append_amendment(folder, _amendment(f"{analyst} {n}")) for n in range(6)])  # type: ignore[misc]
    after = tomllib.loads((folder / "run.toml").read_text(encoding="utf-8"))
    assert set(done) <= {0, 2} and done.count(0) >= 1
    assert len(after["amendment"]) - len(before.get("amendment", [])) == done.count(0)
    assert not list(folder.glob(".*"))


def _amendment(to: str) -> dict[str, object]:
    return {
        "act": "change",
        "record": "run",
        "field": "run.analyst",
        "to": to,
        "reason": "typing",
        "who": "A. Invented",
        "when": dt.date(2099, 1, 2),
    }


def test_rows_of_a_history_at_once(tmp_path: Path) -> None:
    folder = tmp_path / "charts"
    shutil.copytree(CHARTS, folder)
    history = read_history(folder / "charts.toml")
    last: Charted = history.charted()[0]
    day = last.entries[-1].date

    def append(number: int) -> None:
        now = read_history(folder / "charts.toml")
        append_rows(now, [Entry(len(now.entries), last.chart.id, day, (84.0,), f"R-{number}", "A. Invented")])

    done = at_once([lambda n=n: append(n) for n in range(6)])  # type: ignore[misc]
    after = read_history(folder / "charts.toml")
    assert set(done) <= {0, 2} and done.count(0) >= 1
    assert len(after.entries) == len(history.entries) + done.count(0)
    assert not after.findings


def test_one_file_written_by_many(tmp_path: Path) -> None:
    """The file is one of those written, whole."""
    path = tmp_path / "a.bin"
    contents = [bytes([65 + number]) * 300_000 for number in range(6)]
    assert at_once([lambda c=c: replace_file(path, c, force=True) for c in contents]) == [0] * 6  # type: ignore[misc]
    assert path.read_bytes() in contents and [each.name for each in tmp_path.iterdir()] == ["a.bin"]


def test_a_file_that_changed_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the lock of the system and without it."""
    path = tmp_path / "a.txt"
    for locks in (True, False):
        path.write_bytes(b"as it stands now")
        with monkeypatch.context() as patch:
            if not locks:
                patch.setattr(one_at_a_time, "fcntl", None)
            with pytest.raises(NotWritable, match="somebody else has just changed"):
                replace_unchanged(path, b"as it was read", b"new")
            assert path.read_bytes() == b"as it stands now"
            replace_unchanged(path, b"as it stands now", b"new")
            assert path.read_bytes() == b"new"


def test_a_folder_that_stays_taken_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(one_at_a_time, "LONGEST_WAIT", 0.05)
    path = tmp_path / "a.txt"
    path.write_bytes(b"old")
    with one_at_a_time._alone(path), pytest.raises(NotWritable, match="another program writes in this folder"):
        replace_unchanged(path, b"old", b"new")
    replace_unchanged(path, b"old", b"new")
