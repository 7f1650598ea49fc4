"""Every formula of every example recalculates, in two independent engines, to the value stored beside it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.engines import (
    assert_safe_formulas,
    compare,
    ironcalc_values,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.workbooks.books import HARBOUR, PUBLISHED, written
from ubudget.files.workbook_writer import book_bytes

ALL = [HARBOUR, *PUBLISHED]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("books")
    return [written(path).save(folder / f"{path.stem}.xlsx") for path in ALL]


def test_the_demo_has_thousands_of_formulas_and_only_safe_functions(files: list[Path]) -> None:
    assert sum(len(cells) for cells in stored_values(files[0]).values()) > 10_000
    for path in files:
        assert_safe_formulas(path)


def test_no_stored_value_is_an_error(files: list[Path]) -> None:
    for path in files:
        for sheet, cells in stored_values(path).items():
            assert not [a for a, value in cells.items() if isinstance(value, str) and value.startswith("#")], sheet


def test_ironcalc_agrees_with_the_library(files: list[Path]) -> None:
    require_engine("ironcalc")
    for path, found in zip(files, ironcalc_values(files, timeout=120), strict=True):
        assert compare(stored_values(path), found) == []


def test_libreoffice_agrees_with_the_library(files: list[Path]) -> None:
    require_engine("libreoffice")
    for path, found in zip(files, libreoffice_values(files), strict=True):
        assert compare(stored_values(path), found) == []


def test_a_decimal_comma_changes_no_number(files: list[Path]) -> None:
    require_engine("libreoffice")
    stored = stored_values(files[0])
    (found,) = libreoffice_values(files[:1], locale="de-DE")
    numbers = {
        sheet: {address: value for address, value in cells.items() if isinstance(value, (int, float))}
        for sheet, cells in stored.items()
    }
    assert compare(numbers, {sheet: {a: found[sheet][a] for a in cells} for sheet, cells in numbers.items()}) == []
    assert found["results"]["D12"] == str(stored["results"]["D12"]).replace(".", ",")


def test_the_same_records_give_the_same_bytes() -> None:
    book = written(HARBOUR).book
    assert book_bytes(book) == book_bytes(book)


TYPED_BY_PROGRAM = {
    # Numbers that are not calculated from the records' figures: structure, and counts of the day the book was made.
    ("status", "findings that need a decision, when this workbook was made"),
    ("status", "notes, when this workbook was made"),
    ("record", "line"),
    ("record", "edits"),
}


def test_every_calculated_number_is_a_formula() -> None:
    """A number without formula is an open cell, a figure of the records (`fixed`), or in the list above."""
    for sheet in written(HARBOUR).book.sheets:
        for band in sheet.bands:
            for column in band.columns:
                for row, value in enumerate(column.values):
                    formula = column.formulas[row] if column.formulas else None
                    if isinstance(value, float) and formula is None:
                        assert column.style in ("input", "fixed"), (sheet.name, band.name, column.heading, row)
                    if isinstance(value, float) and formula is not None and column.style == "fixed":
                        raise AssertionError((sheet.name, column.heading))
        named = {(cell.row, cell.column): cell.value for cell in sheet.cells}
        for cell in sheet.cells:
            if isinstance(cell.value, (int, float)) and cell.formula is None:
                assert (sheet.name, named.get((cell.row, cell.column - 1))) in TYPED_BY_PROGRAM
