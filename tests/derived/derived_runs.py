"""Runs with derived results, made from the example by a change of its texts."""

from __future__ import annotations

import shutil
from pathlib import Path

from tests.derived.rinse_water import EXAMPLE
from ubudget.files.reading import read_records
from ubudget.records.finding import Finding


def changed_run(folder: Path, *changes: tuple[str, str, str]) -> Path:
    """The example in `folder`, with text replaced: file, old, new."""
    place = folder / "run"
    shutil.copytree(EXAMPLE, place)
    for name, old, new in changes:
        text = (place / name).read_text(encoding="utf-8")
        assert old in text, f"{old!r} is not in {name}"
        (place / name).write_text(text.replace(old, new, 1), encoding="utf-8", newline="\n")
    return place


def findings_of(place: Path) -> list[Finding]:
    """What reading and evaluating tells."""
    from ubudget.evaluation.evaluate import evaluate

    records, findings = read_records(place)
    return findings if records is None else evaluate(records)[1]
