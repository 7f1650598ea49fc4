"""The record of a calibration of ware as a workbook to fill in: both ways without loss, edited as people edit, shipped.

What the text holds is read by `tomllib` of the standard library, not by code of ours.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from tests.commands.running import run
from tests.engines import libreoffice_resaved, require_engine
from tests.fill_in.make_templates import WARE_TEMPLATE
from tests.fill_in.test_templates import MAKE, cells
from tests.fill_in.workbooks import EXAMPLES, Desk
from ubudget import calibrate_ware
from ubudget.errors import UnusableInput
from ubudget.files.ware_form import read_ware_form, shipped_record, ware_form_bytes
from ubudget.pages.ware_form import WARE_TABLE
from ubudget.records.finding import Finding
from ubudget.records.ware_calibration import WareCalibration

FLASK = EXAMPLES / "ware_calibration" / "flask.toml"
RECORD = tomllib.loads(FLASK.read_text(encoding="utf-8"))
TABLE = "calibration of ware"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path / "my flask.xlsx", ware_form_bytes(shipped_record()))


def entry(desk: Desk, name: str, number: int = 1) -> Any:
    """The value cell of an entry; of a list, that of its part, counted from 1."""
    sheet, head = desk.head(TABLE)
    rows = [row for row in range(head + 1, sheet.max_row + 1) if sheet.cell(row, 2).value == name]
    return sheet.cell(rows[number - 1], 3)


def refused(desk: Desk) -> list[Finding]:
    desk.book.save(desk.path)
    before = desk.path.read_bytes()
    with pytest.raises(UnusableInput) as refusal:
        calibrate_ware(desk.path)
    assert desk.path.read_bytes() == before, "reading altered the file"
    return [finding for finding in refusal.value.findings if finding.severity == "stop"]


def test_both_ways_without_loss(tmp_path: Path) -> None:
    assert run("convert", FLASK, "flask.xlsx", folder=tmp_path).status == 0
    assert run("convert", "flask.xlsx", "texts", folder=tmp_path).status == 0
    text = (tmp_path / "texts" / "flask.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text) == RECORD
    assert run("convert", "texts/flask.toml", "again.xlsx", folder=tmp_path).status == 0
    assert (tmp_path / "again.xlsx").read_bytes() == (tmp_path / "flask.xlsx").read_bytes()
    assert run("convert", "again.xlsx", "more", folder=tmp_path).status == 0
    assert (tmp_path / "more" / "again.toml").read_text(encoding="utf-8") == text


def test_the_command_takes_it_as_the_text(tmp_path: Path) -> None:
    laid = run("start", "mine", "--ware", "--workbook", folder=tmp_path)
    assert laid.status == 0
    (shown,) = [line for line in laid.out.splitlines() if line.startswith("  ") and " ware " in line]
    done = run("ware", shown.split()[-1], folder=tmp_path)
    assert (done.status, done.out) == (0, run("ware", FLASK, folder=tmp_path).out)
    assert run("start", "mine", "--ware", "--workbook", folder=tmp_path).status == 2, "never overwritten unasked"
    assert run("start", "mine", "--ware", "--pattern", "titration", folder=tmp_path).status == 2


def test_libreoffice_saves_it_and_it_says_the_same(desk: Desk, tmp_path: Path) -> None:
    require_engine("libreoffice")
    desk.book.save(desk.path)
    text, findings, _ = read_ware_form(libreoffice_resaved(desk.path, tmp_path / "saved"), "saved")
    assert text is not None and tomllib.loads(text.text) == RECORD, findings


def test_every_field_has_its_place() -> None:
    """Against the JSON schema that pydantic makes of the same dataclass; single readings of a condition are refused."""
    schema = TypeAdapter(WareCalibration).json_schema(by_alias=True)
    keys = {key for node in [schema, *schema["$defs"].values()] for key in node.get("properties", {})}
    amount = set(schema["$defs"]["Amount"].get("properties", {}))
    told = {step for column in WARE_TABLE.columns for step in column.path}
    assert keys - amount - told == {"kind", "readings", "pooled_s", "pooled_dof"}


def test_more_weighings_in_inserted_rows(desk: Desk) -> None:
    sheet, _ = desk.head(TABLE)
    row = entry(desk, "weighings", 10).row
    sheet.insert_rows(row + 1, 2)
    sheet.cell(row + 1, 2).value, sheet.cell(row + 1, 3).value = "weighings", " 99.7000 g "
    desk.book.save(desk.path)
    text, findings, _ = read_ware_form(desk.path, "my flask.xlsx")
    assert text is not None and findings == []
    assert tomllib.loads(text.text)["weighings"] == [*RECORD["weighings"], "99.7000 g"]


IN_ONE_CELL: dict[str, tuple[str, int, Any, str]] = {
    # case: entry, its part, new value; found
    "decimal comma in a weighing": ("weighings", 3, "99,7081 g", "decimal comma"),
    "weighing without unit": ("weighings", 4, "99.6968", "99.6968"),
    "weighing in another unit": ("weighings", 5, "99.7044 mL", "does not convert to g"),
    "temperature in kelvin": ("water temperature: value", 1, "294.55 K", "a temperature not in °C"),
    "water too warm": ("water temperature: value", 1, "55 °C", "55 °C"),
    "unknown material": ("material", 1, "window glass", "the unknown material window glass"),
    "kind of ware that does not exist": ("ware", 1, "beaker", "beaker"),
    "negative uncertainty": ("balance: U", 1, "-1.2 mg", "negative"),
    "date in another order": ("date", 1, "11.2.2026", "11.2.2026"),
    "time of day": ("date", 1, dt.datetime(2026, 2, 11, 9, 30), "the time"),
    "formula": ("nominal", 1, "=100&\" mL\"", "the formula"),
    "error value": ("who", 1, "#N/A", "the error value"),
}  # fmt: skip


@pytest.mark.parametrize("name", IN_ONE_CELL)
def test_refused_in_one_line(desk: Desk, name: str) -> None:
    where, part, value, found = IN_ONE_CELL[name]
    cell = entry(desk, where, part)
    cell.value = value
    findings = refused(desk)
    lines = "\n".join(finding.line() for finding in findings)
    about = [finding for finding in findings if f"row {cell.row}" in finding.place]
    assert len(about) == 1 and found in about[0].found, lines
    assert {finding.file for finding in findings} == {"my flask.xlsx"}, lines
    assert all(finding.place.startswith("sheet calibration of ware") for finding in findings), lines
    assert "toml" not in lines


def test_an_entry_that_is_needed_and_empty(desk: Desk) -> None:
    entry(desk, "item").value = None
    entry(desk, "humidity: half width").value = None
    findings = refused(desk)
    assert {finding.place.partition(" (")[0] for finding in findings} >= {"sheet calibration of ware, entry item"}


def test_all_defects_at_once(desk: Desk) -> None:
    entry(desk, "material").value = "window glass"
    entry(desk, "weighings", 2).value = "99.7 mL"
    assert len(refused(desk)) == 2


@pytest.mark.parametrize("change", ["table renamed", "headings lost", "second table", "unknown entry"])
def test_altered_structure_is_told(desk: Desk, change: str) -> None:
    sheet, head = desk.head(TABLE)
    if change == "table renamed":
        sheet["A1"] = "calibraton of ware"
    elif change == "headings lost":
        sheet.delete_rows(head)
    elif change == "second table":
        desk.book.copy_worksheet(sheet)
    else:
        sheet.cell(entry(desk, "who").row, 2).value = "whom"
    assert refused(desk)


def test_a_run_is_asked_for_elsewhere(tmp_path: Path) -> None:
    """The workbook given to a command for runs."""
    run("start", ".", "--ware", "--workbook", folder=tmp_path)
    done = run("evaluate", "ware-calibration.xlsx", folder=tmp_path)
    assert done.status == 2
    assert "ubudget ware" in done.err and len(done.err.splitlines()) == 1


def test_the_shipped_one_is_what_the_command_makes(tmp_path: Path) -> None:
    assert run("start", ".", "--ware", "--workbook", folder=tmp_path).status == 0
    assert cells(WARE_TEMPLATE.read_bytes()) == cells((tmp_path / WARE_TEMPLATE.name).read_bytes()), MAKE
