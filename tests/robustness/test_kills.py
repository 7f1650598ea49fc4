"""A writer that is killed leaves the old or the new file; `python -m tests.robustness.kills` kills many more."""

from __future__ import annotations

from pathlib import Path

from tests.robustness.kills import Known, kill
from tests.robustness.writers import WRITERS
from ubudget.files.atomic import is_part


def test_killed_writers_leave_the_old_or_the_new_file(tmp_path: Path) -> None:
    cheap = [writer for writer in WRITERS if writer.name in ("amend", "statement", "start", "explain")]
    found = kill(40, 1, tmp_path, cheap)
    assert found.faults == []
    assert found.counts["old"] and found.counts["new"] and found.counts.total() == 40


def test_a_half_file_would_be_told() -> None:
    one = Known(WRITERS[0], {"a": b"old"}, {"a": b"new", "b": b"more"}, 1.0, 1)
    assert one.verdict({"a": b"ne", ".b.12345678.part": b"mo"}) == "a is neither the old nor the new file"
    assert one.verdict({"b": b"more"}) == "a is gone"
    assert one.verdict({"a": b"old", "b": b"more"}) == "between"
    assert one.verdict({"a": b"new", "b": b"more"}) == "new"
    assert is_part(Path(".b.12345678.part")) and not is_part(Path("b.part"))
