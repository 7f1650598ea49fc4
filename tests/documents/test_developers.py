"""DEVELOPERS.md: every name exists, the walk is true, dependencies are those of the project."""

from __future__ import annotations

import importlib
import re
import tomllib
from collections.abc import Iterator

import pytest

import ubudget
from tests.documents.texts import ROOT, page, table_rows, ticked
from tests.house.test_floors import FLOORS
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import BandColumn
from ubudget.pages.plan import plan_book

TEXT = page("DEVELOPERS.md")
DOTTED = [name for name in ticked(TEXT) if re.fullmatch(rf"({'|'.join(FLOORS)})\.\w+(\.\w+)*", name)]
PATHS = [name for name in ticked(TEXT) if re.fullmatch(r"[a-z][\w.]*(/[\w.]+)+/?", name)]
EXAMPLE = ROOT / "worked_examples" / "harbour_sediment"


def exists(name: str) -> bool:
    """A dotted name, relative to the package: a module and, after it, attributes."""
    parts = name.split(".")
    for count in range(len(parts), 0, -1):
        try:
            found: object = importlib.import_module(".".join(["ubudget", *parts[:count]]))
        except ModuleNotFoundError:
            continue
        for attribute in parts[count:]:
            if not hasattr(found, attribute):
                return False
            found = getattr(found, attribute)
        return True
    return False


def test_names_exist() -> None:
    assert len(DOTTED) > 50
    assert [name for name in DOTTED if not exists(name)] == []


@pytest.mark.parametrize("name", ["bench.weighing.add_wing", "bench.nothing", "records.amount.Amount.colour"])
def test_a_name_that_does_not_exist_is_noticed(name: str) -> None:
    assert not exists(name)


def test_paths_exist() -> None:
    assert len(PATHS) > 20
    assert [path for path in PATHS if not (ROOT / path).exists()] == []


def test_every_folder_of_tests_is_named() -> None:
    folders = {path.name for path in (ROOT / "tests").iterdir() if path.is_dir() and any(path.glob("test_*.py"))}
    named = set(re.findall(r"pytest tests/(\w+)(?: -n 0)?`", TEXT))
    assert named == folders


def test_the_floors_are_those_that_tests_hold() -> None:
    told = {}
    for cells in table_rows(TEXT):
        if cells[0].isdigit():
            told |= {name: int(cells[0]) for name in re.findall(r"`ubudget/(\w+)(?:\.py|/)`", cells[1])}
    assert told == {name: FLOORS[name] for name in told}
    assert {name for name in FLOORS if (ROOT / "ubudget" / name).is_dir()} <= told.keys()


def test_every_dependency_has_its_reason() -> None:
    project = tomllib.loads(page("pyproject.toml"))["project"]
    needed = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    section = TEXT[TEXT.index("## Why each dependency") :]
    rows = [cells for cells in table_rows(section) if cells[0] != "package"]
    assert all(len(cells) == 2 and cells[1] for cells in rows)
    told = [name for cells in rows for name in cells[0].split(", ")]
    assert sorted(told) == sorted(re.split(r"[<>=~!]", text)[0] for text in needed)


def column(evaluation: Evaluation, sheet: str, band: str, heading: str) -> BandColumn:
    (found,) = (
        column
        for planned in plan_book(evaluation).sheets
        if planned.name == sheet
        for stack in planned.bands
        if stack.name == band
        for column in stack.columns
        if column.heading == heading
    )
    return found


def walk_figures() -> Iterator[tuple[str, float]]:
    """Words of the walk beside what the demonstration gives."""
    evaluation = ubudget.evaluate(ubudget.read_run(EXAMPLE))
    (result,) = (r for r in evaluation.results if (r.sample, r.analyte, r.line) == ("SED-01", "Cu", "324.754"))
    (row,) = (row for row in result.budget if row.symbol == "m.gross indication")
    assert "certificate MC-25-0311" in row.source
    assert row.sensitivity_coefficient is not None and row.standard_uncertainty is not None
    yield "u = {} g", row.standard_uncertainty
    yield "∂w/∂m = {} mg/kg per g", row.sensitivity_coefficient
    yield "{} mg/kg.", row.contribution


def test_the_figures_of_the_walk() -> None:
    running = " ".join(TEXT.replace("\N{MINUS SIGN}", "-").split())
    for words, figure in walk_figures():
        pattern = re.escape(words).replace(r"\{\}", r"(-?\d+\.\d+)")
        shown = re.findall(pattern, running)
        assert shown, words
        decimals = len(shown[0].partition(".")[2])
        assert f"{figure:.{decimals}f}" == shown[0], words


def test_the_cells_of_the_walk() -> None:
    evaluation = ubudget.evaluate(ubudget.read_run(EXAMPLE))
    calibration = column(evaluation, "equipment", "balances", "u of the calibration")
    assert calibration.formulas is not None
    assert (calibration.formulas[0], calibration.values[0]) == ("F9/G9", 0.1)
    assert all("`F9/G9`" in TEXT and f"`{cell}`" in TEXT for cell in ("F9", "G9", "H9"))
    for heading in ("certificate U", "k of the certificate"):
        limits = column(evaluation, "equipment", "balances", heading)
        assert limits.open is not None and limits.open[0]
    deviation = column(evaluation, "samples", "portions", "u(m.gross indication)")
    assert deviation.formulas is not None
    assert deviation.formulas[1] in TEXT
