"""`ubudget amend`, `ubudget amendments` and `ubudget evaluate --as-measured`, as a person gives them."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from tests.commands.running import run, run_apart, widest
from tests.findings.small_run import METHOD, RUN, write_run
from ubudget import read_run

WHO = ("--by", "reviewer 1", "--on", "2026-03-12 14:05")
WHY = ("--reason", "found on review", *WHO)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "run").mkdir()
    # Scatter of their own would flag results for their few readings.
    method = METHOD.replace('scatter = "own"', 'scatter = "residual"')
    return write_run(tmp_path / "run", method=method)


def values(folder: Path, *more: str) -> dict[str, float]:
    done = run("evaluate", "run", "--json", "-", *more, folder=folder.parent)
    return {result["sample"]: result["value"] for result in json.loads(done.out)["results"]}


def test_an_amendment_is_appended_and_all_else_stays(folder: Path) -> None:
    before = (folder / "run.toml").read_bytes()
    done = run(
        "amend", "run", "--sample", "SED-01", "--field", "gross", "--to", "12.5134 g", *WHY, folder=folder.parent
    )
    assert (done.status, done.err) == (0, "")
    after = (folder / "run.toml").read_bytes()
    assert after.startswith(before)
    (appended,) = tomllib.loads(after.decode())["amendment"]
    assert (appended["from"], appended["to"], appended["time"]) == ("12.5034 g", "12.5134 g", "14:05")
    assert "12.5034 g -> 12.5134 g" in done.out and "appended  run.toml" in done.out
    assert sorted(path.name for path in folder.iterdir()) == sorted(
        ["run.toml", "method.toml", "register.toml", "samples.csv", "solutions.csv", "readings.csv"]
    )


def test_comments_line_ends_and_byte_order_mark_stay(folder: Path) -> None:
    text = "\ufeff# a remark\r\n" + RUN.strip().replace("\n", "\r\n") + "  # the last line, unended"
    (folder / "run.toml").write_bytes(text.encode())
    done = run("amend", "run", "--undo", "1", *WHY, folder=folder.parent)
    assert done.status == 2 and (folder / "run.toml").read_bytes() == text.encode()
    done = run("amend", "run", "--restore", "SED-02/Zn/3", *WHY, folder=folder.parent)
    assert done.status == 0, done.err
    after = (folder / "run.toml").read_bytes()
    assert after.startswith(text.encode() + b"\r\n\r\n[[amendment]]\r\n")
    assert b"\n" not in after.replace(b"\r\n", b"")


def test_a_trail_is_listed_with_differences_that_add_up(folder: Path) -> None:
    as_measured = values(folder, "--as-measured")
    for words in (
        ("--sample", "SED-01", "--field", "gross", "--to", "12.5134 g"),
        ("--in", "method", "--field", "symbols.c.curve", "--to", "quadratic"),
        ("--reading", "S2/Zn", "--field", "r3", "--to", "0.201"),
        ("--exclude", "SED-01 d/Zn/213.9/2", "--rule", "cause"),
        ("--undo", "2"),
        ("--exclude-solution", "S1"),
        ("--undo", "6"),
        ("--relabel", "S2", "--to", "level 2"),
    ):
        done = run("amend", "run", *words, *WHY, folder=folder.parent)
        assert done.status == 0, done.err
        assert widest(done.out) <= 80
    assert values(folder, "--as-measured") == as_measured
    listed = run("amendments", "run", folder=folder.parent)
    assert listed.status == 0 and widest(listed.out) <= 80
    assert "stepwise" in listed.out and "amendment 2 (undone)" in listed.out
    trail = json.loads(run("amendments", "run", "--json", "-", folder=folder.parent).out)
    assert [step["name"] for step in trail["amendments"]] == [
        "exclude_reading 1",
        *(f"amendment {number}" for number in range(1, 9)),
    ]
    now = values(folder)
    for sample, value in now.items():
        parts = [
            difference["value_difference"]
            for step in trail["amendments"]
            for difference in step["differences"]
            if difference["sample"] == sample
        ]
        assert as_measured[sample] + sum(parts) == pytest.approx(value, rel=1e-12)
    (relabelled,) = [step for step in trail["amendments"] if step["act"] == "relabel"]
    assert relabelled["differences"] == []


def test_the_trail_goes_into_a_file(folder: Path) -> None:
    done = run("amendments", "run", "--json", "trail.json", folder=folder.parent)
    assert done.status == 0
    assert json.loads((folder.parent / "trail.json").read_text("utf-8"))["run"]["id"] == "HS-014"
    assert run("amendments", "run", "--json", "trail.json", folder=folder.parent).status == 2


def test_outlier_tests_stand_beside_an_exclusion_and_in_its_record(folder: Path) -> None:
    words = ("--exclude", "SED-01 d/Zn/2", "--rule", "grubbs", *WHY)
    tried = run("amend", "run", *words, "--try", folder=folder.parent)
    assert "not written" in tried.out and (folder / "run.toml").read_text("utf-8") == RUN
    for name in ("Grubbs: 1.155, above", "Dixon: 1, above the critical value 0.97", "Cochran: "):
        assert name in tried.out
    done = run("amend", "run", *words, folder=folder.parent)
    assert done.status == 1 and "an outlier test as the only reason" in done.err
    done = run("amend", "run", "--undo", "1", *WHY, folder=folder.parent)
    assert done.status == 0
    done = run("amend", "run", *words, "--cause", "rinsed too short", "--level", "0.01", folder=folder.parent)
    assert done.status == 0, done.err
    *_, last = tomllib.loads((folder / "run.toml").read_text("utf-8"))["amendment"]
    # Grubbs, 3 readings, 1 %: 1.155 by the printed table; the largest G of three readings is 2/√3 = 1.1547.
    assert (last["level"], last["statistic"], last["critical"]) == (0.01, 1.1547, 1.15468)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "0 acts; one of"),
        (("--undo", "1", "--exclude-solution", "S1"), "2 acts; one of"),
        (("--exclude", "SED-01/Zn/1", "--rule", "hunch"), "--rule hunch"),
        (("--exclude", "SED-01/Zn/1", "--rule", "dixon", "--level", "7"), "--level 7"),
        (("--exclude", "SED-01/Zn/1", "--cause", "x"), "belong to --rule"),
        (("--exclude", "SED-01/Zn/x"), "found no replicate"),
        (("--exclude", "SED-01/Zn/1"), "an exclusion without rule"),
        (("--exclude", "SED-99/Zn/1", "--rule", "cause"), "no readings of"),
        (("--exclude", "SED-01/Zn/1", "--rule", "dixon", "--level", "0.03"), "no test of Dixon"),
        (("--relabel", "S1"), "--to belongs to"),
        (("--field", "gross", "--to", "1 g"), "--field belongs to one of"),
        (("--in", "register", "--field", "title", "--to", "x"), "--in register"),
        (("--sample", "SED-99", "--field", "gross", "--to", "1 g"), 'no row "SED-99" in samples'),
        (("--sample", "SED-01", "--field", "gross", "--to", "1 mL"), "a number in g"),
        (("--sample", "SED-01", "--field", "gross", "--to", "1 g"), ""),
    ],
)
def test_what_cannot_be_appended_is_told_and_nothing_is_written(
    words: tuple[str, ...], said: str, folder: Path
) -> None:
    done = run("amend", "run", *words, *WHY, folder=folder.parent)
    assert done.status == 2
    assert said in " ".join(done.err.replace("│", " ").split())
    assert (folder / "run.toml").read_text("utf-8") == RUN


def test_an_empty_reason_is_refused(folder: Path) -> None:
    done = run("amend", "run", "--exclude-solution", "S1", "--reason", "", *WHO, folder=folder.parent)
    assert done.status == 2 and "amendment 1 (S1), reason" in done.err
    assert (folder / "run.toml").read_text("utf-8") == RUN


def test_an_earlier_date_on_the_same_field_is_refused(folder: Path) -> None:
    first = ("--sample", "SED-01", "--field", "gross", "--to", "12.5134 g")
    assert run("amend", "run", *first, *WHY, folder=folder.parent).status == 0
    text = (folder / "run.toml").read_text("utf-8")
    again = (*first[:-1], "12.6 g", "--reason", "x", "--by", "y", "--on", "2026-03-11")
    done = run("amend", "run", *again, folder=folder.parent)
    assert done.status == 2 and "in the order of time" in done.err
    assert (folder / "run.toml").read_text("utf-8") == text


def test_only_a_run_in_text_can_be_appended_to(folder: Path) -> None:
    run("workbook", "run", "book.xlsx", folder=folder.parent)
    done = run("amend", "book.xlsx", "--exclude-solution", "S1", *WHY, folder=folder.parent)
    assert done.status == 2 and "accepted: a run folder or its run file" in done.err
    done = run("amend", "run/method.toml", "--exclude-solution", "S1", *WHY, folder=folder.parent)
    assert done.status == 2


def test_labels_with_slashes_are_found(folder: Path) -> None:
    for name in ("samples.csv", "solutions.csv", "readings.csv", "run.toml"):
        text = (folder / name).read_text("utf-8")
        (folder / name).write_text(text.replace("SED-01", "SED/01"), encoding="utf-8")
    done = run("amend", "run", "--exclude", "SED/01 d/Zn/213.9/2", "--rule", "cause", *WHY, folder=folder.parent)
    assert done.status == 0, done.err
    records = read_run(folder)
    assert records.run is not None
    assert [(m.solution, m.replicate) for m in records.run.file.exclusions] == [("SED-02", 3), ("SED/01 d", 2)]


def test_the_statement_says_what_was_amended_behind_a_result(folder: Path) -> None:
    words = ("--sample", "SED-01", "--field", "gross", "--to", "12.5134 g")
    run("amend", "run", *words, *WHY, folder=folder.parent)
    told = json.loads(run("statement", "run", "--json", folder=folder.parent).out)
    first, second = (entry["statement"] for entry in told)
    assert "Amended after the measurement: sample SED-01, gross from 12.5034 g to 12.5134 g." in first
    assert "Amended after the measurement: reading 3 of SED-02, Zn 213.9 left out." in second
    run("amend", "run", "--exclude-solution", "S1", *WHY, folder=folder.parent)
    listed = " ".join(run("statement", "run", folder=folder.parent).out.split())
    assert listed.count("solution S1, all readings left out") == 1
    assert "behind every result: solution S1, all readings left out" in listed


def test_as_measured_through_the_real_entry_point(folder: Path) -> None:
    done = run_apart("evaluate", "run", "--as-measured", folder=folder.parent)
    assert done.status == 0, done.err
    assert done.out.startswith("as measured: ")
    appended = run_apart("amend", "run", "--restore", "SED-02/Zn/3", *WHY, folder=folder.parent)
    assert appended.status == 0, appended.err
    table = done.out.partition("\n\n")[2].splitlines()[:4]
    assert run_apart("evaluate", "run", folder=folder.parent).out.splitlines()[:4] == table
