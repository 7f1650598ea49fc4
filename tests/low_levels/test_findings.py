"""Bad input of limits: each gives its finding in one line, and never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.low_levels.low_runs import LIMITS, evaluated_with_findings, mean_run, zinc_run
from ubudget.files.reading import read_records
from ubudget.records.spare_rows import SpareRows
from ubudget.records.spare_run import specimen_findings

BAD = [
    ('quantification = "120 mg/kg"', 'quantification = "120 mg/L"', "stop", "120 mg/L; accepted: a limit in the unit"),
    ('quantification = "120 mg/kg"', 'quantification = "40 mg/kg"', "stop", "below the detection limit of 50 mg/kg"),
    ('decision = "25 mg/kg"', 'decision = "60 mg/kg"', "stop", "below the decision limit"),
    ('detection = "50 mg/kg"', 'detection = "-50 mg/kg"', "stop", "zero or negative"),
    ('detection = "50 mg/kg"', 'detection = "0 mg/kg"', "stop", "zero or negative"),
    ('analyte = "Zn"', 'analyte = "Pb"', "stop", "the unknown analyte Pb"),
    ('analyte = "Zn"', 'analyte = "Zn"\nline = "206.2"', "stop", "the unknown line 206.2"),
    ("dof = 9", "dof = 9\nalpha = 0.6", "stop", "0.6"),
    ("dof = 9", "dof = 9\nbeta = 0", "stop", "beta"),
    ("dof = 9", "dof = 0", "stop", "dof"),
    ("dof = 9", 'dof = 9\nbasis = "as received"', "stop", "limits on the basis as received"),
    ('m = "0.5 g"', 'm = "0.5 L"', "stop", "a value in the unit of m, kg"),
    ('m = "0.5 g"', 'mass = "0.5 g"', "stop", "the symbol mass"),
    ('m = "0.5 g"', 'c = "0.5 mg/L"', "stop", "the symbol c"),
    ('m = "0.5 g"', 'm = "0 g"', "stop", "zero or negative"),
    ('m = "0.5 g", ', "", "note", "no nominal value of m"),
    ("minimum_blanks = 3", "minimum_blanks = 1", "stop", "minimum_blanks"),
    ('"not detected"', '"nothing"', "stop", "below_detection"),
    ('quantification = "120 mg/kg"', "", "attend", "no quantification limit, which the reporting rule needs"),
    ('analyte = "Zn"', 'analyte = "Zn"\nmatrix = "water"', "attend", "no limits for Zn 213.9"),
    (LIMITS[LIMITS.index("[[") :], LIMITS[LIMITS.index("[[") :] * 2, "stop", "limits given twice"),
    (
        LIMITS[LIMITS.index("[[") :],
        "[[detection_limit]]\nanalyte = 'Zn'\n",
        "stop",
        "no limit; accepted: decision, detection or quantification",
    ),
    (LIMITS, '\n[low_levels]\nbelow_detection = "not detected"\n', "attend", "and no limits"),
]


@pytest.mark.parametrize(("old", "new", "severity", "words"), BAD, ids=[words for *_, words in BAD])
def test_bad_limits(old: str, new: str, severity: str, words: str, tmp_path: Path) -> None:
    assert old in LIMITS
    _, findings = evaluated_with_findings(zinc_run(tmp_path / "run", LIMITS.replace(old, new)))
    told = [finding for finding in findings if words in finding.line()]
    assert [finding.severity for finding in told] == [severity], [finding.line() for finding in findings]
    assert "\n" not in told[0].line()


def test_good_limits_have_no_finding_but_that_two_blanks_are_few(tmp_path: Path) -> None:
    _, findings = evaluated_with_findings(zinc_run(tmp_path / "run"))
    assert [(finding.severity, finding.place) for finding in findings] == [("note", "limits of the run")]


def test_own_limit_beside_values_as_measured_is_told(tmp_path: Path) -> None:
    _, findings = evaluated_with_findings(mean_run(tmp_path / "run", (1, 1, 1, 1), "as measured", True))
    assert [finding.severity for finding in findings if "own_limit" in finding.found] == ["attend"]


def test_spare_rows_refuse_limits_in_one_line(tmp_path: Path) -> None:
    records, _ = read_records(zinc_run(tmp_path / "run"))
    assert records is not None
    told = [one.line() for one in specimen_findings(records, SpareRows(5, 4, 3, 2)) if "low levels" in one.found]
    assert len(told) == 1 and "--empty cannot follow them" in told[0]
