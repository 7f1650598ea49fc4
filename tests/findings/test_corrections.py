"""Bad corrections of readings: each a clear finding, and never an exception."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.modules.corrected_run import DRIFT, INTERNAL, corrected_run, readings, readings_text
from ubudget.files.reading import read_records

WHOLE = readings_text(readings())
ROWS = WHOLE.splitlines()


def without(start: str) -> str:
    kept = [row for row in ROWS if not row.startswith(start)]
    assert len(kept) < len(ROWS)
    return "\n".join(kept) + "\n"


def with_value(start: str, place: int, value: str) -> str:
    (row,) = [row for row in ROWS if row.startswith(start)]
    cells = row.split(",")
    cells[place] = value
    return WHOLE.replace(row, ",".join(cells))


def mark(solution: str, position: str = "") -> str:
    return (
        f'\n[[exclude_reading]]\nsolution = "{solution}"\nanalyte = "Zn"\nline = "213.9"\nreplicate = 1\n'
        f'reason = "invented"\n{position}'
    )


BOTH = INTERNAL + DRIFT
MEANS = "solution,analyte,line,position,mean,s,n\n" + "".join(
    ",".join([*row.split(",")[:5], "0.1", "3"]) + "\n" for row in ROWS[1:]
)
BAD = {
    "no reading of the internal standard": (
        {"text": without("SED-02,Y")},
        "stop",
        "no reading of the internal standard",
    ),
    "one replicate short": ({"text": with_value("SED-02,Y", 6, "")}, "stop", "beside r3"),
    "internal standard zero": ({"text": with_value("S1,Y", 5, "0")}, "stop", "internal standard's reading 0"),
    "internal standard below zero": ({"text": with_value("S1,Y", 5, "-3")}, "stop", "internal standard's reading -3"),
    "no word on the amount": (
        {"corrections": BOTH.replace('added = "0.5 %"\n', "")},
        "attend",
        "no word on the amount added",
    ),
    "online and added": ({"corrections": BOTH.replace("limits", "online = true\nlimits")}, "stop", "online and added"),
    "limits exchanged": ({"corrections": BOTH.replace("[90, 110]", "[110, 90]")}, "stop", "limits that do not rise"),
    "amount not relative": ({"corrections": BOTH.replace('"0.5 %"', '"0.5 mL"')}, "stop", "not relative"),
    "residual not relative": ({"corrections": BOTH.replace('"0.3 %"', '"0.3 mg"')}, "stop", "not relative"),
    "check missing at the end": ({"text": without("CHK,Zn,213.9,13")}, "stop", "drift check missing at one end"),
    "no check on a line": ({"text": without("CHK,Cu")}, "stop", "no reading of the drift check CHK"),
    "check zero": ({"text": with_value("CHK,Zn,213.9,6", 4, "0")}, "stop", "drift check's reading 0"),
    "check is a standard": ({"corrections": INTERNAL + DRIFT.replace("CHK", "S2")}, "stop", "among the standards"),
    "position empty": ({"text": with_value("S1,Zn", 3, "")}, "stop", "whole number"),
    "position not whole": ({"text": with_value("S1,Zn", 3, "3.5")}, "stop", "whole number"),
    "position held": ({"text": WHOLE.replace("S2,Zn,213.9,4", "S2,Zn,213.9,3")}, "stop", "which S1 holds"),
    "two positions": ({"text": WHOLE.replace("S2,Cu,324.8,4", "S2,Cu,324.8,44")}, "stop", "at position 44 and at 4"),
    "a solution read again": ({"text": WHOLE + ROWS[4] + "\n"}, "stop", "a second time"),
    "no scatter of checks": (
        {"text": "\n".join(",".join(row.split(",")[:5]) for row in ROWS) + "\n", "corrections": DRIFT},
        "attend",
        "gives no scatter",
    ),
    "means": ({"text": MEANS}, "stop", "needs each reading"),
    "check left out without position": ({"run": mark("CHK")}, "stop", "no position, though CHK"),
    "position of a sample": ({"run": mark("SED-01", "position = 9\n")}, "stop", "read once"),
}


@pytest.mark.parametrize("bad", BAD, ids=list(BAD))
def test_bad_corrections_are_told(bad: str, tmp_path: Path) -> None:
    options, severity, words = BAD[bad]
    records, findings = read_records(corrected_run(tmp_path, **options))  # type: ignore[arg-type]
    lines = [f"{finding.severity} {finding.line()}" for finding in findings]
    assert any(line.startswith(severity) and words in line for line in lines), lines
    assert (records is None) == any(finding.severity == "stop" for finding in findings)
    assert all(finding.found and finding.accepted and finding.remedy for finding in findings)


def test_the_run_itself_has_no_finding(tmp_path: Path) -> None:
    assert read_records(corrected_run(tmp_path))[1] == []
