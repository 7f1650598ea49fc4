"""Derived results that cannot be: each is told with its place, and in one line."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from tests.derived.derived_runs import changed_run, findings_of

M = "method.toml"


class Bad(NamedTuple):
    name: str
    changes: tuple[tuple[str, str, str], ...]
    severity: str
    place: str
    words: str
    """Words that the finding's line holds, separated by `|`."""


SUM = "derived 2 (sum of metals)"
BAD = [
    Bad("unknown symbol", ((M, "S = Cu + Zn", "S = Cu + Zn + Ni"),), "stop", f"{SUM}, equation", "symbol Ni|Cu, Zn"),
    Bad("no equation", ((M, "S = Cu + Zn", "Cu + Zn"),), "stop", f"{SUM}, equation", "Cu + Zn|one equation"),
    Bad("own name", ((M, "S = Cu + Zn", "Cu = Cu + Zn"),), "stop", f"{SUM}, equation", "Cu among its own symbols"),
    Bad(
        "unknown analyte",
        ((M, 'symbols.Cu = { analyte = "Cu" }', 'symbols.Cu = { analyte = "Ni" }'),),
        "stop",
        f"{SUM}, symbol Cu, analytes",
        "unknown analyte Ni|Cu, Zn, Ca, Mg",
    ),
    Bad(
        "unknown line",
        ((M, 'symbols.Cu = { analyte = "Cu" }', 'symbols.Cu = { analyte = "Cu", line = "1" }'),),
        "stop",
        f"{SUM}, symbol Cu",
        "unknown line 1 of Cu|324.754",
    ),
    Bad(
        "unknown sample",
        ((M, 'symbols.one = { sample = "RINSE-1" }', 'symbols.one = { sample = "RINSE-9" }'),),
        "stop",
        "derived 5 (ratio of rinses), symbol one, samples",
        "unknown sample RINSE-9|RINSE-1",
    ),
    Bad(
        "several lines",
        ((M, 'Cu = ["324.754"]', 'Cu = ["324.754", "327.396"]'),),
        "stop",
        f"{SUM}, symbol Cu",
        "has the lines 324.754, 327.396|add line",
    ),
    Bad(
        "units of a sum",
        ((M, 'equation = "S = Cu + Zn"', 'equation = "S = Cu + Zn/M_Ca"'),),
        "stop",
        f"{SUM}, equation",
        "unlike quantities|terms of one dimension",
    ),
    Bad(
        "unit of the result",
        ((M, 'equation = "S = Cu + Zn"\nunit = "mg/L"', 'equation = "S = Cu + Zn"\nunit = "mg/kg"'),),
        "stop",
        f"{SUM}, equation",
        "does not give mg/kg|Cu in mg/L",
    ),
    Bad(
        "circle",
        ((M, 'symbols.Cu = { analyte = "Cu" }', 'symbols.Cu = { derived = "sum of metals" }'),),
        "stop",
        SUM,
        "in a circle: sum of metals -> sum of metals",
    ),
    Bad(
        "longer circle",
        (
            (M, 'symbols.Ca = { analyte = "Ca" }', 'symbols.Ca = { derived = "sum of metals" }'),
            (M, 'symbols.Cu = { analyte = "Cu" }', 'symbols.Cu = { derived = "total hardness" }'),
        ),
        "stop",
        "derived 1 (total hardness)",
        "total hardness -> sum of metals -> total hardness|break the circle",
    ),
    Bad(
        "order",
        ((M, 'symbols.total = { sample = "OUT-1" }', 'symbols.total = { derived = "load in" }'),),
        "stop",
        "derived 3 (particulate), symbol total",
        "load in, which is defined further down|move it up",
    ),
    Bad(
        "unknown derived",
        ((M, 'symbols.K = { derived = "retained" }', 'symbols.K = { derived = "kept" }'),),
        "stop",
        "derived 8 (removal efficiency), symbol K",
        "unknown derived result kept|retained",
    ),
    Bad(
        "name twice",
        ((M, 'name = "sum of metals"', 'name = "total hardness"'),),
        "stop",
        "derived 2 (total hardness), name",
        "a second time",
    ),
    Bad("name of an analyte", ((M, 'name = "sum of metals"', 'name = "Cu"'),), "stop", "derived 2 (Cu), name", "Cu"),
    Bad(
        "unused symbol",
        ((M, 'symbols.Zn = { analyte = "Zn" }', 'symbols.Zn = { analyte = "Zn" }\nsymbols.Ca = { analyte = "Ca" }'),),
        "attend",
        f"{SUM}, symbol Ca",
        "the equation does not use",
    ),
    Bad(
        "no analyte",
        ((M, 'symbols.Cu = { analyte = "Cu" }', 'symbols.Cu = { sample = "OUT-1" }'),),
        "stop",
        f"{SUM}, symbol Cu",
        "no analyte|add analyte",
    ),
    Bad(
        "no sample",
        ((M, 'symbols.one = { sample = "RINSE-1" }', 'symbols.one = { analyte = "Cu" }'),),
        "stop",
        "derived 5 (ratio of rinses), symbol one",
        "no sample|add sample",
    ),
    Bad(
        "a quantity that differs between samples",
        ((M, 'equation = "r = one/two"', 'equation = "r = one/two*Q/Q"'),),
        "stop",
        "derived 5 (ratio of rinses), symbol Q",
        "may differ between samples|[derived.symbols.Q]",
    ),
    Bad(
        "a reading",
        ((M, 'equation = "r = one/two"', 'equation = "r = one/two*c/c"'),),
        "stop",
        "derived 5 (ratio of rinses), symbol c",
        "operation calibration|input, constant",
    ),
    Bad(
        "two meanings",
        ((M, 'symbols.K = { derived = "retained" }', 'symbols.K = { derived = "retained", method_symbol = "Q" }'),),
        "stop",
        "derived 8 (removal efficiency), symbol K",
        "both derived and method_symbol",
    ),
    Bad(
        "samples of a run",
        ((M, 'name = "load in"', 'name = "load in"\nsamples = ["OUT-1"]'),),
        "stop",
        "derived 6 (load in), samples",
        'per = "analyte"',
    ),
    Bad(
        "flow stated twice with different figures",
        (
            (
                "samples.csv",
                "OUT-1,1,sample,OUT-1,treated water,,9.3",
                "OUT-1,1,sample,OUT-1,treated water,,9.3\nOUT-1,2,sample,OUT-1-F,treated water,,9.1",
            ),
            ("samples.csv", "OUT-1-F,1,sample,OUT-1-F,treated water,,9.3\n", ""),
        ),
        "stop",
        "derived 7 (retained), symbol Q_out",
        "2 portions with values of their own|the same value",
    ),
    Bad(
        "no result at all",
        ((M, 'equation = "H = Ca/M_Ca + Mg/M_Mg"\nunit = "mmol/L"', 'equation = "H = M_Ca + M_Mg"\nunit = "g/mol"'),),
        "stop",
        "derived 1 (total hardness), equation",
        "an equation over no result",
    ),
]


@pytest.mark.parametrize("bad", BAD, ids=[bad.name for bad in BAD])
def test_each_defect_is_a_finding(bad: Bad, tmp_path: Path) -> None:
    findings = findings_of(changed_run(tmp_path, *bad.changes))
    matching = [f for f in findings if f.severity == bad.severity and f.place.startswith(bad.place)]
    told = [finding.line() for finding in findings]
    assert any(all(words in finding.line() for words in bad.words.split("|")) for finding in matching), told
    assert all("\n" not in line for line in told)


def test_all_defects_are_told_at_once(tmp_path: Path) -> None:
    findings = findings_of(
        changed_run(
            tmp_path,
            (M, "S = Cu + Zn", "S = Cu + Zn + Ni"),
            (M, 'symbols.one = { sample = "RINSE-1" }', 'symbols.one = { sample = "RINSE-9" }'),
            (M, 'symbols.K = { derived = "retained" }', 'symbols.K = { derived = "kept" }'),
        )
    )
    assert len([finding for finding in findings if finding.severity == "stop"]) == 3


def test_a_method_that_stands_alone_has_nothing_to_derive_from(tmp_path: Path) -> None:
    text = (
        '[method]\nid = "A"\ntitle = "a"\nversion = "1"\nstatus = "approved"\nmeasurand = "m"\nunit = "g"\n'
        'equation = "y = a"\n[symbols.a]\noperation = "input"\nquantity = "a"\nunit = "g"\nestimate = "1 g"\n'
        'u = "0.1 g"\n[[derived]]\nname = "twice"\nmeasurand = "m"\nunit = "g"\nequation = "z = 2*b"\n'
        'symbols.b = { analyte = "m" }\n'
    )
    (tmp_path / "method.toml").write_text(text, encoding="utf-8", newline="\n")
    (finding,) = [f for f in findings_of(tmp_path / "method.toml") if f.severity == "stop"]
    assert "stands alone" in finding.found
