"""The example spring_copper: imported as its files say, without findings, in two engines, alive, and by hand."""

from __future__ import annotations

import csv
import hashlib
import math
import shutil
import statistics
from pathlib import Path

import pytest
from openpyxl import load_workbook

from tests.workbooks.books import EXAMPLES, Written, written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from ubudget.files.importing import import_export, write_import
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.layout import LOW_LEVELS

SPRING = EXAMPLES / "spring_copper"


@pytest.fixture(scope="module")
def example() -> Written:
    return written(SPRING)


def test_the_import_gives_the_files_that_are_shipped(tmp_path: Path) -> None:
    folder = tmp_path / "run"
    shutil.copytree(SPRING, folder)
    (folder / "readings.csv").unlink()
    write_import(import_export(folder / "export.csv", folder))
    for name in ("readings.csv", "run.toml"):
        assert (folder / name).read_bytes() == (SPRING / name).read_bytes()


def test_no_findings(example: Written) -> None:
    assert [finding.line() for finding in example.evaluation.findings] == []
    assert [flag for result in example.evaluation.results for flag in result.flags] == []


def test_both_engines_agree_with_the_library(example: Written, tmp_path: Path) -> None:
    assert_engines_agree(example, tmp_path)


def test_every_open_number_moves_the_results_as_the_library_says(example: Written, tmp_path: Path) -> None:
    # Limits decide about what is reported; value and U stay.
    book = example.save(tmp_path / "book.xlsx")
    assert_open_numbers_move(example, book, unmoved=lambda cell: cell.sheet == LOW_LEVELS)


def test_reading_back_gives_the_same_records(example: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(example.save(tmp_path / "book.xlsx"))
    assert records == example.records, findings


def test_a_result_by_hand(example: Written) -> None:
    """SPRING-04, copper, from the cells of the export by plain arithmetic; blanks as in QUAM:2012.P1, 7.11."""
    read: dict[str, list[list[float]]] = {}
    for row in csv.reader((SPRING / "export.csv").read_text(encoding="utf-8-sig").splitlines(), delimiter=";"):
        if row[2:3] == ["Cu324.754"]:
            read.setdefault(row[0], []).append([float(cell.replace(",", ".")) / 1000 for cell in row[3:6]])
    mean = {label: [statistics.mean(values) for values in made] for label, made in read.items()}
    blanks = [mean[f"BL-{number}"][0] for number in (1, 2, 3, 4)]
    recoveries = [value / 0.5 for value in mean["CHK"]]
    curve = math.hypot(statistics.stdev(recoveries), statistics.mean(recoveries) - 1, 0.006)
    pooled = math.sqrt(
        statistics.mean(
            statistics.variance(values)
            for label, made in read.items()
            for values in made
            if label not in ("Rinse", "CHK") and not label.startswith("BL")
        )
    )
    net = mean["SPRING-04"][0] - statistics.mean(blanks)
    s_b = statistics.stdev(blanks)
    # The curve's deviation is that of sample and blank alike: it counts on their difference.
    parts = [1.01 * pooled / math.sqrt(3), 1.01 * s_b / 2, 1.01 * s_b, 1.01 * net * curve, net * 0.002 / math.sqrt(3)]
    (result,) = (r for r in example.evaluation.results if (r.sample, r.analyte) == ("SPRING-04", "Cu"))
    assert result.value == pytest.approx(1.01 * net, rel=1e-12)
    assert result.standard_uncertainty == pytest.approx(math.hypot(*parts), rel=1e-9)


def test_the_record_sheet_tells_of_the_import(example: Written, tmp_path: Path) -> None:
    sheet = load_workbook(example.save(tmp_path / "book.xlsx"))["record"]
    lines = {str(cell.value) for (cell,) in sheet.iter_rows(min_col=4, max_col=4)}
    digest = hashlib.sha256((SPRING / "export.csv").read_bytes()).hexdigest()
    assert {f'sha256 = "{digest}"', "rows = 31", "rows_set_aside = 5", 'decimal = ","'} <= lines
