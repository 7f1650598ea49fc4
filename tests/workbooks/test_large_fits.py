"""More than a hundred readings of standards: LibreOffice calculates such columns in threads, and finds no circle.

Measured with LibreOffice 7.4 without the brackets that keep neighbours apart: #VALUE! at the residuals of the
first curve, and at all that rests on them."""

from __future__ import annotations

from pathlib import Path

from tests.benchmarks.big_run import LEVELS, REPLICATES, write_run
from tests.engines import compare, libreoffice_values, require_engine, stored_values
from ubudget.files.verbs import evaluate, read_run, write_workbook

LINES = 6


def test_many_readings_of_standards_recalculate(tmp_path: Path) -> None:
    assert LINES * len(LEVELS) * REPLICATES > 100
    write_workbook(evaluate(read_run(write_run(tmp_path / "run", 2, LINES))), tmp_path / "book.xlsx")
    require_engine("libreoffice")
    (found,) = libreoffice_values([tmp_path / "book.xlsx"])
    assert compare(stored_values(tmp_path / "book.xlsx"), found) == []
