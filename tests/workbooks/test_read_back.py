"""A workbook holds its own records: reading it gives the same records and the same plan; edits come back as edits.

From a file that LibreOffice saved they do so in `test_edited_examples.py`.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pytest

from tests.typed_cells import type_into
from tests.workbooks.books import HARBOUR, PUBLISHED, evaluated, written
from tests.workbooks.test_alive import numeric_cells
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import OpenCell, open_cells


@pytest.mark.parametrize("path", [HARBOUR, *PUBLISHED], ids=lambda path: path.stem)
def test_reading_back_gives_the_same_records_and_plan(path: Path, tmp_path: Path) -> None:
    example = written(path)
    records, _ = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records
    assert plan_book(evaluated(records)) == example.book


KEY = ("SED-02", "Zn", "213.857", 2)


Field = tuple[str | int, ...]


def edited_book(tmp_path: Path, contents: dict[Field, object]) -> tuple[Path, dict[Field, OpenCell]]:
    """The demonstration's workbook with cells changed; keys are the record fields that they show."""
    example = written(HARBOUR)
    cells = {cell.origin.path: cell for cell in open_cells(example.book.sheets)}
    file = example.save(tmp_path / "edited.xlsx")
    if any(isinstance(content, dt.datetime) for content in contents.values()):
        # A date needs a format of numbers of its own.
        book = openpyxl.load_workbook(file)
        for path, content in contents.items():
            book[cells[path].sheet][cells[path].address] = content
        book.save(file)
        return file, cells
    return type_into(file, [(cells[path].sheet, cells[path].address, c) for path, c in contents.items()]), cells


@pytest.mark.parametrize("day", ["2026-03-18", dt.datetime(2026, 3, 18)], ids=["text", "date"])
def test_a_struck_reading_comes_back_with_reason_name_and_date(day: object, tmp_path: Path) -> None:
    beside = {"include": 0, "reason": "spray chamber dripped", "who": "analyst 2", "when": day}
    path, _ = edited_book(tmp_path, {(name, *KEY): content for name, content in beside.items()})
    records, findings = read_workbook(path)
    assert records is not None and records.run is not None
    assert [finding for finding in findings if finding.severity != "note"] == []
    struck = [mark for mark in records.run.file.exclusions if mark.solution == "SED-02"]
    found = [(m.replicate, m.reason, m.who, m.when) for m in struck]
    assert found == [(2, "spray chamber dripped", "analyst 2", dt.date(2026, 3, 18))]


def test_findings_on_edits_name_workbook_sheet_and_cell(tmp_path: Path) -> None:
    path, cells = edited_book(tmp_path, {("include", *KEY): 0, ("reason", *KEY): "dripped"})
    records, findings = read_workbook(path)
    (finding,) = (finding for finding in findings if finding.severity == "attend")
    assert records is not None and finding in records.findings
    assert finding.file == "edited.xlsx"
    assert f"sheet readings, cell {cells['include', *KEY].address}" in finding.place
    assert "name" in finding.found and "date" in finding.found and "reason" not in finding.found

    path, cells = edited_book(tmp_path, {("include", *KEY): 2})
    records, (finding, *_) = read_workbook(path)
    assert records is None and finding.severity == "stop" and finding.found == "2"
    assert (finding.file, finding.place.split(" (")[0]) == (
        "edited.xlsx",
        f"sheet readings, cell {cells['include', *KEY].address}",
    )


def test_a_figure_that_the_records_refuse_names_its_cell_among_sound_edits(tmp_path: Path) -> None:
    _, fields = edited_book(tmp_path, {})
    wrong, sound = (next(path for path in fields if path[-1] == name) for name in ("k", "gross"))
    path, cells = edited_book(tmp_path, {wrong: -2, sound: 41.65})
    records, findings = read_workbook(path)
    assert records is None
    assert {finding.file for finding in findings} == {"edited.xlsx"}
    assert findings[0].place.startswith(f"sheet {cells[wrong].sheet}, cell {cells[wrong].address}")
    assert f"sheet {cells[sound].sheet}" not in findings[0].place


@pytest.mark.parametrize(
    ("content", "found"), [("0,5", "the text '0,5'"), (None, "an empty cell"), ("abc", "the text 'abc'")]
)
def test_text_in_a_number_cell_is_one_clear_line(content: str | None, found: str, tmp_path: Path) -> None:
    example = written(HARBOUR)
    cell = numeric_cells(example)[0]
    type_into(example.save(tmp_path / "edited.xlsx"), [(cell.sheet, cell.address, content)])
    records, findings = read_workbook(tmp_path / "edited.xlsx")
    assert records is None
    assert [finding.found for finding in findings] == [found]
    assert cell.address in findings[0].place


def test_files_that_are_no_workbook_of_ours(tmp_path: Path) -> None:
    (tmp_path / "text.xlsx").write_text("no archive", encoding="utf-8")
    empty = openpyxl.Workbook()
    empty.save(tmp_path / "empty.xlsx")
    for name, found in (("text.xlsx", "no readable workbook"), ("empty.xlsx", "no sheet called record")):
        records, findings = read_workbook(tmp_path / name)
        assert records is None
        assert found in findings[0].found


def test_an_altered_record_and_another_layout_are_said(tmp_path: Path) -> None:
    example = written(HARBOUR)
    path = example.save(tmp_path / "book.xlsx")
    for address, value, found in (
        ("D20", "altered", "fingerprint"),
        ("C20", "twelve", "fingerprint"),
        ("B4", "99", "layout version 99"),
    ):
        type_into(path, [("record", address, value)], tmp_path / "altered.xlsx")
        records, findings = read_workbook(tmp_path / "altered.xlsx")
        assert records is None
        assert found in findings[0].found
