"""Every 20th cell of three workbooks changed, in memory; all of them by `python -m tests.mutation.all_cells`."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import cycle
from pathlib import Path

import pytest

from tests.mutation.mutations import MUTATIONS, SUBJECTS, inputs, missed_formula, missed_input, subject
from ubudget.pages.cells_as_read import BookAsRead, CellAsRead, SheetAsRead
from ubudget.pages.formula_tokens import moved, same_formula

STEP = 20
subjects = pytest.mark.parametrize("path", SUBJECTS, ids=lambda path: path.stem)


@subjects
def test_nothing_is_found_on_the_untouched_workbook(path: Path) -> None:
    book = subject(path)
    assert book.check(book.found).unchanged


@subjects
def test_an_overwritten_formula_is_named_and_nothing_else(path: Path) -> None:
    book = subject(path)
    chosen = list(book.formulas())[::STEP]
    missed = [
        missed_formula(book, *cell, mutate) for cell, mutate in zip(chosen, cycle(MUTATIONS.values()), strict=False)
    ]
    assert len(chosen) > 100
    assert [each for each in missed if each] == []


@subjects
def test_an_edited_input_is_named_and_nothing_else(path: Path) -> None:
    book = subject(path)
    missed = [missed_input(book, *cell) for cell in list(inputs(book))[::STEP]]
    assert [each for each in missed if each] == []


@subjects
def test_an_altered_text_number_or_stored_value_is_named(path: Path) -> None:
    """Locked cells without formula, and stored values beside untouched formulas, each changed by itself."""
    book = subject(path)
    for sheet in book.found.sheets:
        if sheet.name == "record":
            continue
        for address, cell in list(sheet.cells.items())[:: STEP * 10]:
            if cell.formula is None and not cell.locked:
                continue
            value = cell.value * 1.001 + 1e-6 if isinstance(cell.value, float) else f"{cell.value}!"
            report = book.report(sheet.name, address, cell._replace(value=value))
            told = report.altered_cells if cell.formula is None else report.disagreements
            assert [(each.sheet, each.cell, each.found) for each in told] == [(sheet.name, address, value)]
            assert not report.broken_formulas and not report.structure and not report.intact


def row_deleted(book: BookAsRead, sheet: str, row: int) -> BookAsRead:
    """As a spreadsheet program deletes a row: references follow, and those to the row itself are lost."""

    def follow(formula: str, home: str) -> str:
        def shifted(match: re.Match[str]) -> str:
            if (match["sheet"] or home).strip("'!") != sheet:
                return match[0]
            rows = [int(match["row"]), int(match["last"] or match["row"])]
            if match["last"] is None:
                line = rows[0] - (rows[0] > row)
                return "#REF!" if rows[0] == row else f"{match['sheet'] or ''}{match['column']}{line}"
            if rows == [row, row]:
                return "#REF!"
            first, last = rows[0] - (rows[0] > row), rows[1] - (rows[1] >= row)
            return f"{match['sheet'] or ''}{match['column']}{first}:{match['other']}{last}"

        return re.sub(
            r"(?P<sheet>(?:'[^']+'|[a-z]+)!)?(?P<column>\$?[A-Z]{1,2}\$?)(?P<row>[0-9]+)"
            r"(?::(?P<other>\$?[A-Z]{1,2}\$?)(?P<last>[0-9]+))?(?![0-9(])",
            shifted,
            formula,
        )

    def changed(home: SheetAsRead) -> SheetAsRead:
        cells = {}
        for address, cell in home.cells.items():
            letters, number = re.fullmatch(r"([A-Z]+)([0-9]+)", address).groups()  # type: ignore[union-attr]
            at = int(number)
            if home.name == sheet and at == row:
                continue
            formula = None if cell.formula is None else follow(cell.formula, home.name)
            place = f"{letters}{at - 1}" if home.name == sheet and at > row else address
            cells[place] = cell._replace(formula=formula)
        return replace(home, cells=cells)

    return replace(book, sheets=tuple(changed(home) for home in book.sheets))


@pytest.mark.parametrize(
    ("sheet", "row"), [("readings", 20), ("samples", 12), ("computation", 80), ("readings", 227), ("equipment", 9)]
)
def test_a_deleted_row_is_named_once(sheet: str, row: int) -> None:
    """Rules and printed areas stay here as they were, which are told of their own."""
    book = subject(SUBJECTS[0])
    report = book.check(row_deleted(book.found, sheet, row))
    rows = [each for each in report.structure if each.what.startswith("row ")]
    assert [(each.sheet, each.cell) for each in rows] == [(sheet, f"A{row}")]
    assert not report.broken_formulas and not report.altered_cells and not report.edited_inputs


def test_two_changes_are_told_beside_a_deleted_row() -> None:
    """A formula that was overwritten, and an input that was edited, below a row that is gone."""
    book = subject(SUBJECTS[0])
    found = row_deleted(book.found, "readings", 20)
    sheet = found.by_name["readings"]
    assert sheet.cells["J100"].formula is not None and not sheet.cells["E100"].locked
    cells = {**sheet.cells, "J100": CellAsRead(None, 1.0), "E100": CellAsRead(None, 1.0, locked=False)}
    changed = tuple(replace(each, cells=cells) if each is sheet else each for each in found.sheets)
    report = book.check(replace(found, sheets=changed))
    assert [(each.sheet, each.cell) for each in report.broken_formulas] == [("readings", "J100")]
    assert [(each.sheet, each.cell) for each in report.edited_inputs] == [("readings", "E100")]
    assert [each.cell for each in report.structure if each.what.startswith("row ")] == ["A20"]


def test_spellings_of_one_formula() -> None:
    """How programs spell the formulas that they save: as seen in files of LibreOffice 7.4 and of ironcalc 0.9, and by
    ECMA-376 part 1, 18.17."""
    same = [
        ("1E-05*A1", "0.00001*A1"),
        ("FIXED(A1,2,TRUE)", "FIXED(A1,2,TRUE())"),
        ("SUM(A1:A3)", " SUM( A1:A3 ) "),
        ("sheet1!A1", "'sheet1'!A1"),
        ("'my sheet'!A1:B2", "'my sheet'!A1:'my sheet'!B2"),
        ("STDEV.S(A1:A3)", "_xlfn.STDEV.S(A1:A3)"),
        ("own!A1+1", "A1+1"),
        ("sum(a1:a3)", "SUM(A1:A3)"),
    ]
    for one, other in same:
        assert same_formula(one, other, "own"), (one, other)
    other_formulas = [
        ("A1", "A2"),
        ("A1", "$A$1"),
        ("(A1+A2)*2", "A1+A2*2"),
        ('"a b"', '"ab"'),
        ('IF(A1="x",1,0)', 'IF(A1="X",1,0)'),
        ("1.0000001*A1", "1*A1"),
        ("A1", "other!A1"),
        ("A1:A3", "A1:A4"),
        ("A1", "[1]own!A1"),
        ("A1-A2", "A1+A2"),
    ]
    for one, other in other_formulas:
        assert not same_formula(one, other, "own"), (one, other)


def test_a_shared_formula_moves_along() -> None:
    """ECMA-376 part 1, 18.3.1.40: relative references of a shared formula move with its cell."""
    assert moved('A1+$A1+A$1+$A$1+SUM(B2:C3)&"A1"', 2, 1) == 'B3+$A3+B$1+$A$1+SUM(C4:D5)&"A1"'
    assert moved("LOG10(A1)+data!A1", 1, 0) == "LOG10(A2)+data!A2"
    assert moved("A1", -1, 0) == "#REF!"
