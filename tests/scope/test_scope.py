"""A method over levels: against the run itself, by hand, against Horwitz's table; workbook, files, bad input."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ubudget.cli import app
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.scoping import scope
from ubudget.files.verbs import evaluate, read_run

WORKED = Path(__file__).parents[2] / "worked_examples"
HARBOUR = WORKED / "harbour_sediment"
ALONE = """
[method]
id = "S"
title = "a sum"
version = "1"
status = "approved"
measurand = "mass fraction"
unit = "mg/kg"
equation = "w = x*(1 + r) + d"

[symbols.x]
operation = "input"
quantity = "level"
unit = "mg/kg"
estimate = "10 mg/kg"
exact = true

[symbols.r]
operation = "input"
quantity = "relative part"
estimate = 0
u = 0.03
group = "relative"

[symbols.d]
operation = "input"
quantity = "constant part"
unit = "mg/kg"
estimate = "0 mg/kg"
u = "0.4 mg/kg"
group = "constant"

[coverage]
rule = "fixed"
k = 2
"""


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["scope", *words])
    return result.exit_code, result.stdout, result.stderr


@pytest.mark.parametrize("name", ["harbour_sediment", "river_manganese", "gearbox_oil", "well_arsenic"])
def test_at_the_level_of_a_sample_it_is_the_result_of_the_sample(name: str) -> None:
    """The run of the levels at the value of its own specimen gives u, ν and U of that result; corrections included."""
    evaluation: Evaluation = evaluate(read_run(WORKED / name))
    made = scope(WORKED / name)
    assert made.levels is not None
    for one in made.scopes[:2]:
        analyte, _, line = one.label.partition(" ")
        own = next(
            result
            for result in evaluation.results
            if (result.analyte, result.line) == (analyte, line) and not result.sample.startswith(("RM", "CRM"))
        )
        (at_own,) = [
            found
            for found in scope(WORKED / name, f"{own.value:.12g}", sample=own.sample, analytes=[analyte]).scopes
            if found.label == one.label
        ]
        assert own.standard_uncertainty is not None and own.expanded_uncertainty is not None
        assert at_own.points[0].u == pytest.approx(own.standard_uncertainty, rel=1e-6)
        assert pytest.approx(own.expanded_uncertainty, rel=1e-6) == at_own.points[0].U


def test_a_method_alone_by_hand(tmp_path: Path) -> None:
    """U = 2 √(0.4² + (0.03 x)²); the function of the level gives both parts back (QUAM, E.5)."""
    (tmp_path / "m.toml").write_text(ALONE, encoding="utf-8")
    levels = [1.0, 5.0, 10.0, 50.0, 100.0]
    (found,) = scope(tmp_path / "m.toml", ", ".join(map(str, levels)), vary="x").scopes
    for level, point in zip(levels, found.points, strict=True):
        assert pytest.approx(2 * math.hypot(0.4, 0.03 * level), rel=1e-12) == point.U
        assert point.dominating == ("constant" if 0.03 * level < 0.4 else "relative")
    assert found.function is not None
    assert (found.function.constant, found.function.relative) == pytest.approx((0.4, 0.03), rel=1e-9)
    assert found.smallest is found.points[0] and found.smallest_relative is found.points[-1]


@pytest.mark.parametrize(("level", "percent"), [("1 mg/kg", 16.0), ("100 mg/kg", 8.0), ("0.05 mg/kg", 22.0)])
def test_expected_reproducibility(level: str, percent: float, tmp_path: Path) -> None:
    """Printed values of Horwitz's function (AOAC) and Thompson's end below 0.12 mg/kg (Analyst 125 (2000) 385)."""
    (tmp_path / "m.toml").write_text(ALONE, encoding="utf-8")
    (found,) = scope(tmp_path / "m.toml", level, vary="x").scopes
    expected = found.points[0].expected
    assert expected is not None
    assert 100 * expected / found.points[0].level == pytest.approx(percent, rel=1e-3)


def test_what_is_out_of_range_holds_nowhere() -> None:
    (found,) = scope(HARBOUR, "1, 20, 2000 mg/kg", analytes=["Pb"]).scopes
    assert [point.holds for point in found.points] == [True, True, False]
    assert "above the highest standard" in found.points[2].remarks
    assert found.function is None


def test_command_and_files(tmp_path: Path) -> None:
    files = {name: tmp_path / f"s.{name}" for name in ("json", "csv", "xlsx")}
    code, out, _ = run(
        *(str(HARBOUR), "--analyte", "Zn", "--number", "5", "--json", str(files["json"]), "--csv", str(files["csv"])),
        *("--workbook", str(files["xlsx"]), "--pictures", str(tmp_path / "drawn")),
    )
    # At the lowest level the relative target is missed.
    assert code == 1 and max(map(len, out.splitlines())) <= 80
    (one,) = json.loads(files["json"].read_text("utf-8"))
    with files["csv"].open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["U"]) for row in rows] == [point["expanded_uncertainty"] for point in one["points"]]
    assert (tmp_path / "drawn" / "Zn-213.857.svg").read_text("utf-8").count('r="3"') == 5
    # The workbook is one of a run: read back it gives the same U, live by the tests of all workbooks.
    again = evaluate(read_run(files["xlsx"]))
    read = [result.expanded_uncertainty for result in again.results if result.analyte == "Zn"]
    assert read == pytest.approx([point["expanded_uncertainty"] for point in one["points"]], rel=1e-12)
    assert "target" in out and "met" in out


def test_a_label_stays_text(tmp_path: Path) -> None:
    """A spreadsheet program would take `=cmd` for a formula (OWASP, CSV injection)."""
    (tmp_path / "method.toml").write_text(ALONE.replace('"mass fraction"', '"=cmd"'), encoding="utf-8")
    code, _, _ = run(
        *(str(tmp_path / "method.toml"), "--vary", "x", "--levels", "10, 20"), *("--csv", str(tmp_path / "s.csv"))
    )
    with (tmp_path / "s.csv").open(encoding="utf-8") as file:
        assert code == 0 and {row["line"] for row in csv.DictReader(file)} == {"'=cmd"}


def test_a_missed_target_is_told(tmp_path: Path) -> None:
    code, out, _ = run(str(HARBOUR), "--levels", "10, 100", "--analyte", "Pb")
    assert code == 1 and "missed" in out


def test_nothing_is_claimed_where_the_target_is_missed() -> None:
    (one,) = scope(HARBOUR, number=8, analytes=["Zn"]).scopes
    missed = [point for point in one.points if point.target is not None and point.target < point.U]
    assert missed and one.smallest is not None and one.smallest.level > max(point.level for point in missed)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([str(HARBOUR), "--levels", "ten"], "--levels: found 'ten'"),
        ([str(HARBOUR), "--levels", "1 mg/L"], "converts to mg/kg"),
        ([str(HARBOUR), "--analyte", "Xx"], "--analyte: found Xx; accepted: Cu, Zn, Pb"),
        ([str(HARBOUR), "--sample", "SED-99"], "sample SED-99"),
        ([str(HARBOUR), "--number", "1"], "--number: found 1"),
        ([str(HARBOUR), "--vary", "m"], "--vary: found a run"),
        ([str(WORKED / "published" / "gum_h1.toml")], "found no --vary or no --levels"),
        ([str(WORKED / "published" / "gum_h1.toml"), "--vary", "q", "--levels", "1"], "found no such input"),
        ([str(WORKED / "spring_copper")], "no calibration curve that says a range"),
        ([str(HARBOUR), "--workbook", "x.csv"], "ends with .xlsx"),
    ],
)
def test_bad_input(words: list[str], told: str) -> None:
    code, out, err = run(*words)
    assert (code, out) == (2, "") and told in err and "Traceback" not in err
