"""Weighings in the workbook: recalculated by two engines, alive as the library says, and read back."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.engines import (
    assert_safe_formulas,
    compare,
    ironcalc_values,
    ironcalc_variants,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.weighing.weighing_runs import (
    AIR,
    BALANCES,
    CERTIFIED_WEIGHT,
    CG18,
    DIFFERENCE,
    DIRECT,
    TARED,
    TWO_PORTIONS,
    TWO_PORTIONS_READ,
    USP,
    WEIGHT,
    three_balances,
    weighing_run,
    written,
)
from tests.workbooks.books import Written, edited
from tests.workbooks.live_checks import assert_open_numbers_move
from tests.workbooks.test_alive import as_edit, numeric_cells
from ubudget.evaluation.evaluate import MINIMUM_WORDS
from ubudget.files.workbook_reading import read_workbook

RUNS = {
    "by load": {"balance": BALANCES["by load"], "more": AIR["CIPM-2007"] + USP},
    "by load, tared": {"balance": BALANCES["by load"], "form": TARED, "more": AIR["simplified"] + USP},
    "checked, direct": {
        "balance": BALANCES["check weighings"],
        "form": DIRECT,
        "register": WEIGHT,
        "more": AIR["stated"] + USP,
    },
    "checked": {"balance": BALANCES["check weighings"], "register": CERTIFIED_WEIGHT, "more": AIR["bound"]},
    "certified, direct": {"balance": BALANCES["certificate"], "form": DIRECT, "more": AIR["left out"]},
    "in use": {
        "balance": BALANCES["in use"],
        "form": DIFFERENCE,
        "more": CG18,
        "samples": TWO_PORTIONS,
        "readings": TWO_PORTIONS_READ,
    },
    "in use, tared": {"balance": BALANCES["in use"], "form": TARED, "more": AIR["stated"] + CG18},
}
THREE = "three balances"
Books = dict[str, tuple[Written, Path]]
MINIMUM_CELLS = ("factor of s", "requirement, relative", "safety factor")
"""Only the comparison of the net mass rests on them, and no figure of a result. (The share of u² of carbon dioxide is
below 1e-13, less than a float shows.)"""


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    made = {}
    for number, (name, options) in enumerate(RUNS.items()):
        folder = tmp_path_factory.mktemp(f"weighing{number}")
        book = written(weighing_run(folder, **options))
        made[name] = book, book.save(folder / "book.xlsx")
    folder = tmp_path_factory.mktemp("balances")
    book = written(three_balances(folder))
    made[THREE] = book, book.save(folder / "book.xlsx")
    return made


def test_both_engines_agree_with_the_library(books: Books) -> None:
    require_engine("ironcalc")
    files = [path for _, path in books.values()]
    for path, found in zip(files, ironcalc_values(files), strict=True):
        assert_safe_formulas(path)
        assert compare(stored_values(path), found) == []
    require_engine("libreoffice")
    for path, found in zip(files, libreoffice_values(files), strict=True):
        assert compare(stored_values(path), found) == []


@pytest.mark.parametrize("name", [*RUNS, THREE])
def test_every_open_number_moves_the_results_as_the_library_says(name: str, books: Books) -> None:
    require_engine("ironcalc")
    example, file = books[name]
    # Readings are those of the small run, whose cells have their own tests.
    cells = [cell for cell in numeric_cells(example) if cell.sheet in ("samples", "equipment", "input quantities")]
    assert len(cells) > 15
    assert_open_numbers_move(
        example,
        file,
        cells,
        unmoved=lambda cell: cell.heading in MINIMUM_CELLS or cell.origin.path[3:] == ("carbon_dioxide", "u"),
    )


@pytest.mark.parametrize("name", [*RUNS, THREE])
def test_reading_back_gives_the_same_records(name: str, books: Books) -> None:
    example, file = books[name]
    records, findings = read_workbook(file)
    assert records == example.records, findings


OPEN = {
    "by load": ["load", "repeatability s", "degrees of freedom of s", "half-range of the temperature", "factor of s"],
    "checked": ["reading", "certificate U", "k of the certificate", "resolution"],
    "in use": ["U in use: alpha", "U in use: beta", "U in use: k", "safety factor", "requirement, relative"],
}
CLOSED = {
    # One error of indication shifts tare and gross alike.
    "checked": ["certified mass"],
    "checked, direct": ["nominal mass", "error limit ±"],
    "in use, tared": ["resolution", "repeatability s", "linearity ±"],
}


def test_what_counts_is_open_and_what_is_replaced_is_not(books: Books) -> None:
    for name, headings in OPEN.items():
        told = {cell.heading for cell in numeric_cells(books[name][0]) if cell.sheet == "equipment"}
        assert set(headings) <= told, name
    for name, headings in CLOSED.items():
        told = {cell.heading for cell in numeric_cells(books[name][0])}
        assert not set(headings) & told, name


def test_a_mass_below_the_minimum_is_flagged_in_the_sheet(books: Books) -> None:
    """The requirement made stricter in the workbook: the flag appears in the cells as in the library."""
    require_engine("ironcalc")
    for name in ("checked, direct", "in use, tared"):
        example, file = books[name]
        (cell,) = [cell for cell in numeric_cells(example) if cell.heading == "requirement, relative"]
        for value in (5e-5, 5e-2):
            (found,) = ironcalc_variants(file, [[(cell.sheet, cell.address, value)]])
            library = edited(example.records, [as_edit(cell, value)])
            flagged = sum(MINIMUM_WORDS in result.flags for result in library.results)
            assert flagged == (2 if value < 1e-3 else 0)
            assert sum(MINIMUM_WORDS in str(text) for text in found["results"].values()) == flagged
