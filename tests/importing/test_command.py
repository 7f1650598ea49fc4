"""The command `import` as a person uses it: report, exit status, files written whole or not at all, suggestion."""

from __future__ import annotations

import hashlib
import json
import tomllib
from pathlib import Path

import pytest

from tests.commands.running import run, widest
from tests.importing.corpus import EXPORTS, GOOD, mapping_text
from tests.importing.import_runs import write_calibrated
from ubudget.files import atomic
from ubudget.files.reading import read_records

CASES = {case.file: case for case in GOOD}


def prepared(folder: Path, file: str) -> Path:
    place = write_calibrated(folder / "run")
    case = CASES[file]
    (place / "mapping.toml").write_text(mapping_text(case.mapping, case.quantity), encoding="utf-8")
    return place


def test_the_report_on_the_terminal(tmp_path: Path) -> None:
    place = prepared(tmp_path, "set_aside_values.csv")
    export = EXPORTS / "set_aside_values.csv"
    done = run("import", export, "--into", place, folder=tmp_path)
    assert done.status == 1, "values above and below limits are to be looked at"
    assert widest(done.out.replace(str(place), "")) <= 80
    for words in (
        hashlib.sha256(export.read_bytes()).hexdigest(),
        "encoding        utf-8",
        "decimal sign    ,",
        "16: 16 taken, 0 set aside",
        "44 taken, 4 set aside",
        "Cu 324.754: c/s, meaning 1/s",
        "line 11 (BL-1 Zn 213.857): value: below a limit, no number, <0,005",
    ):
        assert words in done.out
    assert done.err.count("attend: set_aside_values.csv") == 3


def test_nothing_to_look_at_ends_with_zero(tmp_path: Path) -> None:
    place = prepared(tmp_path, "wide_replicates.csv")
    done = run("import", EXPORTS / "wide_replicates.csv", "--into", place, folder=tmp_path)
    assert (done.status, done.err) == (0, "")


def test_the_report_as_json(tmp_path: Path) -> None:
    place = prepared(tmp_path, "set_aside_values.csv")
    done = run("import", EXPORTS / "set_aside_values.csv", "--into", place, "--json", folder=tmp_path)
    report = json.loads(done.out)
    assert (report["rows"], report["values_taken"], report["encoding"], report["decimal"]) == (16, 44, "utf-8", ",")
    assert [one["row"] for one in report["set_aside"]] == [8, 11, 12, 17]
    assert {finding["severity"] for finding in report["findings"]} == {"attend"}


def test_what_exists_is_replaced_with_force_alone(tmp_path: Path) -> None:
    place = prepared(tmp_path, "excluded_marks.csv")
    (place / "readings.csv").write_text("mine\n", encoding="utf-8")
    before = (place / "run.toml").read_text(encoding="utf-8")
    words = ("import", EXPORTS / "excluded_marks.csv", "--into", place)
    done = run(*words, folder=tmp_path)
    assert done.status == 2 and "exists already" in done.err
    assert (place / "run.toml").read_text(encoding="utf-8") == before
    assert run(*words, "--force", folder=tmp_path).status == 1
    once = (place / "run.toml").read_text(encoding="utf-8")
    assert once.startswith(before.rstrip())
    assert run(*words, "--force", folder=tmp_path).status == 1
    assert (place / "run.toml").read_text(encoding="utf-8") == once, "an import again replaces its own part alone"


def test_a_mark_of_exclusion_wants_the_reason_of_a_person(tmp_path: Path) -> None:
    place = prepared(tmp_path, "excluded_marks.csv")
    run("import", EXPORTS / "excluded_marks.csv", "--into", place, folder=tmp_path)
    records, findings = read_records(place)
    assert records is not None
    told = [finding for finding in findings if finding.place.startswith("exclude_reading")]
    assert [finding.severity for finding in told] == ["attend", "attend"]
    text = (place / "run.toml").read_text(encoding="utf-8")
    assert text.count('reason = "excluded by the operator in the export excluded_marks.csv, line') == 2


def test_the_mapping_is_kept_with_the_run(tmp_path: Path) -> None:
    place = prepared(tmp_path, "wide_replicates.csv")
    other = tmp_path / "other.toml"
    (place / "mapping.toml").rename(other)
    export = EXPORTS / "wide_replicates.csv"
    missing = run("import", export, "--into", place, folder=tmp_path)
    assert missing.status == 2 and "no mapping" in missing.err
    assert run("import", export, "--into", place, "--mapping", other, folder=tmp_path).status == 0
    assert (place / "mapping.toml").read_bytes() == other.read_bytes()


def test_files_are_written_together_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = prepared(tmp_path, "wide_replicates.csv")
    before = {path.name: path.read_bytes() for path in place.iterdir()}
    real, calls = atomic.os.replace, []

    def second_fails(source: Path, target: Path) -> None:
        calls.append(target)
        if len(calls) == 2:
            raise OSError(28, "No space left on device", str(target))
        real(source, target)

    monkeypatch.setattr(atomic.os, "replace", second_fails)
    done = run("import", EXPORTS / "wide_replicates.csv", "--into", place, folder=tmp_path)
    assert done.status == 2 and "No space left" in done.err
    assert {path.name: path.read_bytes() for path in place.iterdir()} == before


@pytest.mark.parametrize("name", ["wide_replicates.csv", "replicates_views.csv", "long_semicolon_comma_mark.csv"])
def test_a_suggestion_completed_by_a_person_reads_the_file(name: str, tmp_path: Path) -> None:
    place = write_calibrated(tmp_path / "run")
    done = run("import", EXPORTS / name, "--into", place, "--suggest", folder=tmp_path)
    assert done.status == 1 and "already_applied" in done.out
    refused = run("import", EXPORTS / name, "--into", place, folder=tmp_path)
    assert refused.status == 2 and "already_applied" in refused.err, "an open mapping is refused"
    file = place / "mapping.toml"
    text = file.read_text(encoding="utf-8")
    document = tomllib.loads(text)
    completed = "already_applied = []\n"
    completed += "" if "quantity" in document else 'quantity = "intensity"\n'
    completed += "" if "unit" in document.get("columns", {}) or "c/s" in done.out else 'unit = "c/s"\n'
    head, bracket, tail = text.partition("[columns]")
    file.write_text(f'{head}{completed}{bracket}{tail}\n[units]\n"c/s" = "1/s"\n', encoding="utf-8")
    again = run("import", EXPORTS / name, "--into", place, folder=tmp_path)
    assert again.status == 0, again.err
    assert "48 taken, 0 set aside" in again.out


APPLIED = {
    "dilution": '[symbols.f]\noperation = "dilution"\nquantity = "factor"\n',
    "weight and volume": '[symbols.V]\noperation = "volume"\nquantity = "volume"\nunit = "mL"\nnominal = "50 mL"\n'
    'tolerance = "0.06 mL"\n',
    "blank": '[symbols.b]\noperation = "blank"\nquantity = "blank"\nunit = "mg/L"\n',
    "calibration blank": '[symbols.b]\noperation = "blank"\nquantity = "blank"\nunit = "mg/L"\nkind = "device"\n',
    "internal standard": '[symbols.c.internal_standard]\nanalyte = "Y"\nline = "371.030"\nadded = "0.5 %"\n',
    "drift": '[symbols.c.drift]\ncheck = "S2"\nresidual = "0.5 %"\n',
}


@pytest.mark.parametrize("step", APPLIED)
def test_what_the_device_applied_is_not_applied_again(step: str, tmp_path: Path) -> None:
    place = write_calibrated(tmp_path / "run", method=APPLIED[step])
    mapping = {**CASES["wide_replicates.csv"].mapping, "already_applied": [step]}
    (place / "mapping.toml").write_text(mapping_text(mapping, "intensity"), encoding="utf-8")
    done = run("import", EXPORTS / "wide_replicates.csv", "--into", place, folder=tmp_path)
    # A dilution factor without a further dilution in the run is 1.
    assert f"{step}, which symbol" in done.err
    assert done.status == (1 if step == "dilution" else 2), done.err


def test_concentrations_are_not_calibrated_again(tmp_path: Path) -> None:
    place = write_calibrated(tmp_path / "run")
    case = CASES["concentrations_mg.csv"]
    (place / "mapping.toml").write_text(mapping_text(case.mapping, case.quantity), encoding="utf-8")
    done = run("import", EXPORTS / case.file, "--into", place, folder=tmp_path)
    assert done.status == 2 and "where the method calibrates intensities" in done.err


def test_what_is_applied_twice_is_told_at_every_evaluation(tmp_path: Path) -> None:
    """The record of the import keeps what the device applied, whatever becomes of the method afterwards."""
    place = write_calibrated(tmp_path / "run")
    mapping = {**CASES["wide_replicates.csv"].mapping, "already_applied": ["weight and volume"]}
    (place / "mapping.toml").write_text(mapping_text(mapping, "intensity"), encoding="utf-8")
    assert run("import", EXPORTS / "wide_replicates.csv", "--into", place, folder=tmp_path).status == 0
    method = (place / "method.toml").read_text(encoding="utf-8").replace("rho = c*F", "rho = c*F*V/V")
    (place / "method.toml").write_text(method + APPLIED["weight and volume"], encoding="utf-8")
    records, findings = read_records(place)
    assert records is None
    assert any(finding.place.startswith("import 1") and "again" in finding.found for finding in findings)


def test_readings_of_the_drift_check_keep_their_places(tmp_path: Path) -> None:
    """The drift check is read again and again under one label; an excluded reading of it names its place."""
    method = APPLIED["drift"].replace("S2", "CHK")
    place = write_calibrated(tmp_path / "run", method=method)
    mapping = CASES["unnumbered.csv"].mapping | {"already_applied": []}
    (place / "mapping.toml").write_text(mapping_text(mapping, "intensity"), encoding="utf-8")
    lines = (EXPORTS / "unnumbered.csv").read_text(encoding="utf-8").splitlines()
    check = [f"CHK;{line};{value}" for line in ("Cu 324.754", "Zn 213.857") for value in ("2400,5", "2401,5", "2402,5")]
    again = [row.replace("2401,5", "2401,5*") for row in check]
    export = tmp_path / "run.csv"
    export.write_text("\n".join([lines[0], *check, *lines[1:], *again, ""]), encoding="utf-8")
    assert run("import", export, "--into", place, folder=tmp_path).status == 1
    records, findings = read_records(place)
    assert records is not None, findings
    assert records.run is not None
    assert [(mark.solution, mark.replicate, mark.position) for mark in records.run.file.exclusions] == [
        ("CHK", 2, 10),
        ("CHK", 2, 10),
    ]
