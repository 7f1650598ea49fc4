"""The workbooks that are shipped ready to open are exactly what the command makes of their patterns."""

from __future__ import annotations

from pathlib import Path

from tests.workbooks.books import EXAMPLES, written
from ubudget.files.verbs import read_run
from ubudget.files.workbook_writer import book_bytes

SHIPPED = Path(__file__).parents[2] / "workbook_templates"


def test_each_is_what_its_pattern_gives() -> None:
    files = sorted(SHIPPED.glob("*.xlsx"))
    assert files
    for file in files:
        (method,) = (EXAMPLES / "patterns" / file.stem).glob("*.toml")
        assert file.read_bytes() == book_bytes(written(method).book), f"make {file.name} anew with ubudget workbook"
        assert read_run(file) == written(method).records
