"""Runs with results below limits, invented: the small run of zinc with limits, and a mean of four concentrations."""

from __future__ import annotations

from pathlib import Path

from tests.findings.small_run import METHOD, write_run
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records
from ubudget.records.finding import Finding

LIMITS = """
[low_levels]
below_detection = "not detected"
non_negative = true
minimum_blanks = 3

[[detection_limit]]
analyte = "Zn"
decision = "25 mg/kg"
detection = "50 mg/kg"
quantification = "120 mg/kg"
dof = 9
nominal = { m = "0.5 g", V = "50 mL", f = 1, F = 1 }
source = "ten blanks, invented"
"""
THIRD_BLANK = ("BL-2,blank,,,\n", "BL-2,blank,,,\nBL-3,blank,,,\n")
THIRD_READING = ("BL-2,Zn,213.9,0.002,0.004,\n", "BL-2,Zn,213.9,0.002,0.004,\nBL-3,Zn,213.9,0.003,0.003,\n")


def zinc_run(folder: Path, limits: str = LIMITS, **changed: str) -> Path:
    """The run of zinc: SED-01 is read at a tenfold dilution, which raises its limits, SED-02 undiluted."""
    folder.mkdir(exist_ok=True)
    return write_run(folder, **{"method": METHOD + limits, **changed})


MEAN_METHOD = """
[method]
id = "M-MEAN"
title = "Invented yearly mean of a trace metal in river water"
version = "1"
status = "approved"
effective = 2026-01-01
review = 2027-01-01
measurand = "mass concentration"
unit = "µg/L"
equation = "rho = x + d"

[analytes]
Cd = []

[symbols.x]
operation = "input"
quantity = "concentration found"
unit = "µg/L"
column = "x"
exact = true

[symbols.d]
operation = "precision"
quantity = "precision"
part = "within run"
constant = "0.002 µg/L"
source = "invented"

[[detection_limit]]
quantification = "0.06 µg/L"

[effects]
"sample homogeneity" = "negligible: invented"

[[derived]]
name = "mean"
measurand = "mean of four samples"
unit = "µg/L"
equation = "mean = (a + b + c + e)/4"
per = "run"
below_limits = "RULE"
own_limit = OWN
symbols.a = { sample = "S1", analyte = "Cd" }
symbols.b = { sample = "S2", analyte = "Cd" }
symbols.c = { sample = "S3", analyte = "Cd" }
symbols.e = { sample = "S4", analyte = "Cd" }
"""
MEAN_RUN = """
[run]
id = "YEAR"
date = 2026-03-10
analyst = "A. Invented"
method = "method.toml"
samples = "samples.csv"
"""


def mean_run(folder: Path, values: tuple[float, ...], rule: str, own_limit: bool) -> Path:
    """Four samples with these values in µg/L, and their mean by a rule."""
    folder.mkdir(exist_ok=True)
    method = MEAN_METHOD.replace("RULE", rule).replace("OWN", str(own_limit).lower())
    rows = "".join(f"S{number},{value}\n" for number, value in enumerate(values, start=1))
    files = {"method.toml": method, "run.toml": MEAN_RUN, "samples.csv": f"sample,x [µg/L]\n{rows}"}
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def evaluated_with_findings(place: Path) -> tuple[Evaluation | None, list[Finding]]:
    records, findings = read_records(place)
    return (None, findings) if records is None else evaluate(records)


def evaluated(place: Path) -> Evaluation:
    evaluation, findings = evaluated_with_findings(place)
    assert evaluation is not None, [finding.line() for finding in findings]
    return evaluation
