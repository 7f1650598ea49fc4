"""Additions that cannot be used: each one a finding with its place, what is accepted and what to do."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from tests.calibration_additions.addition_runs import EXACT, aluminium, sediment
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.reading import read_records
from ubudget.records.finding import Finding

SERIES = {"V_std": [0.0, 0.1, 0.2, 0.3], "signal": [0.214, 0.386, 0.554, 0.728]}
R, M, V, G = "run.toml", "method.toml", "readings.csv", "register.toml"


class Bad(NamedTuple):
    name: str
    file: str
    old: str
    new: str
    at: str
    """File of the finding."""
    place: str
    words: str
    severity: str = "stop"


BLANK = '[symbols.cb]\noperation = "blank"\nquantity = "blank"\nunit = "mg/L"\n\n'
CURVE = '[symbols.c2]\noperation = "calibration"\nquantity = "c"\nunit = "mg/L"\nscatter = "own"\n\n'
SECOND = """[symbols.c2]
operation = "standard additions"
quantity = "c"
unit = "mg/L"
form = "constant volume"
variance = "line"

"""
SEDIMENT = [
    Bad(
        "unknown solution", R, 'added_to = "A"', 'added_to = "Z"', R, "addition 1 (A+1), added_to", "unknown solution Z"
    ),
    Bad("double listing", R, 'solution = "A+2"', 'solution = "A+1"', R, "addition 2 (A+1)", "A+1 a second time"),
    Bad(
        "label of a sample", R, 'solution = "A+2"', 'solution = "A"', "samples.csv", "row 1", "solution A a second time"
    ),
    Bad("unknown pipette", R, 'pipette = "PP"', 'pipette = "P9"', R, "addition 1 (A+1), pipette", "P9, which is not"),
    Bad("flask for pipette", R, 'pipette = "PP"', 'pipette = "F25"', R, "addition 1 (A+1), pipette", "is a flask"),
    Bad("unknown flask", R, 'flask = "F25-B"', 'flask = "F9"', R, "addition 2 (A+2), flask", "F9, which is not"),
    Bad(
        "unknown standard", R, 'standard = "ST"', 'standard = "S9"', R, "addition 1 (A+1), standard", "S9, which is not"
    ),
    Bad(
        "mass for volume",
        R,
        'delivered = "0.1 mL"',
        'delivered = "0.1 g"',
        R,
        "addition 1 (A+1), delivered",
        "no volume",
    ),
    Bad("no flask", R, 'flask = "F25-B"', "", R, "addition 2 (A+2)", "no flask, which the form constant volume"),
    Bad("aliquot beside", R, 'flask = "F25-B"', 'flask = "F25"\naliquot = "V5"', R, "addition 2", "has no part"),
    Bad("no pipette", R, 'pipette = "PP"\n', "", R, "addition 1", "standard without pipette"),
    Bad("neither", R, 'standard = "ST"\n', "", R, "addition 1", "both or neither"),
    Bad(
        "certified in another unit", G, '"10.02 mg/L"', '"10.02 mg/kg"', R, "addition 1 (A+1), standard", "not convert"
    ),
    Bad("not certified", G, 'analyte = "Cd"', 'analyte = "Pb"', R, "addition 1 (A+1), standard", "no value of Cd"),
    Bad("no zero addition", V, "A,Cd,,0.214,0.216\n", "", V, "additions to A Cd", "the zero addition"),
    Bad("two levels", V, "A+2,Cd,,0.554,0.557\nA+3,Cd,,0.728,0.724\n", "", V, "additions to A Cd", "2 levels"),
    Bad(
        "no additions",
        V,
        "A+1,Cd,,0.386,0.381\nA+2,Cd,,0.554,0.557\nA+3,Cd,,0.728,0.724\n",
        "",
        V,
        "to A Cd",
        "1 level ",
    ),
    Bad("falling", V, "A+3,Cd,,0.728,0.724", "A+3,Cd,,0.028,0.024", V, "additions to A Cd", "do not rise|above zero"),
    Bad(
        "flat",
        V,
        "0.386,0.381\nA+2,Cd,,0.554,0.557\nA+3,Cd,,0.728,0.724",
        "0.214,0.216\nA+2,Cd,,0.214,0.216\nA+3,Cd,,0.214,0.216",
        V,
        "additions to A Cd",
        "slope of 0",
    ),
    Bad("unit of c", M, 'unit = "mg/L"', 'unit = "mg/kg"', R, "addition 1 (A+1), standard", "not convert to mg/kg"),
    Bad("form", M, '"constant volume"', '"constant mass"', M, "symbol c, form", "constant mass"),
    Bad("no convention", M, 'variance = "line"\n', "", M, "symbol c, variance", "add variance"),
    Bad("blank", M, "[symbols.V]", BLANK + "[symbols.V]", M, "symbol cb", "a blank, which is read on"),
    Bad("curve beside", M, "[symbols.V]", CURVE + "[symbols.V]", M, "symbol c2", "second source"),
    Bad("two symbols", M, "[symbols.V]", SECOND + "[symbols.V]", M, "symbol c2", "second source"),
    Bad("counted twice", M, "", "", M, "effects, standard repeatability", "counted twice", "attend"),
    Bad("no word", M, '"standard repeatability" = "counted"\n', "", M, "effects", "standard repeatability", "attend"),
]
CONCENTRATIONS = [
    Bad("unit", R, '"1.2 mg/L"', '"1.2 mg/kg"', R, "addition 1 (A+1), Al", "1.2 mg/kg, which does not convert"),
    Bad("unknown analyte", R, "{ Al =", "{ Zz =", R, "addition 1 (A+1), concentration", "unknown analyte Zz"),
    Bad("analyte left out", R, "{ Al =", "{ Zz =", R, "addition 1 (A+1)", "no concentration of Al"),
    Bad("volume unknown", M, '"constant volume"', '"volume change"', R, "addition 1 (A+1)", "leaves the volume V0"),
    Bad("zero twice", R, '"1.2 mg/L"', '"0 mg/L"', V, "nowhere", "", "none"),
    Bad("ware beside", R, "concentration = {", 'flask = "F25"\nconcentration = {', R, "addition 1", "ware beside"),
    Bad("no stock", M, f'additions_exact = "{EXACT}"\n', "", R, "stock Al", "no stock", "attend"),
    Bad("no symbol", M, "", "", R, "addition", "no symbol for"),
]  # fmt: skip


def findings_of(folder: Path) -> list[Finding]:
    records, findings = read_records(folder)
    if records is None:
        return findings
    return evaluate(records)[1]


def changed(folder: Path, bad: Bad) -> None:
    text = (folder / bad.file).read_text(encoding="utf-8")
    assert bad.old in text
    (folder / bad.file).write_text(text.replace(bad.old, bad.new, 1), encoding="utf-8", newline="\n")


def assert_found(findings: list[Finding], bad: Bad) -> None:
    told = "\n".join(finding.line() for finding in findings)
    if bad.severity == "none":
        # Few additions make terms of second order matter, which is a note.
        assert [finding for finding in findings if finding.severity != "note"] == [], told
        return
    fitting = [
        finding
        for finding in findings
        if (finding.severity, finding.file) == (bad.severity, bad.at)
        and bad.place in finding.place
        and all(word in finding.line() for word in bad.words.split("|"))
    ]
    assert fitting, told
    assert all(finding.accepted and finding.remedy for finding in fitting)


@pytest.mark.parametrize("bad", SEDIMENT, ids=lambda bad: bad.name)
def test_additions_with_their_ware(bad: Bad, tmp_path: Path) -> None:
    sediment(tmp_path, "constant volume")
    changed(tmp_path, bad)
    assert_found(findings_of(tmp_path), bad)


@pytest.mark.parametrize("bad", CONCENTRATIONS, ids=lambda bad: bad.name)
def test_additions_as_concentrations(bad: Bad, tmp_path: Path) -> None:
    aluminium(tmp_path, SERIES, "line", by_volume=False)
    if bad.name == "no symbol":
        text = (tmp_path / M).read_text(encoding="utf-8")
        start, stop = text.index("[symbols.c]"), text.index("[symbols.V]")
        plain = '[symbols.c]\noperation = "constant"\nquantity = "c"\nvalue = "1 mg/L"\n\n'
        (tmp_path / M).write_text(text[:start] + plain + text[stop:], encoding="utf-8", newline="\n")
    changed(tmp_path, bad)
    assert_found(findings_of(tmp_path), bad)


def test_one_level_in_several_flasks_is_one_level(tmp_path: Path) -> None:
    """Numbered flasks of one nominal volume do not make levels."""
    folder = sediment(tmp_path, "constant volume")
    text = (folder / R).read_text(encoding="utf-8")
    for volume in ('"0.2 mL"', '"0.3 mL"'):
        text = text.replace(volume, '"0.1 mL"')
    (folder / R).write_text(text, encoding="utf-8", newline="\n")
    told = [(f.severity, f.place, f.found) for f in findings_of(folder) if f.severity == "stop"]
    assert told == [("stop", f"additions to {label} Cd", "2 levels of addition") for label in ("A", "B/d")]


@pytest.mark.parametrize("what", ["as they are", "volume change"])
def test_good_additions_have_no_finding(what: str, tmp_path: Path) -> None:
    form = "volume change" if what == "volume change" else "constant volume"
    sediment(tmp_path, form, repeatability="covered by residual scatter")
    assert findings_of(tmp_path) == []
