"""Volumes in the workbook: both engines, every open number changed, reading back."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.engines import (
    require_engine,
)
from tests.volumes.titration import titration
from tests.workbooks.books import Written, written
from tests.workbooks.live_checks import assert_engines_agree_on_all, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.files.workbook_reading import read_workbook

WAYS = {"own temperatures": False, "one temperature": True}


@pytest.fixture(scope="module", params=WAYS)
def example(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(titration(tmp_path_factory.mktemp("run"), shared=WAYS[request.param]))


def test_both_engines_agree_with_the_library(tmp_path_factory: pytest.TempPathFactory, tmp_path: Path) -> None:
    runs = [titration(tmp_path_factory.mktemp("run"), shared=shared) for shared in WAYS.values()]
    assert_engines_agree_on_all(map(written, runs), tmp_path)


def test_every_open_number_changed(example: Written, tmp_path: Path) -> None:
    require_engine("ironcalc")
    cells = numeric_cells(example)
    paths = {cell.origin.path for cell in cells}
    assert {(0, "titrant"), ("symbols", "V_w", "value"), ("symbols", "V_t", "drop_half_width")} <= paths
    assert ("symbols", "V_t", "temperature", "deviation") in paths
    assert ("symbols", "V_t", "temperature", "expansion_u") in paths
    # What chooses a row of a standard's table is no number to be changed alone.
    assert not [path for path in paths if path[-1] in ("nominal", "tolerance")]
    assert_open_numbers_move(example, example.save(tmp_path / "book.xlsx"), cells)


def test_reading_back_gives_the_same_records(example: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings
