"""`ubudget simulate` as a person uses it: figures beside each other, JSON, exit status, calls that cannot be."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands.running import ROOT, run, widest

ADDITIVE = """
[method]
id = "M"
title = "Sum of four quantities"
version = "1"
status = "approved"
measurand = "sum"
unit = "1"
equation = "y = a + b + c + d"

[coverage]
probability = 0.95
"""
SYMBOL = """
[symbols.{name}]
operation = "input"
quantity = "one of the four"
estimate = {estimate}
half_width = {half_width}
distribution = "rectangular"
source = "invented"
"""


def method(folder: Path, *half_widths: float, more: str = "") -> Path:
    symbols = [
        SYMBOL.format(name=name, estimate=10, half_width=f"{half_width:.12g}")
        for name, half_width in zip("abcd", half_widths, strict=True)
    ]
    path = folder / "method.toml"
    path.write_text(ADDITIVE + "".join(symbols) + more, "utf-8")
    return path


def test_an_accepted_result(tmp_path: Path) -> None:
    """JCGM 101:2008, 9.2.3 about 40: u = 2.0 and 36.12 to 43.88, first order 36.08 to 43.92."""
    path = method(tmp_path, *[3**0.5] * 4)
    done = run("simulate", path, folder=tmp_path)
    assert done.status == 0, done.err
    assert done.err == ""
    assert "36.1 to 43.9" in done.out
    assert "is accepted" in done.out
    assert widest(done.out) <= 80


def test_a_result_that_needs_the_simulation(tmp_path: Path) -> None:
    """9.2.4 about 40: 23.0 to 57.0 where the first order says 20.1 to 59.9."""
    path = method(tmp_path, *[3**0.5] * 3, 10 * 3**0.5)
    done = run("simulate", path, "--json", "found.json", folder=tmp_path)
    assert done.status == 1
    assert "The simulated interval is needed for M/sum" in done.out
    told = json.loads((tmp_path / "found.json").read_text("utf-8"))
    evaluated = run("evaluate", path, "--json", "-", folder=tmp_path)
    (result,) = told["results"]
    found = result.pop("simulation")
    assert told == json.loads(evaluated.out)
    assert found["seed"] == 101 and found["stable"] is True and found["reason"] == ""
    assert found["interval_kind"] == "symmetric"
    assert found["value"] == pytest.approx(40, abs=0.5)
    assert found["standard_uncertainty"] == pytest.approx(10.149, abs=0.5)
    assert found["interval"] == pytest.approx([22.984, 57.016], abs=0.5)
    assert found["first_order_interval"] == pytest.approx([40 - 19.8915, 40 + 19.8915], abs=1e-3)
    assert (found["tolerance"], found["first_order_valid"]) == (0.5, False)
    again = run("simulate", path, "--json", "-", folder=tmp_path)
    assert json.loads(again.out) == {**told, "results": [{**result, "simulation": found}]}


def test_a_fixed_number_of_the_method_and_of_the_call(tmp_path: Path) -> None:
    rule = '\n[simulation]\ntrials = 20000\nseed = 7\ninterval = "shortest"\n'
    path = method(tmp_path, *[3**0.5] * 4, more=rule)
    found = [
        json.loads(run("simulate", path, *options, "--json", "-", folder=tmp_path).out)["results"][0]["simulation"]
        for options in ((), ("--trials", 30000, "--seed", 0, "--interval", "symmetric"), ("--digits", 1))
    ]
    assert [(one["trials"], one["seed"], one["interval_kind"]) for one in found] == [
        (20000, 7, "shortest"),
        (30000, 0, "symmetric"),
        (100000, 7, "shortest"),
    ]


def test_one_result_of_a_run(tmp_path: Path) -> None:
    demo = ROOT / "worked_examples" / "harbour_sediment"
    options = ("--result", "SED-01/Zn", "--trials", 5000, "--json", "-")
    (result,) = json.loads(run("simulate", demo, *options, folder=tmp_path).out)["results"]
    assert (result["sample"], result["analyte"], result["simulation"]["trials"]) == ("SED-01", "Zn", 5000)
    assert result["simulation"]["value"] == pytest.approx(result["value"], abs=0.1 * result["standard_uncertainty"])


@pytest.mark.parametrize(
    "options",
    [
        ("--probability", "1"),
        ("--probability", "0"),
        ("--probability", "nan"),
        ("--trials", "0"),
        ("--trials", "-4"),
        ("--trials", "50"),
        ("--trials", "100000000000"),
        ("--seed", "-1"),
        ("--digits", "3"),
        ("--digits", "0"),
        ("--memory", "0"),
        ("--interval", "widest"),
        ("--result", "nothing"),
    ],
)
def test_calls_that_cannot_be(tmp_path: Path, options: tuple[str, str]) -> None:
    path = method(tmp_path, *[3**0.5] * 4)
    done = run("simulate", path, *options, "--json", "found.json", folder=tmp_path)
    assert done.status == 2
    assert len(done.err.splitlines()) == 1 and "accepted:" in done.err
    assert done.out == ""
    assert not (tmp_path / "found.json").exists()


def test_trials_or_digits(tmp_path: Path) -> None:
    path = method(tmp_path, *[3**0.5] * 4)
    done = run("simulate", path, "--trials", "9000", "--digits", "1", folder=tmp_path)
    assert done.status == 2
    assert "give one of them" in done.err


@pytest.mark.parametrize(
    ("rule", "told"),
    [
        ("seed = -1", "seed"),
        ("trials = 0", "trials"),
        ("digits = 3", "digits"),
        ("trials = 10000\ndigits = 1", "trials and digits together; accepted: one of them"),
        ('interval = "widest"', "interval"),
        ("probability = 0.9", "probability"),
    ],
)
def test_rules_of_a_method_that_cannot_be(tmp_path: Path, rule: str, told: str) -> None:
    path = method(tmp_path, *[3**0.5] * 4, more=f"\n[simulation]\n{rule}\n")
    done = run("simulate", path, folder=tmp_path)
    assert done.status == 2
    assert len(done.err.splitlines()) == 1 and "method.toml" in done.err and told in done.err


def test_a_method_whose_trials_are_too_few(tmp_path: Path) -> None:
    path = method(tmp_path, *[3**0.5] * 4, more="\n[simulation]\ntrials = 20\n")
    done = run("simulate", path, folder=tmp_path)
    assert done.status == 2
    assert len(done.err.splitlines()) == 1 and "found 20 trials; accepted: 200 or more" in done.err


def test_an_equation_without_value_in_some_trials(tmp_path: Path) -> None:
    """The logarithm of a rectangular quantity from -0.1 to 20.1 has no value in 0.5 % of the trials."""
    path = method(tmp_path, 10.1, 1.0, 1.0, 1.0)
    path.write_text(path.read_text("utf-8").replace("y = a + b + c + d", "y = ln(a)*b/(c*d)"), "utf-8")
    done = run("simulate", path, "--json", "-", folder=tmp_path)
    assert done.status == 1
    found = json.loads(done.out)["results"][0]["simulation"]
    assert found["interval"] is None and found["value"] is None and found["standard_uncertainty"] is None
    assert found["first_order_valid"] is False
    assert "trials without a value" in found["reason"]
