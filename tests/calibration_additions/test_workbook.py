"""The lines of additions in the workbook: recalculated by two engines, and alive as the library says."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.calibration_additions.addition_runs import aluminium, sediment
from tests.engines import (
    assert_safe_formulas,
    compare,
    ironcalc_values,
    ironcalc_variants,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.stored_cells import stored_sheets
from tests.typed_cells import type_into
from tests.workbooks.books import Written, edited, evaluated
from tests.workbooks.live_checks import assert_open_numbers_move
from tests.workbooks.test_alive import another, as_edit, differs, numeric_cells
from ubudget.files.reading import read_records
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import OpenCell

SERIES = {"V_std": [0.0, 0.1, 0.2, 0.3], "signal": [0.214, 0.386, 0.554, 0.728]}
CANCELLED = 1e-13
"""The flask of the second standard also held the digest: its coefficient is zero but for rounding."""
BOOKS = ("concentrations", "constant volume", "volume change")


def written(folder: Path, name: str) -> Written:
    folder.mkdir()
    if name == "concentrations":
        aluminium(folder, SERIES, "line and one reading", by_volume=False)
    else:
        sediment(folder, name, "line" if name == "constant volume" else "line and one reading")
    records, findings = read_records(folder)
    assert records is not None, findings
    evaluation = evaluated(records)
    return Written(records, evaluation, plan_book(evaluation))


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Written, Path]]:
    folder = tmp_path_factory.mktemp("additions")
    made = {name: written(folder / name, name) for name in BOOKS}
    return {name: (book, book.save(folder / f"{name}.xlsx")) for name, book in made.items()}


def changed(cell: OpenCell) -> float:
    """Another number for an open cell; these runs state 95 % themselves."""
    return 0.9 if cell.origin.path[-1] == "probability" else another(cell)


Books = dict[str, tuple[Written, Path]]


def test_both_engines_agree_with_the_library(books: Books) -> None:
    require_engine("ironcalc")
    files = [path for _, path in books.values()]
    for path, found in zip(files, ironcalc_values(files), strict=True):
        assert_safe_formulas(path)
        assert compare(stored_values(path), found, floor=CANCELLED) == []
    require_engine("libreoffice")
    for path, found in zip(files, libreoffice_values(files), strict=True):
        assert compare(stored_values(path), found, floor=CANCELLED) == []


def test_the_tables_stand_on_their_sheet(books: Books) -> None:
    for book, _ in books.values():
        (sheet,) = (sheet for sheet in book.book.sheets if sheet.name == "standard additions")
        titles = [band.title for band in sheet.bands]
        assert titles[:3] == ["Lines of the standard additions", "Readings with additions", "Additions"]
        assert all(sheet.name not in ("calibration", "measured lines") for sheet in book.book.sheets)


def test_charts_reach_to_reading_zero(books: Books) -> None:
    """Readings, line and the extrapolated point at -c; residuals beside them. The file that is written opens."""
    for book, path in books.values():
        (sheet,) = (sheet for sheet in book.book.sheets if sheet.name == "calibration charts")
        assert len(sheet.charts) == 3 * len(book.evaluation.results)
        assert [series.title for series in sheet.charts[0].series] == ["readings", "curve", "reading zero"]
        lines = book.evaluation.column("x0", "addition lines")
        assert list(lines) == [-c for c in book.evaluation.column("c", "addition lines")]
        end = sheet.charts[0].series[2].x
        assert end is not None
        cell = end.partition("!")[2].replace("$", "").partition(":")[0]
        assert stored_sheets(path)["standard additions"].values[cell] == lines[0]


@pytest.mark.parametrize("name", BOOKS)
def test_every_open_number_moves_the_results_as_the_library_says(name: str, books: Books) -> None:
    """Every reading struck, every reading, volume, certificate and tolerance changed, one after the other."""
    require_engine("ironcalc")
    example, file = books[name]
    cells = numeric_cells(example)
    marks = [cell for cell in cells if cell.origin.path[0] == "include"]
    assert len(marks) == (4 if name == "concentrations" else 16)
    assert_open_numbers_move(example, file, cells, change=changed)


def test_struck_readings_in_libreoffice(books: Books, tmp_path: Path) -> None:
    require_engine("libreoffice")
    example, file = books["volume change"]
    marks = [cell for cell in numeric_cells(example) if cell.origin.path[0] == "include"][::4]
    files = []
    for number, cell in enumerate(marks):
        files.append(type_into(file, [(cell.sheet, cell.address, 0)], tmp_path / f"struck{number}.xlsx"))
    (addresses,) = example.result_cells().values()
    for cell, found in zip(marks, libreoffice_values(files), strict=True):
        library = edited(example.records, [as_edit(cell, 0.0)])
        expected = Written(example.records, library, example.book).result_numbers()
        numbers = [float(str(found["computation"][address])) for address in addresses]
        assert not [1 for a, b in zip(numbers, expected, strict=True) if differs(a, b, 1e-9)], cell


def test_a_line_made_to_fall_gives_no_number(books: Books) -> None:
    """Edited in the workbook, where no finding can stop the work: the result says why it is not available."""
    require_engine("ironcalc")
    example, file = books["concentrations"]
    top = next(cell for cell in numeric_cells(example) if cell.origin.path == (3, "r1"))
    (found,) = ironcalc_variants(file, [[(top.sheet, top.address, -2.0)]])
    results = next(sheet for sheet in example.book.sheets if sheet.name == "results").bands[0]
    assert found["results"][f"D{results.first_row}"] == "not available"
    assert "do not rise with the addition" in str(found["results"][f"K{results.first_row}"])
    for sheet, cells in found.items():
        assert not {a: v for a, v in cells.items() if isinstance(v, str) and v.startswith("#")}, sheet
