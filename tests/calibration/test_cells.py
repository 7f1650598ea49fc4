"""Calibrations in the workbook: cells as the library says, also after readings are struck and certificates changed."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.calibration.runs import (
    ERRORS_IN_VARIABLES,
    LINES,
    PREPARATION,
    SAMPLES,
    TWO_POINTS,
    Declared,
    concentrations,
    of_kind,
    readings,
    records_of,
)
from tests.engines import (
    assert_safe_formulas,
    compare,
    ironcalc_values,
    ironcalc_variants,
    libreoffice_values,
    require_engine,
    stored_values,
)
from tests.workbooks.books import Written, edited, evaluated
from tests.workbooks.edits_together import disagreements as edits_disagreeing
from tests.workbooks.test_alive import numbers_of
from ubudget.bench.kinds import KINDS
from ubudget.pages.layout import CALIBRATION, CHARTS, COMPUTATION, STEPS
from ubudget.pages.layout import RESULTS as RESULTS_SHEET
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import OpenCell, open_cells
from ubudget.records.records import Edit

ONE_LINE = ("257.610",)
CHOSEN: dict[str, dict[str, Any]] = {
    "line": {"weights": "1/y", "standards": "stated"},
    "line through zero": {"weights": "1/x^2", "fit_on": "means", "scatter": "pooled"},
    "quadratic": {"weights": "1/x", "lines": tuple(LINES)},
    ERRORS_IN_VARIABLES: {"weights": "noise model"},
}
RECALCULATED = [
    *(of_kind(kind, **{"lines": ONE_LINE, **CHOSEN.get(kind, {})}) for kind in KINDS),
    of_kind("quadratic", "1/s^2", lines=ONE_LINE),
    of_kind("rational", "noise model", known=True, lines=ONE_LINE),
    *(of_kind(kind, "1/y", lines=ONE_LINE) for kind in ("line through zero", "quadratic", "rational")),
    of_kind("quadratic", "pooled s per level"),
    of_kind("line", "pooled s per level", known=True, lines=ONE_LINE),
    of_kind("line", between_levels="0.4 %"),
    of_kind("rational", "1/x", between_levels="0.05 mg/L", lines=ONE_LINE),
]
"""Each kind, each weighting, readings and means; one run with two lines, whose blocks lie below each other."""
ROUNDING = 1e-12
"""Sums over points scaled to 1: what is left of the right side and the change of a step that has converged."""
MARKED = [
    *(of_kind(kind, lines=ONE_LINE) for kind in KINDS),
    of_kind("quadratic", "1/s^2", lines=ONE_LINE),
    of_kind("rational", "noise model", known=True, lines=ONE_LINE),
    of_kind("line", "1/x", fit_on="means", scatter="pooled", lines=ONE_LINE),
    *(of_kind(kind, "1/y", lines=ONE_LINE) for kind in ("line", "line through zero", "quadratic", "rational")),
    *(of_kind("quadratic", "pooled s per level", known=known, lines=ONE_LINE) for known in (False, True)),
    of_kind("line", between_levels="0.4 %", lines=ONE_LINE),
]


@cache
def written(declared: Declared) -> Written:
    records = records_of(declared)
    evaluation = evaluated(records)
    return Written(records, evaluation, plan_book(evaluation))


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("books")
    return [written(case).save(folder / f"{number:02}.xlsx") for number, case in enumerate(RECALCULATED)]


def disagreements(files: list[Path], found: list[dict[str, dict[str, object]]]) -> dict[str, list[str]]:
    compared = {}
    for case, file, cells in zip(RECALCULATED, files, found, strict=True):
        stored = stored_values(file)
        steps = {STEPS: stored.pop(STEPS, {})}
        compared[str(case)] = compare(stored, cells)[:5] + compare(steps, cells, floor=ROUNDING)[:5]
    return {case: wrong for case, wrong in compared.items() if wrong}


def test_every_formula_uses_safe_functions_and_has_no_error(files: list[Path]) -> None:
    for path in files:
        assert_safe_formulas(path)
        for sheet, cells in stored_values(path).items():
            assert not [a for a, value in cells.items() if isinstance(value, str) and value.startswith("#")], sheet


def test_ironcalc_recalculates_every_formula(files: list[Path]) -> None:
    require_engine("ironcalc")
    assert disagreements(files, ironcalc_values(files, timeout=200)) == {}


def test_libreoffice_recalculates_every_formula(files: list[Path]) -> None:
    require_engine("libreoffice")
    assert disagreements(files, libreoffice_values(files, timeout=200)) == {}


# --- Changes in the workbook ---


def as_edit(cell: OpenCell, value: float) -> Edit:
    return Edit(cell.origin.document, cell.origin.path, value, cell.origin.unit)  # type: ignore[arg-type]  # a role


def same(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-12)


def changed_results(book: Written, changes: list[tuple[OpenCell, float]], folder: Path) -> None:
    """Each change alone: cells of the results against the library's answer to the same edit; each moves something."""
    file = book.save(folder / "book.xlsx")
    wanted = book.result_cells()
    variants = [[(cell.sheet, cell.address, value)] for cell, value in changes]
    before = book.result_numbers()
    base, *answers = numbers_of(wanted, ironcalc_variants(file, [[], *variants], wanted, timeout=200))
    for (cell, value), after in zip(changes, answers, strict=True):
        place = (cell.sheet, cell.address, cell.origin.path, value)
        assert any(not math.isclose(a, b, rel_tol=1e-12) for a, b in zip(after, before, strict=True)), place
    edits = [as_edit(cell, value) for cell, value in changes]
    assert list(edits_disagreeing(book, edits, base, answers, floor=1e-12)) == []


@pytest.mark.parametrize("declared", MARKED, ids=str)
def test_any_reading_struck_gives_the_librarys_answer(declared: Declared, tmp_path: Path) -> None:
    require_engine("ironcalc")
    book = written(declared)
    marks = [cell for cell in open_cells(book.book.sheets) if cell.origin.path[0] == "include"]
    # Of the diluted sample only the dilution is read for a result.
    assert len(marks) >= (len(declared.read) + len(SAMPLES)) * declared.replicates
    changed_results(book, [(mark, 0.0) for mark in marks], tmp_path)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != TWO_POINTS])
@pytest.mark.parametrize("solution", ["S0", "S5"])
def test_a_standard_struck_altogether_leaves_a_fit_of_the_others(kind: str, solution: str, tmp_path: Path) -> None:
    require_engine("ironcalc")
    book = written(of_kind(kind, lines=ONE_LINE))
    marks = [cell for cell in open_cells(book.book.sheets) if cell.origin.path[:2] == ("include", solution)]
    file = book.save(tmp_path / "book.xlsx")
    (found,) = ironcalc_variants(file, [[(mark.sheet, mark.address, 0.0) for mark in marks]])
    for sheet, cells in found.items():
        assert not [a for a, value in cells.items() if isinstance(value, str) and value.startswith("#")], sheet
    (addresses,) = book.result_cells().values()
    numbers = [float(str(found[COMPUTATION][address])) for address in addresses]
    library = edited(book.records, [as_edit(mark, 0.0) for mark in marks])
    expected = Written(book.records, library, book.book).result_numbers()
    assert not [pair for pair in zip(numbers, expected, strict=True) if not same(*pair)]


@pytest.mark.parametrize("known", [False, True])
def test_stated_scatter_moves_the_results(known: bool, tmp_path: Path) -> None:
    """Concentration and s of each level; its degrees of freedom where the scatter is taken from it."""
    require_engine("ironcalc")
    book = written(of_kind("line", "pooled s per level", known=known, lines=ONE_LINE))
    stated = [cell for cell in open_cells(book.book.sheets) if "level_s" in cell.origin.path]
    keys = [cell.origin.path[-1] for cell in stated]
    # Only the smallest degrees of freedom count, yet each of them may become the smallest.
    assert sorted(set(keys)) == sorted({"concentration", "s"} | ({"dof"} if known else set()))
    numbers = [(cell, {"dof": 11.0}.get(str(cell.origin.path[-1]), cell.value + 1.0)) for cell in stated]
    changed_results(book, numbers, tmp_path)


@pytest.mark.parametrize(("kind", "stated"), [("line", "0.4 %"), ("quadratic", "0.05 mg/L"), (TWO_POINTS, "0.4 %")])
def test_the_term_between_levels_moves_the_results(kind: str, stated: str, tmp_path: Path) -> None:
    require_engine("ironcalc")
    book = written(of_kind(kind, between_levels=stated, lines=ONE_LINE))
    cells = [cell for cell in open_cells(book.book.sheets) if cell.origin.path[-1] == "between_levels"]
    assert len(cells) == 1
    changed_results(book, [(cells[0], 2 * cells[0].value)], tmp_path)


@pytest.mark.parametrize(
    ("declared", "solutions"),
    [
        (of_kind(TWO_POINTS, lines=ONE_LINE), ("S1",)),
        (of_kind(TWO_POINTS, lines=ONE_LINE), ("S5",)),
        (of_kind("quadratic", "1/s^2", lines=ONE_LINE), ("S3 but one",)),
        (of_kind(ERRORS_IN_VARIABLES, lines=ONE_LINE), tuple(f"S{number} but one" for number in range(6))),
        (of_kind("line", between_levels="0.4 %", lines=ONE_LINE), tuple(f"S{number} but one" for number in range(6))),
    ],
    ids=str,
)
def test_standards_struck_that_a_curve_needs_leave_no_result(
    declared: Declared, solutions: tuple[str, ...], tmp_path: Path
) -> None:
    """One of two standards; the second reading of a level whose own s is its weight, and of all levels where s is
    pooled over them."""
    require_engine("ironcalc")
    book = written(declared)
    marks = []
    for solution in solutions:
        name, _, but_one = solution.partition(" but ")
        of_it = [cell for cell in open_cells(book.book.sheets) if cell.origin.path[:2] == ("include", name)]
        marks += of_it[1:] if but_one else of_it
    file = book.save(tmp_path / "book.xlsx")
    (found,) = ironcalc_variants(file, [[(mark.sheet, mark.address, 0.0) for mark in marks]])
    for sheet, cells in found.items():
        assert not [a for a, value in cells.items() if isinstance(value, str) and value.startswith("#")], sheet
    shown = [value for value in found[RESULTS_SHEET].values() if isinstance(value, str)]
    assert shown.count("not available") == len(SAMPLES)
    assert sum("this result is not available" in text for text in shown) == len(SAMPLES)


def test_a_reading_left_out_is_drawn_on_the_curve_and_hides_among_the_residuals(tmp_path: Path) -> None:
    """The fit of the others by numpy's polyfit: at the reading left out, and its residual for the last reading used."""
    require_engine("ironcalc")
    declared = of_kind("quadratic", standards="stated", lines=ONE_LINE)
    book = written(declared)
    file = book.save(tmp_path / "book.xlsx")
    (mark,) = (c for c in open_cells(book.book.sheets) if c.origin.path == ("include", "S4", "Mn", ONE_LINE[0], 2))
    (sheet,) = (sheet for sheet in book.book.sheets if sheet.name == CHARTS)
    addresses = {}
    for chart, names in zip(sheet.charts, (("x", "fitted"), ("x drawn", "residual drawn"), ("position",)), strict=True):
        for name, cells in zip(names, (chart.series[-1].x, chart.series[-1].y), strict=False):
            column, first = str(cells).rpartition("!")[2].split(":")[0].strip("$").split("$")
            addresses[name] = [f"{column}{int(first) + row}" for row in range(18)]
    wanted = {CALIBRATION: [address for column in addresses.values() for address in column]}
    (found,) = ironcalc_variants(file, [[(mark.sheet, mark.address, 0.0)]], wanted)
    cells = {name: [float(str(found[CALIBRATION][one])) for one in column] for name, column in addresses.items()}

    recorded = readings(declared)
    x = np.repeat([concentrations()[label] for label in PREPARATION], 3)
    y = np.array([value for label in PREPARATION for value in recorded[label, ONE_LINE[0]]])
    kept = np.arange(18) != 13
    curve = np.polynomial.Polynomial.fit(x[kept], y[kept], 2)
    assert cells["x"] == pytest.approx(list(x), rel=1e-9)
    assert cells["fitted"] == pytest.approx(list(curve(x)), rel=1e-9)
    residuals = y - curve(x)
    assert np.array(cells["residual drawn"])[kept] == pytest.approx(residuals[kept], rel=1e-6)
    assert cells["residual drawn"][13] == pytest.approx(residuals[17], rel=1e-6)
    # As they follow each other in the readings file, where S1 was read last.
    order = [label for label, _ in recorded]
    positions = [order.index(label) + 1 for label in PREPARATION for _ in range(3)]
    assert positions[3] > positions[17]
    assert (cells["x drawn"][13], cells["position"][13]) == (cells["x"][17], positions[17])
    assert np.array(cells["position"])[kept].tolist() == np.array(positions)[kept].tolist()


def test_the_verdicts_follow_a_reading(tmp_path: Path) -> None:
    """A highest standard 5 % off, beside readings that scatter by 0.2 %: any test of the curve's shape sees it."""
    require_engine("ironcalc")
    book = written(of_kind("line", lines=ONE_LINE))
    (sheet,) = (sheet for sheet in book.book.sheets if sheet.name == CALIBRATION)
    (band,) = (band for band in sheet.bands if band.name == "verdicts")
    at = {column.heading: f"{letter}{band.first_row}" for column, letter in zip(band.columns, "ABCDEFGH", strict=False)}
    said = {column.heading: column.values[0] for column in band.columns}
    file = book.save(tmp_path / "book.xlsx")
    cells = [
        c for c in open_cells(book.book.sheets) if c.sheet == CALIBRATION and c.origin.path[-1] in ("r1", "r2", "r3")
    ]
    highest = sorted(cells, key=lambda cell: cell.value)[-3:]
    edits = [(cell.sheet, cell.address, 0.95 * cell.value) for cell in highest]
    wanted = {CALIBRATION: list(at.values())}
    before, after = ironcalc_variants(file, [[], edits], wanted)
    for heading, address in at.items():
        assert before[CALIBRATION][address] == said[heading]
    assert said["lack of fit"] == "not significant at 5 %"
    assert said["quadratic term"] == "not significant at 1 %"
    for heading in ("lack of fit", "quadratic term"):
        assert after[CALIBRATION][at[heading]] == "significant at 1 %"


@pytest.mark.parametrize("kind", KINDS)
def test_ware_and_certificate_move_the_results(kind: str, tmp_path: Path) -> None:
    """Tolerance, volume and repeatability of what the standards were prepared with; value, U and k of the stock."""
    require_engine("ironcalc")
    book = written(of_kind(kind, lines=ONE_LINE))
    register = [cell for cell in open_cells(book.book.sheets) if cell.origin.document == "register"]
    numbers = [(cell, float(f"{1.01 * cell.value:.12g}")) for cell in register if isinstance(cell.value, (int, float))]
    reached = {cell.origin.path[-1] for cell, _ in numbers}
    assert reached >= {"nominal", "tolerance", "repeatability", "value", "U", "k"}
    assert len(numbers) >= (9 if kind == TWO_POINTS else 20)
    changed_results(book, numbers, tmp_path)
