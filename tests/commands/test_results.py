"""`evaluate`, `workbook`, `explain` and `statement` through the real entry point."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.commands.running import ROOT, python_apart, run, run_apart, widest
from ubudget.files.shipped import shipped_folder

EXAMPLE = shipped_folder("worked_examples") / "harbour_sediment"
PUBLISHED = shipped_folder("worked_examples") / "published"


@pytest.fixture
def flagged(tmp_path: Path) -> Path:
    """A copy of the example in which one result has no reading left and one lies above the top standard."""
    folder = tmp_path / "flagged"
    folder.mkdir()
    for file in EXAMPLE.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    readings = (folder / "readings.csv").read_text(encoding="utf-8")
    readings = readings.replace("SED-06,Cu,324.754,46382,47153,46739", "SED-06,Cu,324.754,246382,247153,246739")
    (folder / "readings.csv").write_text(readings, encoding="utf-8")
    with (folder / "run.toml").open("a", encoding="utf-8", newline="\n") as file:
        file.write(
            '\n[[amendment]]\nact = "exclude solution"\nsolution = "SED-01"\nanalyte = "Cu"\nline = "324.754"\n'
            'reason = "bubbles"\nwho = "analyst 2"\nwhen = 2026-03-18\n'
        )
    return folder


def test_evaluate_prints_a_table_within_80_columns(tmp_path: Path) -> None:
    done = run("evaluate", EXAMPLE, folder=tmp_path)
    assert (done.status, done.err) == (0, "")
    table, _, after = done.out.partition("\n\n")
    assert widest(table) <= 80
    assert len(table.splitlines()) == 2 + 52
    assert "95.45 %" in after


def test_json_to_standard_output_is_nothing_else(flagged: Path, tmp_path: Path) -> None:
    done = run_apart("evaluate", flagged, "--json", "-", folder=tmp_path)
    assert done.status == 1
    told = json.loads(done.out)
    assert told.keys() == {"method", "run", "findings", "results"}
    results = {(result["sample"], result["line"]): result for result in told["results"]}
    missing = results["SED-01", "324.754"]
    assert missing["value"] is None and missing["flags"] and missing["budget"] == []
    assert "not available" in missing["statement"]
    assert any("above the highest standard" in flag for flag in results["SED-06", "324.754"]["flags"])


def test_json_holds_the_contract_and_unrounded_numbers(tmp_path: Path) -> None:
    done = run("evaluate", EXAMPLE, "--json", "-", folder=tmp_path)
    assert done.faults == ""
    told = json.loads(done.out)
    assert told["method"]["id"] == "M-SED-03"
    assert told["run"]["id"] == "SED-2026-0317"
    assert len(told["run"]["fingerprint"]) == 64
    for result in told["results"]:
        assert list(result) == [
            "sample", "analyte", "line", "value", "unit", "measurand", "basis", "standard_uncertainty",
            "effective_degrees_of_freedom", "coverage_factor", "coverage_probability", "expanded_uncertainty",
            "reported_value", "reported_expanded_uncertainty", "statement", "flags", "budget",
            "coverage_distribution", "coverage_interval", "second_order_standard_uncertainty",
        ]  # fmt: skip
        for row in result["budget"]:
            assert list(row) == [
                "symbol", "quantity", "group", "estimate", "unit", "standard_uncertainty", "evaluation",
                "distribution", "degrees_of_freedom", "sensitivity_coefficient", "contribution", "share", "source",
            ]  # fmt: skip
            # GUM 5.1.3: contribution = c u; JSON carries all digits of both.
            product = row["sensitivity_coefficient"] * row["standard_uncertainty"]
            assert row["contribution"] == pytest.approx(product, rel=1e-12, abs=1e-300)
        assert sum(row["share"] for row in result["budget"]) == pytest.approx(1, abs=1e-9)


def test_a_method_alone_is_its_own_sample(tmp_path: Path) -> None:
    told = json.loads(run("evaluate", PUBLISHED / "gum_h1.toml", "--json", "-", folder=tmp_path).out)
    assert told["run"] is None
    (result,) = told["results"]
    assert (result["sample"], result["line"]) == ("GUM-H1", None)
    assert result["analyte"] == result["measurand"]
    # JCGM 100:2008 H.1.7: 50.000838 mm, 16 effective degrees of freedom.
    assert result["value"] == pytest.approx(50_000_838, abs=0.5)
    assert int(result["effective_degrees_of_freedom"]) == 16


def test_csv_has_one_row_a_result_and_is_utf_8(tmp_path: Path) -> None:
    done = run_apart("evaluate", EXAMPLE, "--csv", "-", folder=tmp_path, PYTHONIOENCODING="ascii")
    rows = list(csv.DictReader(io.StringIO(done.out)))
    assert len(rows) == 52
    assert rows[0]["unit"] == "mg/kg" and "±" in rows[0]["statement"]


def test_files_are_written_and_not_replaced_unasked(tmp_path: Path) -> None:
    first = run("evaluate", EXAMPLE, "--json", "out.json", "--csv", "out.csv", folder=tmp_path)
    assert first.status == 0
    assert len(json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))["results"]) == 52
    (tmp_path / "out.json").write_text("mine", encoding="utf-8")
    (tmp_path / "out.csv").unlink()
    second = run("evaluate", EXAMPLE, "--csv", "out.csv", "--json", "out.json", folder=tmp_path)
    assert (second.status, second.out) == (2, "")
    assert "out.json" in second.err
    assert not (tmp_path / "out.csv").exists(), "nothing is written where one file is refused"
    assert run("evaluate", EXAMPLE, "--json", "out.json", "--force", folder=tmp_path).status == 0


def test_two_texts_cannot_share_standard_output(tmp_path: Path) -> None:
    done = run("evaluate", EXAMPLE, "--json", "-", "--csv", "-", folder=tmp_path)
    assert (done.status, done.out) == (2, "")


def test_unusable_input_is_one_line_for_each_finding(tmp_path: Path) -> None:
    broken = tmp_path / "broken"
    broken.mkdir()
    for file in EXAMPLE.iterdir():
        (broken / file.name).write_bytes(file.read_bytes())
    method = (broken / "method.toml").read_text(encoding="utf-8")
    method = method.replace('half_range = "4 K"', 'half_range = "4 mL"').replace('curve = "line"', 'curve = "spline"')
    (broken / "method.toml").write_text(method, encoding="utf-8")
    commands = (("evaluate", broken, "--json", "out.json"), ("workbook", broken, "out.xlsx"), ("statement", broken))
    for words in commands:
        # One in a process of its own, where a fault of the program would show its traceback.
        done = (run_apart if words is commands[0] else run)(*words, folder=tmp_path)
        assert (done.status, done.out) == (2, ""), words
        assert "Traceback" not in done.err
        assert "spline" in done.err
        assert all(line.startswith(("stop: ", "attend: ", "note: ")) for line in done.err.splitlines())
    assert [path.name for path in tmp_path.iterdir()] == ["broken"]


@pytest.mark.parametrize("words", [("evaluate", "nowhere"), ("explain", "nowhere", "--result", "a/b"), ("evaluate",)])
def test_a_missing_run_is_unusable(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = run(*words, folder=tmp_path)
    assert (done.status, done.out) == (2, "")
    assert "Traceback" not in done.err


def test_flags_are_told_in_words(flagged: Path, tmp_path: Path) -> None:
    done = run("evaluate", flagged, folder=tmp_path)
    assert done.status == 1
    assert "no reading left" in done.out and "above the highest standard" in done.out
    assert "not available" in done.out
    assert widest(done.out.partition("next ")[0]) <= 80
    assert run("explain", flagged, "--result", "SED-01/Cu/324.754", folder=tmp_path).status == 1
    assert run("explain", flagged, "--result", "SED-02/Cu/324.754", folder=tmp_path).status == 0


def test_workbook_is_written_once(tmp_path: Path) -> None:
    first = run("workbook", EXAMPLE, "out.xlsx", folder=tmp_path)
    assert first.status == 0, first.err
    assert zipfile.is_zipfile(tmp_path / "out.xlsx")
    content = (tmp_path / "out.xlsx").read_bytes()
    assert run("workbook", EXAMPLE, "out.xlsx", folder=tmp_path).status == 2
    assert run("workbook", EXAMPLE, "out.xlsx", "--force", folder=tmp_path).status == 0
    assert (tmp_path / "out.xlsx").read_bytes() == content, "the same run gives the same bytes"
    assert run("workbook", EXAMPLE, "out.pdf", folder=tmp_path).status == 2


def test_a_folder_that_may_not_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    # A closed folder would not stop a superuser; what the system says is the same.
    monkeypatch.setattr(os, "replace", refuse)
    for words in (("workbook", EXAMPLE, "out.xlsx"), ("evaluate", EXAMPLE, "--json", "out.json"), ("demo",)):
        done = run(*words, folder=tmp_path)
        assert (done.status, done.out, len(done.err.splitlines())) == (2, "", 1)
        assert "Permission denied" in done.err


@pytest.mark.parametrize(
    "words", [("workbook", EXAMPLE, "no/folder/out.xlsx"), ("evaluate", EXAMPLE, "--json", "no/x")]
)
def test_a_folder_that_is_not_there(tmp_path: Path, words: tuple[str | Path, ...]) -> None:
    done = run(*words, folder=tmp_path)
    assert (done.status, done.out, len(done.err.splitlines())) == (2, "", 1)
    assert "cannot be written" in done.err


def test_explain_finds_the_result_by_label_or_by_names(tmp_path: Path) -> None:
    by_label = run("explain", EXAMPLE, "--result", "SED-07/Zn", folder=tmp_path)
    by_names = run("explain", EXAMPLE, "--sample", "SED-07", "--analyte", "Zn", "--line", "213.857", folder=tmp_path)
    assert by_label == by_names
    assert by_label.status == 0
    assert widest(by_label.out) <= 80


def test_explain_begins_with_a_summary_and_stops_there_when_asked(tmp_path: Path) -> None:
    full = run("explain", EXAMPLE, "--result", "SED-07/Zn", folder=tmp_path)
    short = run("explain", EXAMPLE, "--result", "SED-07/Zn", "--short", folder=tmp_path)
    assert short.status == full.status == 0
    assert full.out.startswith(short.out.rstrip()) and len(short.out.splitlines()) <= 24
    assert "(1307 ± 72) mg/kg" in short.out


def test_explain_needs_no_label_for_a_single_result(tmp_path: Path) -> None:
    assert run("explain", PUBLISHED / "gum_h1.toml", folder=tmp_path).status == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--result", "SED-1/Cu/324.754"), "SED-01/Cu/324.754"),
        (("--result", "SED-01/Cu"), "SED-01/Cu/327.396"),
        (("--sample", "nobody"), "no such result"),
        ((), "52 results"),
        (("--result", "SED-01/Cu", "--line", "1"), "--result"),
    ],
)
def test_an_unknown_result_lists_the_nearest(tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    done = run("explain", EXAMPLE, *words, folder=tmp_path)
    assert (done.status, done.out) == (2, "")
    assert told in done.err


def test_statement_says_what_is_included_and_what_is_not(tmp_path: Path) -> None:
    done = run("statement", EXAMPLE, folder=tmp_path)
    assert done.status == 0
    assert widest(done.out) <= 80
    assert "sampling" in " ".join(done.out.split())
    told = json.loads(run("statement", EXAMPLE, "--json", folder=tmp_path).out)
    assert len(told) == 52 and all("sampling" in entry["statement"] for entry in told)


@pytest.mark.parametrize(
    "environment",
    [{"PYTHONIOENCODING": "ascii"}, {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"}],
)
def test_signs_that_a_terminal_lacks_stop_nothing(tmp_path: Path, environment: dict[str, str]) -> None:
    commands = [[*words, str(EXAMPLE)] for words in (["evaluate"], ["explain", "--result", "SED-02/Zn"], ["statement"])]
    # The program's entry point for each in turn, in one process with such a terminal.
    text = f"""
import sys
from ubudget.cli import main
for words in {commands!r}:
    sys.argv = ["ubudget", *words]
    try:
        main()
    except SystemExit as end:
        assert not end.code, (words, end.code)
"""
    done = python_apart("-c", text, folder=tmp_path, **environment)
    assert (done.status, done.faults) == (0, "")
    assert done.out.count("SED-02") > 3


def test_version_and_help(tmp_path: Path) -> None:
    from ubudget import __version__

    assert run("--version", folder=tmp_path).out == f"ubudget {__version__}\n"
    assert run_apart("--help", folder=tmp_path).status == 0
    assert run_apart("nonsense", folder=tmp_path).status == 2


def test_help_loads_no_package_of_numbers(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "ubudget", "--help"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    loaded = {line.split("|")[-1].strip().partition(".")[0] for line in done.stderr.splitlines()}
    assert not loaded & {"numpy", "scipy", "pandas", "openpyxl", "pydantic", "pint", "uncertainties"}


@pytest.mark.skipif(os.name != "posix", reason="pipes close differently elsewhere")
def test_a_closed_pipe_is_quiet(tmp_path: Path) -> None:
    command = subprocess.Popen(
        [sys.executable, "-m", "ubudget", "explain", str(EXAMPLE), "--result", "SED-02/Zn"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert command.stdout is not None and command.stderr is not None
    command.stdout.close()
    told = command.stderr.read()
    command.stderr.close()
    command.wait(timeout=60)
    assert told == b""


@pytest.mark.usefixtures("ctrl_c_as_in_a_terminal")
def test_an_interruption_is_said_in_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    from typer.testing import CliRunner

    from ubudget import cli

    def interrupted(run: Path) -> None:
        signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(cli, "evaluated", interrupted)
    done = CliRunner().invoke(cli.app, ["evaluate", str(EXAMPLE)])
    assert done.exit_code == 130
    assert done.stdout == ""


def test_a_fault_of_the_program_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    from typer.testing import CliRunner

    from ubudget import cli

    def faulty(run: Path) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(cli, "evaluated", faulty)
    assert isinstance(CliRunner().invoke(cli.app, ["evaluate", str(EXAMPLE)]).exception, ZeroDivisionError)
