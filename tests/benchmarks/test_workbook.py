"""The workbook of 6,000 results: time against openpyxl alone, memory, growth, and LibreOffice; and a run ten times as
large, which no workbook holds.

Run by name only: python -m pytest tests/benchmarks/test_workbook.py -n 0 -s
"""

from __future__ import annotations

import csv
import time
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell

from tests.benchmarks.big_run import ELEMENTS, write_run
from tests.benchmarks.timing import Spent, command
from tests.engines import compare, libreoffice_resaved, require_engine
from ubudget.files.verbs import evaluate, read_run
from ubudget.files.workbook_styles import StyleTable, look_of
from ubudget.pages.book import Band, Sheet
from ubudget.pages.plan import plan_book

SAMPLES = 200
MOST_MEMORY = 400.0
"""MiB at the peak of the process, 6,000 results."""
MOST_MEMORY_60_000 = 2048.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_run(tmp_path_factory.mktemp("big") / "run", SAMPLES)


@pytest.fixture(scope="module")
def written(folder: Path) -> tuple[Path, Spent]:
    book = folder.parent / "book.xlsx"
    return book, command("workbook", folder, book)


def spelled(band: Band) -> list[tuple[Any, ...]]:
    """Formula, or value where there is none, of each cell, row by row."""
    columns = [
        [value if formula is None else f"={formula}" for value, formula in zip(c.values, c.formulas, strict=True)]
        if c.formulas is not None
        else list(c.values)
        for c in band.columns
    ]
    return list(zip(*columns, strict=True))


def seconds_of_openpyxl(sheets: tuple[Sheet, ...], target: Path) -> tuple[float, int]:
    """Processor time in which openpyxl alone writes the same cells in its write-only mode, and their number.

    Formulas without stored values, since it cannot write both; one named style a column. What a cell holds is spelled
    before the clock runs, and sheets are filled one after the other."""
    book, spent, cells = Workbook(write_only=True), 0.0, 0
    probe = Workbook()
    styles = StyleTable(probe)
    for style in probe._named_styles:
        if style.name != "Normal":
            book.add_named_style(style)
    for sheet in sheets:
        page = book.create_sheet(sheet.name)
        for band in sheet.bands:
            rows = spelled(band)
            models = [WriteOnlyCell(page) for _ in band.columns]
            for model, column in zip(models, band.columns, strict=True):
                model.style = styles._named[look_of(column.style, False, None)].name
                model.number_format = column.number_format
            begin = time.process_time()
            for row in rows:
                line = []
                for value, model in zip(row, models, strict=True):
                    cell = WriteOnlyCell(page, value)
                    cell._style = model._style
                    line.append(cell)
                page.append(line)
            spent += time.process_time() - begin
            cells += len(rows) * len(models)
    begin = time.process_time()
    book.save(target)
    return spent + time.process_time() - begin, cells


def test_whole_command_against_openpyxl_alone(folder: Path, written: tuple[Path, Spent]) -> None:
    book, ours = written
    assert ours.status == 0
    evaluation = evaluate(read_run(folder))
    alone, cells = seconds_of_openpyxl(plan_book(evaluation).sheets, folder.parent / "plain.xlsx")
    print(f"\nworkbook of {len(evaluation.keys)} results, {cells} cells, {book.stat().st_size / 1e6:.1f} MB: "
          f"whole command {ours.processor:.1f} s, peak {ours.peak:.0f} MiB; openpyxl alone {alone:.1f} s: "
          f"{alone / ours.processor:.1f} times")  # fmt: skip
    assert ours.processor <= alone
    assert ours.peak < MOST_MEMORY


def test_growth_of_the_workbook(folder: Path, written: tuple[Path, Spent]) -> None:
    """Ten times the results take at most ten times the processor time."""
    small = write_run(folder.parent / "small", SAMPLES // 10)
    before, after = command("workbook", small, folder.parent / "small.xlsx"), written[1]
    print(f"\nworkbook of 600 results {before.processor:.1f} s and {before.peak:.0f} MiB, "
          f"of 6,000 results {after.processor:.1f} s and {after.peak:.0f} MiB: "
          f"{after.processor / before.processor:.1f} times")  # fmt: skip
    assert after.processor <= 10 * before.processor


def test_sixty_thousand_results(folder: Path, written: tuple[Path, Spent]) -> None:
    """To CSV whole; as one workbook refused with the reason, by analyte written."""
    home = folder.parent
    large = write_run(home / "large", SAMPLES * 10)
    small, spent = (
        command("evaluate", folder, "--csv", home / "small.csv"),
        command("evaluate", large, "--csv", home / "large.csv"),
    )
    print(f"\nto CSV: 6,000 results {small.processor:.1f} s, {small.peak:.0f} MiB; "
          f"60,000 results {spent.processor:.1f} s, {spent.peak:.0f} MiB: "
          f"{spent.processor / small.processor:.1f} times")  # fmt: skip
    with (home / "large.csv").open(encoding="utf-8", newline="") as stream:
        assert sum(1 for _ in csv.DictReader(stream)) == 60_000
    assert spent.peak < MOST_MEMORY_60_000
    assert spent.processor <= 10 * small.processor
    refused = command("workbook", large, home / "large.xlsx")
    assert refused.status == 2
    assert not (home / "large.xlsx").exists()
    divided = command("workbook", large, home / "large.xlsx", "--by", "analyte")
    books = sorted(home.glob("large-*.xlsx"))
    print(f"by analyte: {len(books)} workbooks, {divided.processor:.0f} s, {divided.peak:.0f} MiB")
    assert [book.stem.partition("-")[2] for book in books] == sorted(ELEMENTS)


def cells_of(path: Path, *, values: bool) -> Iterator[tuple[str, Iterator[tuple[Any, ...]]]]:
    book = load_workbook(path, read_only=True, data_only=values)
    for page in book.worksheets:
        page.reset_dimensions()
        yield page.title, page.iter_rows(values_only=True)


def test_libreoffice_recalculates_every_formula(written: tuple[Path, Spent], tmp_path: Path) -> None:
    """Opened, recalculated and saved again: each formula cell shows what the workbook states."""
    require_engine("libreoffice")
    begin = time.perf_counter()
    saved = libreoffice_resaved(written[0], tmp_path, timeout=1800)
    took = time.perf_counter() - begin
    formulas = 0
    for (name, ours), (_, stated), (_, found) in zip(
        cells_of(written[0], values=False), cells_of(written[0], values=True), cells_of(saved, values=True), strict=True
    ):
        for number, (row, mine, theirs) in enumerate(zip_longest(ours, stated, found, fillvalue=()), start=1):
            expected = {
                f"{number}, {column}": mine[column]
                for column, text in enumerate(row)
                if isinstance(text, str) and text.startswith("=")
            }
            formulas += len(expected)
            there = {f"{number}, {column}": value for column, value in enumerate(theirs)}
            assert compare({name: expected}, {name: there}) == []
    print(f"\nLibreOffice opened, recalculated and saved {formulas} formulas in {took:.0f} s")
    assert formulas > 500_000
