"""Changes made in real files: single cells, rows, sheets, names; and files that LibreOffice calculated anew."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from tests.engines import libreoffice_saved, require_engine
from tests.mutation.mutations import SUBJECTS, as_saved, subject
from tests.mutation.real_files import missed_in_files, structural, with_cell
from tests.workbooks.books import HARBOUR, written
from tests.workbooks.test_alive import another
from ubudget.files.checking import check_workbook
from ubudget.files.verbs import evaluate, read_run, write_workbook
from ubudget.pages.cells_as_read import CellAsRead
from ubudget.pages.record_sheet import OpenCell, open_cells

SMALL = SUBJECTS[2]
FILES = 24
"""Single changes of cells; 200 of them by `python -m tests.mutation.all_cells`."""


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(SMALL).save(tmp_path_factory.mktemp("issued") / "book.xlsx")


def test_changed_cells_are_named(issued: Path, tmp_path: Path) -> None:
    assert missed_in_files(subject(SMALL), issued, tmp_path, FILES) == []


CASES = {case[0]: case[1:] for case in structural()}
MOVING = [name for name in CASES if name.startswith(("row ", "last row ", "column ", "sheet "))]
GROUPS = [[name] for name in MOVING if "hidden" not in name]
GROUPS.append([name for name in CASES if [name] not in GROUPS])


@pytest.mark.parametrize("names", GROUPS, ids=lambda names: " ".join(names)[:30])
def test_rows_sheets_names_and_rules(names: list[str], issued: Path, tmp_path: Path) -> None:
    """What moves rows or sheets is changed alone, all else in one file: each is told, and nothing else."""
    book = openpyxl.load_workbook(issued)
    for name in names:
        CASES[name][0](book)
    book.save(tmp_path / "changed.xlsx")
    subjected = as_saved(subject(SMALL), tmp_path / "changed.xlsx")
    report = subjected.check(subjected.found)
    assert not report.intact
    left = list(report.structure)
    for name in names:
        _, sheet, cell, words = CASES[name]
        told = [each for each in left if (each.sheet, each.cell) == (sheet, cell) and words in each.what]
        assert told, (name, [(each.sheet, each.cell, each.what) for each in report.structure])
        left.remove(told[0])
    # A sheet has several formats, which go together.
    assert [each.what for each in left if "conditional format" not in each.what] == []
    assert not report.broken_formulas and not report.altered_cells and not report.edited_inputs
    # The library that made the change keeps no stored values.
    assert report.not_calculated and report.disagreements == ()


def edited(path: Path, target: Path, *, every: int, choose: bool) -> list[OpenCell]:
    """Some numbers changed, each in another part of the workbook; the result on the budget sheet another one."""
    example = written(path)
    cells = [cell for cell in open_cells(example.book.sheets) if not isinstance(cell.value, str)][3::every]
    book = openpyxl.load_workbook(example.save(target))
    for cell in cells:
        book[cell.sheet][cell.address] = another(cell)
    if choose:
        book["budget"]["B4"] = example.evaluation.results[-1].sample
        last = example.evaluation.results[-1]
        book["budget"]["B5"] = f"{last.analyte} {last.line}"
    book.save(target)
    return cells


def test_libreoffice_agrees_and_nothing_else_is_told(tmp_path: Path) -> None:
    """Untouched files stay without finding when LibreOffice saves them; of edited ones the edits are told, and what
    LibreOffice calculated for them is what the library gives."""
    require_engine("libreoffice")
    untouched = written(HARBOUR).save(tmp_path / "untouched.xlsx")
    demo = edited(HARBOUR, tmp_path / "demo.xlsx", every=211, choose=True)
    rinse = edited(SUBJECTS[1], tmp_path / "rinse.xlsx", every=89, choose=False)
    files = [untouched, tmp_path / "demo.xlsx", tmp_path / "rinse.xlsx"]
    saved = libreoffice_saved(files, tmp_path / "saved")
    report = check_workbook(saved[0])
    assert report.unchanged, report
    for file, cells, more in ((saved[1], demo, 2), (saved[2], rinse, 0)):
        report = check_workbook(file)
        told = {(each.sheet, each.cell): each.found for each in report.edited_inputs}
        assert {key: told[key] for key in told if key[0] != "budget"} == {
            (cell.sheet, cell.address): another(cell) for cell in cells
        }
        assert len(told) == len(cells) + more
        assert report.intact and not report.not_calculated and report.not_compared == (), report
    # One number of a thousand falsified beside its formula is found among values that another program calculated.
    false = with_cell(saved[1], tmp_path / "false.xlsx", *_one_formula(demo))
    (disagreement,) = check_workbook(false).disagreements
    assert (disagreement.sheet, disagreement.cell) == ("computation", "L74")


def _one_formula(cells: list[OpenCell]) -> tuple[str, str, CellAsRead]:
    formula = subject(HARBOUR).found.by_name["computation"].cells["L74"].formula
    return "computation", "L74", CellAsRead(formula, 1234.5)


def test_a_workbook_written_from_an_edited_one(tmp_path: Path) -> None:
    """Its inputs are not those of the records that it holds: told from the records on, and all else as issued."""
    cells = edited(SMALL, tmp_path / "edited.xlsx", every=101, choose=False)
    write_workbook(evaluate(read_run(tmp_path / "edited.xlsx")), tmp_path / "again.xlsx")
    report = check_workbook(tmp_path / "again.xlsx")
    told = {(each.sheet, each.cell): (each.expected, each.found) for each in report.edited_inputs}
    assert {(cell.sheet, cell.address): (cell.value, another(cell)) for cell in cells}.items() <= told.items()
    assert report.intact and not report.not_calculated


def test_the_file_is_only_read(issued: Path) -> None:
    before = issued.read_bytes()
    check_workbook(issued)
    assert issued.read_bytes() == before
