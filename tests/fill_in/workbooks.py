"""Fill-in workbooks for the tests: those of the worked examples, and a small run edited as a person would."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from openpyxl import load_workbook

from tests.findings.small_run import write_run
from ubudget.files.fill_in_reading import read_fill_in
from ubudget.files.fill_in_writing import fill_in_bytes
from ubudget.files.reading import read_records
from ubudget.records.finding import Finding
from ubudget.records.records import Records

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "worked_examples"
FOLDERS = sorted(path.parent for path in EXAMPLES.rglob("run.toml"))
METHODS = sorted(
    path
    for path in EXAMPLES.rglob("*.toml")
    if not (path.parent / "run.toml").exists() and "\n[method]" in path.read_text(encoding="utf-8")
)
ALL = [*FOLDERS, *METHODS]
NAMES = [str(path.relative_to(EXAMPLES)) for path in ALL]


def records_of(path: Path) -> Records:
    records, findings = read_records(path)
    assert records is not None, [finding.line() for finding in findings]
    return records


@cache
def small() -> tuple[Records, bytes]:
    """The small run and its fill-in workbook."""
    with tempfile.TemporaryDirectory() as folder:
        records = records_of(write_run(Path(folder)))
    return records, fill_in_bytes(records)


class Desk:
    """A workbook on somebody's desk, opened by another program than ours."""

    def __init__(self, path: Path, content: bytes) -> None:
        self.path = path
        path.write_bytes(content)
        self.book: Any = load_workbook(path)

    def cell(self, table: str, heading: str, row: int) -> Any:
        """The cell of a heading in the row of a table, counted from 1 below its help; examples count."""
        sheet, head = self.head(table)
        (column,) = [cell.column for cell in sheet[head] if cell.value == heading]
        return sheet.cell(head + 2 + row, column)

    def head(self, table: str) -> tuple[Any, int]:
        """Sheet and row of the headings of a table."""
        for sheet in self.book.worksheets:
            names = ""
            for row in range(1, sheet.max_row + 1):
                mark = sheet.cell(row, 1).value
                if mark == "headings" and names == table:
                    return sheet, row
                names = mark or names
        raise AssertionError(f"no table {table}")

    def entry(self, table: str, name: str) -> Any:
        """The value of an entry of the record at the root."""
        sheet, head = self.head(table)
        (row,) = [row for row in range(head + 1, sheet.max_row + 1) if sheet.cell(row, 2).value == name][:1]
        return sheet.cell(row, 3)

    def read(self) -> tuple[Records | None, list[Finding]]:
        self.book.save(self.path)
        before = self.path.read_bytes()
        result = read_fill_in(self.path)
        assert self.path.read_bytes() == before, "reading altered the file"
        return result


Edit = Callable[[Desk], object]
