"""Volumes in the workbook: both engines, every open number changed, reading back."""

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
from tests.volumes.titration import titration
from tests.workbooks.books import Written, edited, written
from tests.workbooks.test_alive import another, as_edit, differs, numeric_cells
from ubudget.files.workbook_reading import read_workbook


@pytest.fixture(scope="module", params=[False, True], ids=["own temperatures", "one temperature"])
def example(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(titration(tmp_path_factory.mktemp("run"), shared=request.param))


def test_both_engines_agree_with_the_library(example: Written, tmp_path: Path) -> None:
    require_engine("ironcalc")
    file = example.save(tmp_path / "book.xlsx")
    assert_safe_formulas(file)
    assert compare(stored_values(file), ironcalc_values([file], timeout=120)[0]) == []
    require_engine("libreoffice")
    assert compare(stored_values(file), libreoffice_values([file])[0]) == []


def test_every_open_number_changed(example: Written, tmp_path: Path) -> None:
    require_engine("ironcalc")
    cells = numeric_cells(example)
    paths = {cell.origin.path for cell in cells}
    assert {(0, "titrant"), ("symbols", "V_w", "value"), ("symbols", "V_t", "drop_half_width")} <= paths
    assert ("symbols", "V_t", "temperature", "deviation") in paths
    assert ("symbols", "V_t", "temperature", "expansion_u") in paths
    # What chooses a row of a standard's table is no number to be changed alone.
    assert not [path for path in paths if path[-1] in ("nominal", "tolerance")]
    file = example.save(tmp_path / "book.xlsx")
    variants = [[(cell.sheet, cell.address, another(cell))] for cell in cells]
    wanted = example.result_cells()
    before = example.result_numbers()
    for cell, found in zip(cells, ironcalc_variants(file, variants, wanted, timeout=300), strict=True):
        ((_, numbers),) = found.items()
        after = [float(str(numbers[address])) for (addresses,) in [wanted.values()] for address in addresses]
        assert any(differs(a, b, 1e-12) for a, b in zip(after, before, strict=True)), (cell.sheet, cell.row_name)
        library = edited(example.records, [as_edit(cell, another(cell))])
        again = Written(example.records, library, example.book).result_numbers()
        assert not [(a, b) for a, b in zip(after, again, strict=True) if differs(a, b, 1e-9)], (
            cell.sheet,
            cell.address,
        )


def test_reading_back_gives_the_same_records(example: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings
