"""The command `detection`: limits of a run, and a method detection limit from a plain table."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands.running import run, widest
from tests.low_levels.low_runs import zinc_run

# Berthouex and Brown, Statistics for Environmental Engineers, 2nd edition, example 14.1: MDL 1.0 µg/L.
SPIKES = (2.5, 2.7, 2.2, 2.2, 3.1, 2.6, 2.8)


def table(folder: Path, blanks: tuple[str, ...], heading: str = "kind,result [µg/L]") -> Path:
    path = folder / "set.csv"
    rows = [heading, *(f"spike,{value}" for value in SPIKES), *(f"blank,{blank}" for blank in blanks)]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_limits_of_a_run(tmp_path: Path) -> None:
    zinc_run(tmp_path / "run")
    done = run("detection", "run", folder=tmp_path)
    assert done.status == 0 and widest(done.out) <= 80
    for part in ("Validated limits", "this run shows", "Limits scaled", "not detected at", "514", "independent"):
        assert part in " ".join(done.out.split()), part
    told = json.loads(run("detection", "run", "--json", "-", folder=tmp_path).out)
    assert [one["source"] for one in told["run"]] == ["blanks", "calibration"]
    assert told["validated"][0]["quantification_limit"] == "120 mg/kg"
    assert told["samples"][0]["reported_as"] == "not detected at 514"
    first = told["run"][1]
    # The non-central t lies below the sum of two t at 0.05 (IUPAC 1995: 4.07 beside 4.26 for four degrees of freedom).
    assert first["decision_limit"] < first["detection_limit"] < first["detection_limit_sum_of_t"]


def test_the_derivation_ends_with_the_limits(tmp_path: Path) -> None:
    zinc_run(tmp_path / "run")
    done = run("explain", "run", "--result", "SED-01/Zn", folder=tmp_path)
    assert widest(done.out) <= 80
    limits = done.out[done.out.index("8  Limits near zero") :]
    # 10 (0.5 g/0.5022 g)·100/(100 - 3.1), times 120 mg/kg.
    for part in ("scale = abs(∂w/∂c/nominal ∂w/∂c)", "= 10.27471", "= 120·10.27471", "= 1232.965 mg/kg"):
        assert part in limits


def test_method_detection_limit_of_a_table(tmp_path: Path) -> None:
    done = run("detection", "--mdl", table(tmp_path, ("0.1", "nd", "0.3", "", "0.2", "0.1", "0.2")), folder=tmp_path)
    assert done.status == 0 and "method detection limit 1.02 µg/L" in done.out and widest(done.out) <= 80
    (told,) = json.loads(run("detection", "--mdl", tmp_path / "set.csv", "--json", "-", folder=tmp_path).out)
    assert (round(told["method_detection_limit"], 1), told["from_blanks"]) == (1.0, 0.3)


@pytest.mark.parametrize(
    ("blanks", "heading", "words"),
    [
        (("0.1",) * 3, "kind,result", "set.csv: blanks: found 3"),
        (("0,1",) * 7, "kind,result", "row"),
        (("x",) * 7, "kind,result", "the result x"),
        (("0.1",) * 7, "sort,result", "no kind"),
    ],
)
def test_bad_tables_are_told(blanks: tuple[str, ...], heading: str, words: str, tmp_path: Path) -> None:
    done = run("detection", "--mdl", table(tmp_path, blanks, heading), folder=tmp_path)
    assert done.status == 2 and words in done.err and "Traceback" not in done.err


def test_a_run_or_a_table_is_asked_for(tmp_path: Path) -> None:
    assert run("detection", folder=tmp_path).status == 2
    assert run("detection", "run", "--mdl", "set.csv", folder=tmp_path).status == 2
    assert run("detection", "--mdl", "missing.csv", folder=tmp_path).status == 2
