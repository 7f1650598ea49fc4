"""A number without unit beside results in mg/kg: mg/kg is a number too, and a million times as much is not meant."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ubudget.cli import app
from ubudget.files.reading import read_records
from ubudget.quantity.units import UnitError, convert

HARBOUR = Path(__file__).parents[2] / "worked_examples" / "harbour_sediment"
FILES = ("run.toml", "samples.csv", "solutions.csv", "readings.csv", "register.toml", "method.toml")
LIMIT = """
[[tolerance_limit]]
name = "a"
analyte = "Cu"
upper = "100"
basis = "dry mass"
rule = "simple acceptance"
source = "invented"
agreed_by = "all"
"""
ROUTE = (
    "\n[validation]\nreported = false\nreview = 2099-01-12\n\n"
    '[[validation.for]]\nanalyte = "Cu"\nu_Rw = "2.6"\ndof_Rw = 31\nu_bias = "2.1 %"\nsource = "invented"\n'
)
FUNCTION = """
[[level_function]]
origin = "declared"
analytes = ["Cu"]
constant = "0.5"
relative = "2 %"
from = "10 mg/kg"
to = "90 mg/kg"
"""
LIMITS = """
[[detection_limit]]
analyte = "Cu"
decision = "10"
detection = "20"
quantification = "40"
source = "invented"
"""


def found_with(folder: Path, name: str, old: str, new: str) -> list[str]:
    for file in FILES:
        text = (HARBOUR / file).read_text("utf-8")
        if file == name:
            assert old in text
            text = text.replace(old, new, 1) if old else text + new
        (folder / file).write_text(text, encoding="utf-8")
    records, findings = read_records(folder)
    if records is not None:
        from ubudget.evaluation.evaluate import evaluate

        findings = [*findings, *evaluate(records)[1]]
    return [finding.line() for finding in findings if finding.severity == "stop"]


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("method.toml", 'constant = "0.4 mg/kg"', 'constant = "0.4"'),
        ("method.toml", "", ROUTE),
        ("method.toml", "", FUNCTION),
        ("method.toml", "", LIMITS),
    ],
    ids=["precision", "validation", "level function", "detection limit"],
)
def test_records(name: str, old: str, new: str, tmp_path: Path) -> None:
    lines = found_with(tmp_path, name, old, new)
    assert lines and all("method.toml" in line for line in lines)
    assert any("mg/kg" in line.partition("accepted:")[2] for line in lines), lines


def test_a_certified_value_is_not_compared_in_silence(tmp_path: Path) -> None:
    assert not found_with(tmp_path, "register.toml", 'value = "84.6 mg/kg"', 'value = "84.6"')
    done = CliRunner().invoke(app, ["evaluate", str(tmp_path)])
    line = " ".join(done.output.split())
    assert "register.toml: reference_material RM-SED, Cu, value: found 84.6 without unit" in line and "mg/kg" in line
    assert done.exit_code == 1


def test_a_limit_states_nothing(tmp_path: Path) -> None:
    assert not found_with(tmp_path, "method.toml", "", LIMIT)
    done = CliRunner().invoke(app, ["decide", str(tmp_path), "--json", "-"])
    decisions = [one for each in json.loads(done.stdout)["results"] for one in each["decisions"]]
    assert done.exit_code == 1 and decisions
    assert {one["decision"] for one in decisions} == {"no statement possible"}
    assert all("unit" in one["reason"] for one in decisions)


@pytest.mark.parametrize("option", ["--U", "--sigma"])
def test_options(option: str) -> None:
    words = {"--U": ["--value", "46 mg/kg", "--U", "3", "--k", "2"]}.get(
        option, ["--value", "46 mg/kg", "--u", "1 mg/kg", "--sigma", "2"]
    )
    done = CliRunner().invoke(app, ["scores", str(HARBOUR), "--result", "SED-05/Pb/220.353", *words])
    assert done.exit_code == 2 and option in done.stderr and "mg/kg" in done.stderr and done.stderr.count("\n") == 1


def test_conversion() -> None:
    with pytest.raises(UnitError, match="a number without unit; accepted: a number with a unit that converts to mg/kg"):
        convert(0.4, "", "mg/kg")
    assert convert(0.0, "", "mg/kg") == 0 and convert(0.4, "1", "mg/kg") == 400_000
    assert convert(0.4, "", "%") == 40 and convert(0.4, "", "g/g") == 0.4
