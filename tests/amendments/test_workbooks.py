"""Workbooks of an amended run: they show the amended figures, list the trail, and read back to equal records."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from tests.amendments.amended_runs import Table, amendment, bits, evaluated, usable, with_amendments
from tests.amendments.test_trail import CURVE, LEFT_OUT, LINE, WEIGHT, undo
from tests.findings.small_run import write_run
from tests.typed_cells import type_into
from tests.workbooks.books import HARBOUR, Written, written
from tests.workbooks.live_checks import assert_engines_agree
from ubudget import read_run, write_workbook
from ubudget.errors import UbudgetError
from ubudget.files.converting import write_fill_in, write_folder
from ubudget.files.fill_in_writing import same_records
from ubudget.files.toml_writing import toml_text
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.layout import CHANGES, READINGS
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import open_cells

TRAIL: list[Table] = [
    WEIGHT,
    LEFT_OUT | {"replicate": 2, "rule": "Dixon", "level": 0.05, "statistic": 1.0, "critical": 0.97, "cause": "rinse"},
    CURVE,
    undo(3),
    amendment("exclude solution", solution="S1"),
    amendment("restore", solution="SED-02", **LINE, replicate=3),
    amendment("relabel", was="SED-02", to="HB-02"),
    amendment("change", record="run", field="standard.S3.concentration.Zn", was="2 mg/L", to="2.01 mg/L"),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    text = next(text.text for text in with_amendments(TRAIL) if text.role == "run")
    return write_run(tmp_path_factory.mktemp("amended"), run=text)


@pytest.fixture(scope="module")
def example(folder: Path) -> Written:
    return written(folder)


def test_reading_back_gives_equal_records(example: Written, tmp_path: Path) -> None:
    records, _ = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records
    assert plan_book(evaluated(records)) == example.book


def test_the_workbook_is_live_in_both_engines(tmp_path: Path) -> None:
    """The demonstration, amended: a weight, a standard left out whole, a reading left out and one restored, a curve."""
    shutil.copytree(HARBOUR, tmp_path / "run")
    trail = [
        amendment("change", record="samples", entry="SED-01", field="gross", was="40.7109 g", to="40.7119 g"),
        amendment("exclude solution", solution="S3"),
        amendment("exclude", solution="SED-06", analyte="Pb", replicate=2, rule="assigned cause"),
        amendment("restore", solution="SED-05", analyte="Pb", replicate=2),
        amendment("change", record="method", field="symbols.c.curve", was="line", to="quadratic"),
    ]
    file = tmp_path / "run" / "run.toml"
    file.write_text(file.read_text("utf-8") + toml_text({"amendment": trail}), encoding="utf-8")
    example = written(tmp_path / "run")
    assert [done.what for done in example.records.amendments][1] == "solution S3, all readings"
    assert_engines_agree(example, tmp_path)


def test_include_marks_and_the_list_of_amendments_agree(example: Written) -> None:
    marks = {
        (cell.origin.path[1], cell.origin.path[4])
        for cell in open_cells(example.book.sheets)
        if cell.origin.document == "run" and cell.origin.path[0] == "include" and cell.value == 0
    }
    assert marks == {("SED-01 d", 2), ("S1", 1), ("S1", 2), ("S1", 3)}
    (changes,) = [sheet for sheet in example.book.sheets if sheet.name == CHANGES]
    band = next(band for band in changes.bands if band.name == "amendments")
    rows = list(zip(*(column.values for column in band.columns), strict=True))
    assert [row[0] for row in rows] == [
        "amendment 1: sample SED-01, gross",
        "amendment 2: reading 2 of SED-01 d, Zn 213.9",
        "amendment 3: method, symbols.c.curve (undone later)",
        "amendment 4: amendment 3, method, symbols.c.curve",
        "amendment 5: solution S1, all readings",
        "amendment 6: reading 3 of SED-02, Zn 213.9",
        "amendment 7: label SED-02",
        "amendment 8: run, standard.S3.concentration.Zn",
    ]
    assert rows[0][1:] == ("found on review", "reviewer 1", "12.5034 g", "12.5134 g", "2026-03-12")
    assert rows[1][1] == "found on review; by Dixon 1, critical 0.97 at level 0.05; cause: rinse"


def test_cells_show_the_amended_figure(example: Written) -> None:
    weights = [cell.value for cell in open_cells(example.book.sheets) if cell.origin.path == (0, "gross")]
    assert weights == [0.0125134]  # the method weighs in kg


def test_an_edit_of_an_amended_cell_is_an_edit_upon_it(example: Written, tmp_path: Path) -> None:
    cells = {cell.origin.path: cell for cell in open_cells(example.book.sheets)}
    contents = {(0, "gross"): 0.0125234, ("include", "SED-01 d", "Zn", "213.9", 2): 1}
    edits = [(cells[path].sheet, cells[path].address, content) for path, content in contents.items()]
    type_into(example.save(tmp_path / "book.xlsx"), edits, tmp_path / "edited.xlsx")
    records = read_run(tmp_path / "edited.xlsx")
    further = amendment("change", record="samples", entry="SED-01", field="gross", was="12.5134 g", to="12.5234 g")
    back = amendment("restore", solution="SED-01 d", **LINE, replicate=2)
    assert bits(records) == bits(usable([*TRAIL, further, back]))
    assert bits(read_run(tmp_path / "edited.xlsx", as_measured=True)) == bits(
        read_run(tmp_path / "book.xlsx", as_measured=True)
    )
    # Texts cannot hold an edit upon an amendment without a trail: that is said, not done quietly.
    with pytest.raises(UbudgetError, match=r"from = |amendment"):
        write_folder(records, tmp_path / "texts")


def test_a_mark_taken_back_upon_an_amendment_is_not_lost_in_converting(example: Written, tmp_path: Path) -> None:
    cell = next(
        c for c in open_cells(example.book.sheets) if c.origin.path == ("include", "SED-01 d", "Zn", "213.9", 2)
    )
    type_into(example.save(tmp_path / "edited.xlsx"), [(cell.sheet, cell.address, 1)])
    with pytest.raises(UbudgetError, match="amendment"):
        write_folder(read_run(tmp_path / "edited.xlsx"), tmp_path / "texts")


def test_both_forms_hold_the_trail(example: Written, tmp_path: Path) -> None:
    write_fill_in(example.records, tmp_path / "records.xlsx")
    filled = read_run(tmp_path / "records.xlsx")
    assert same_records(filled, example.records)
    write_folder(filled, tmp_path / "texts")
    assert bits(read_run(tmp_path / "texts")) == bits(example.records)


def test_a_run_as_measured_has_no_workbook(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(UbudgetError, match="as measured"):
        write_workbook(evaluated(read_run(folder, as_measured=True)), tmp_path / "book.xlsx")
    assert not (tmp_path / "book.xlsx").exists()


def test_the_sheet_of_readings_keeps_what_was_left_out(example: Written) -> None:
    (readings,) = [sheet for sheet in example.book.sheets if sheet.name == READINGS]
    shown = {value for band in readings.bands for column in band.columns for value in column.values}
    assert 0.041 in shown


def test_nothing_of_a_run_without_amendments_changes() -> None:
    records = usable([])
    assert records.amendments == ()
    assert records == replace(records, amendments=(), as_measured=False)
