"""The fill-in workbooks that are shipped are what the command makes of the patterns."""

from __future__ import annotations

import io
import tomllib
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from tests.commands.running import run
from tests.fill_in.make_templates import TEMPLATES
from tests.fill_in.workbooks import ROOT
from ubudget.files.starting import patterns
from ubudget.files.ware_form import FORM

MAKE = "make them anew with: python -m tests.fill_in.make_templates"


def cells(content: bytes) -> dict[tuple[str, str], tuple[Any, ...]]:
    book = load_workbook(io.BytesIO(content))
    return {
        (sheet.title, cell.coordinate): (cell.value, cell.number_format, cell.style, cell.protection.locked)
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.has_style
    }


def test_there_is_one_for_each_pattern_and_the_calibration_of_ware() -> None:
    assert {file.stem for file in TEMPLATES.iterdir()} == {*patterns(), FORM}, MAKE


@pytest.mark.parametrize("name", patterns())
def test_each_is_what_the_command_makes_cell_by_cell(name: str, tmp_path: Path) -> None:
    assert run("start", ".", "--pattern", name, "--workbook", folder=tmp_path).status == 0
    made = (tmp_path / f"{name}.xlsx").read_bytes()
    shipped = (TEMPLATES / f"{name}.xlsx").read_bytes()
    # Only where another version of a library writes other bytes is there anything to look for.
    assert shipped == made or cells(shipped) == cells(made), MAKE


def test_a_wheel_takes_them_along() -> None:
    """`ubudget.files.shipped` looks for the folder where the wheel puts it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    included = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert included[TEMPLATES.parent.name] == f"ubudget/_shipped/{TEMPLATES.parent.name}"
