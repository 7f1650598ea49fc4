"""Limits that are known inexactly (JCGM 101:2008, 6.4.3) in a method, in its workbook, and stated wrongly."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.commands.running import run
from tests.workbooks.books import Written, written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.files.workbook_reading import read_workbook

METHOD = """
[method]
id = "M"
title = "Difference of two quantities, invented"
version = "1"
status = "approved"
measurand = "difference"
unit = "mg"
equation = "y = a - b"

[symbols.a]
operation = "input"
quantity = "mass"
unit = "mg"
estimate = "20 mg"
half_width = "600 ug"
inexactness = "{inexactness}"
distribution = "{distribution}"
source = "invented"

[symbols.b]
operation = "input"
quantity = "blank"
unit = "mg"
estimate = "2 mg"
half_width = "5 %"
inexactness = "1 %"
distribution = "curvilinear trapezoid"
source = "invented"
"""


def method(folder: Path, inexactness: str = "0.2 mg", distribution: str = "curvilinear trapezoid") -> Path:
    path = folder / "method.toml"
    path.write_text(METHOD.format(inexactness=inexactness, distribution=distribution), "utf-8")
    return path


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(method(tmp_path_factory.mktemp("run")))


def test_standard_uncertainty(example: Written) -> None:
    """(2a)²/12 + d²/9 each: a = 0.6 mg with d = 0.2 mg, and a = 0.1 mg with d = 0.02 mg."""
    (result,) = example.evaluation.results
    a, b = (row.standard_uncertainty for row in result.budget)
    assert a == pytest.approx(math.sqrt(0.36 / 3 + 0.04 / 9), rel=1e-12)
    assert b == pytest.approx(math.sqrt(0.01 / 3 + 0.0004 / 9), rel=1e-12)
    assert [row.distribution for row in result.budget] == ["curvilinear trapezoid"] * 2


def test_both_engines_agree_with_the_library(example: Written, tmp_path: Path) -> None:
    assert_engines_agree(example, tmp_path)


def test_every_open_number_changed_and_read_back(example: Written, tmp_path: Path) -> None:
    cells = numeric_cells(example)
    assert ("symbols", "a", "inexactness") in {cell.origin.path for cell in cells}
    book = example.save(tmp_path / "book.xlsx")
    assert_open_numbers_move(example, book, cells)
    records, findings = read_workbook(book)
    assert records == example.records, findings


@pytest.mark.parametrize(
    ("inexactness", "distribution", "found"),
    [
        ("700 ug", "curvilinear trapezoid", "inexactness above half_width"),
        ("0.7 mg", "curvilinear trapezoid", "an inexactness above the half-width"),
        ("1 %", "curvilinear trapezoid", "one of them in %"),
        ("0 mg", "curvilinear trapezoid", "zero or negative"),
        ("0.2 mL", "curvilinear trapezoid", "0.2 mL"),
        ("0.2 mg", "rectangular", "inexactness belongs to the curvilinear trapezoid"),
    ],
)
def test_stated_wrongly(tmp_path: Path, inexactness: str, distribution: str, found: str) -> None:
    done = run("evaluate", method(tmp_path, inexactness, distribution), folder=tmp_path)
    assert done.status == 2
    assert len(done.err.splitlines()) == 1 and found in done.err
