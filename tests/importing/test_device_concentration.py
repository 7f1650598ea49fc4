"""Concentrations of a device: each source of the curve's part against plain arithmetic and the package `uncertainties`,
in the workbook, and refused where it would count as zero.

The formulas are common practice, no source: u of declared curves as stated; s, bias and u of known values of check
solutions in quadrature; s of the residuals of standards read back, with n - p degrees of freedom."""

from __future__ import annotations

import math
import statistics
from pathlib import Path
from typing import Any

import pytest
from uncertainties import covariance_matrix, ufloat

import ubudget
from tests.importing.import_runs import BY_DEVICE, CALIBRATED, METHOD, RUN, SAMPLES
from tests.workbooks.books import Written, evaluated
from tests.workbooks.live_checks import assert_engines_agree_on_all, assert_open_numbers_move
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.reading import read_records
from ubudget.pages.plan import plan_book
from ubudget.records.records import Records

NOMINAL = {"S0": 0.0, "S1": 0.25, "S2": 0.5, "S3": 1.0}
CHECKED = {"CHK": (0.5, 0.6), "CHK-2": (0.8, 0.5)}
"""Known value in mg/L, its relative u in %."""
READ = {
    ("S0", "Cu"): (0.0011, -0.0007, 0.0004),
    ("S1", "Cu"): (0.2508, 0.2512, 0.2497),
    ("S2", "Cu"): (0.4979, 0.4991, 0.4988),
    ("S3", "Cu"): (1.0021, 1.0008, 1.0012),
    ("CHK", "Cu"): (0.5051, 0.4993, 0.5027),
    ("CHK #2", "Cu"): (0.5092, 0.5061, 0.5075),
    ("CHK-2", "Cu"): (0.8123, 0.8041, 0.8077),
    ("1-2", "Cu"): (0.3751, 0.3763, 0.3742),
    ("MAR1", "Cu"): (0.0851, 0.0847, 0.0862),
    ("S0", "Zn"): (0.0003, -0.0002, 0.0001),
    ("S1", "Zn"): (0.2491, 0.2488, 0.2503),
    ("S2", "Zn"): (0.5012, 0.5031, 0.5009),
    ("S3", "Zn"): (0.9981, 0.9994, 0.9987),
    ("CHK", "Zn"): (0.4951, 0.4893, 0.4929),
    ("CHK #2", "Zn"): (0.4972, 0.4935, 0.4959),
    ("CHK-2", "Zn"): (0.7911, 0.7932, 0.7899),
    ("1-2", "Zn"): (0.2851, 0.2793, 0.2822),
    ("MAR1", "Zn"): (0.6851, 0.6793, 0.6822),
}
LINES = {"Cu": ("324.754", "327.396"), "Zn": ("213.857",)}
SECOND = 1.004
"""Readings on the second line of copper are those on the first times this, and a little more for the second one."""
SAMPLE = {"Well 1": "1-2", "Well 2": "MAR1"}
DECLARED = BY_DEVICE.replace(
    "[[symbols.c.curve]]\n",
    '[[symbols.c.curve]]\nanalyte = "Zn"\nu = "0.004 mg/L"\ndof = 12\nsource = "validation"\n\n[[symbols.c.curve]]\n',
)
BY_CHECKS = BY_DEVICE.partition("[[symbols.c.curve]]")[0].replace('"declared"', '"check solutions"')
BY_STANDARDS = (
    BY_DEVICE.partition("[[symbols.c.curve]]")[0].replace('"declared"', '"exported standards"')
    + '\n[symbols.c.standards]\nu = "0.5 %"\nsource = "validation file (invented)"\n'
)
METHODS = {"declared": DECLARED, "check solutions": BY_CHECKS, "exported standards": BY_STANDARDS}


def read_on(label: str, analyte: str, line: str) -> tuple[float, ...]:
    """Readings of a solution on a line, as the file has them."""
    values = READ[label, analyte]
    if line != "327.396":
        return values
    return tuple(round(value * SECOND + 0.0003 * number, 6) for number, value in enumerate(values))


def write(folder: Path, method: str) -> Path:
    folder.mkdir()
    run = RUN
    for label, value in NOMINAL.items():
        run += f'\n[[standard]]\nlabel = "{label}"\nconcentration = {{ Cu = "{value} mg/L", Zn = "{value} mg/L" }}\n'
    for label, (value, u) in CHECKED.items():
        run += f'\n[[check_solution]]\nlabel = "{label}"\nu = "{u} %"\nsource = "check (invented)"\n'
        run += f'concentration = {{ Cu = "{value} mg/L", Zn = "{value} mg/L" }}\n'
    rows = [
        f"{label},{analyte},{line},{','.join(f'{value:.6f}' for value in read_on(label, analyte, line))}"
        for label, analyte in READ
        for line in LINES[analyte]
    ]
    readings = "\n".join(["solution,analyte,line,r1,r2,r3", *rows, ""])
    files = {
        "run.toml": run,
        "method.toml": METHOD.replace('["324.754"]', '["324.754", "327.396"]') + method,
        "samples.csv": SAMPLES,
        "readings.csv": readings,
    }
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def read(folder: Path) -> tuple[Records, Evaluation]:
    records, findings = read_records(folder)
    assert records is not None, findings
    return records, evaluated(records)


def curve_part(kind: str, analyte: str, line: str) -> tuple[float, float]:
    """Relative and absolute u of the device's curve."""
    if kind == "declared":
        return (0.0, 0.004) if analyte == "Zn" else (0.015, 0.0)
    if kind == "check solutions":
        known = {"CHK": CHECKED["CHK"], "CHK #2": CHECKED["CHK"], "CHK-2": CHECKED["CHK-2"]}
        recoveries = [statistics.mean(read_on(label, analyte, line)) / value for label, (value, _) in known.items()]
        of_values = statistics.mean((u / 100) ** 2 for _, u in known.values())
        bias = statistics.mean(recoveries) - 1
        return math.sqrt(statistics.variance(recoveries) + bias**2 + of_values), 0.0
    residuals = [statistics.mean(read_on(label, analyte, line)) - value for label, value in NOMINAL.items()]
    return 0.005, math.sqrt(sum(residual**2 for residual in residuals) / (len(residuals) - 2))


def number(value: float, u: float) -> Any:
    return ufloat(value, u) if u else value


@pytest.mark.parametrize("kind", METHODS)
def test_value_and_uncertainty(kind: str, tmp_path: Path) -> None:
    _, evaluation = read(write(tmp_path / "run", METHODS[kind]))
    assert len(evaluation.results) == 6
    for result in evaluation.results:
        values = read_on(SAMPLE[result.sample], result.analyte, result.line or "")
        mean = ufloat(statistics.mean(values), statistics.stdev(values) / math.sqrt(len(values)))
        relative, absolute = curve_part(kind, result.analyte, result.line or "")
        expected = (mean * number(1, relative) + number(0, absolute)) * ufloat(1.01, 0.001)
        assert result.value == pytest.approx(expected.nominal_value, rel=1e-12)
        assert result.standard_uncertainty == pytest.approx(expected.std_dev, rel=1e-9)


def test_degrees_of_freedom(tmp_path: Path) -> None:
    for kind, dof in (("declared", 12.0), ("check solutions", 2.0), ("exported standards", 2.0)):
        _, evaluation = read(write(tmp_path / kind.replace(" ", "-"), METHODS[kind]))
        (result,) = (r for r in evaluation.results if (r.sample, r.analyte) == ("Well 1", "Zn"))
        (row,) = (row for row in result.budget if row.symbol.startswith("c.curve") and row.contribution)
        assert row.degrees_of_freedom == dof


def test_the_curve_is_one_deviation_of_a_line(tmp_path: Path) -> None:
    """Two samples on one line share the curve's deviation and the factor; on two lines the factor alone."""
    _, evaluation = read(write(tmp_path / "run", METHODS["declared"]))
    names = [(result.sample, result.line) for result in evaluation.results]
    numbers = dict(zip(names, evaluation.as_ufloats(), strict=True))
    factor = (0.001 / 1.01) ** 2
    for other, shared in ((("Well 2", "324.754"), 0.015**2 + factor), (("Well 1", "213.857"), factor)):
        a, b = numbers["Well 1", "324.754"], numbers[other]
        ((_, covariance), _) = covariance_matrix([a, b])
        assert covariance / (a.nominal_value * b.nominal_value) == pytest.approx(shared, rel=1e-9)


def test_the_workbook(tmp_path: Path) -> None:
    books = []
    for number, method in enumerate(METHODS.values()):
        records, evaluation = read(write(tmp_path / f"run{number}", method))
        books.append(Written(records, evaluation, plan_book(evaluation)))
    assert_engines_agree_on_all(books, tmp_path)
    for book in books:
        assert_open_numbers_move(book, book.save(tmp_path / "book.xlsx"))


NO_CURVE = BY_DEVICE.partition("[[symbols.c.curve]]")[0]


@pytest.mark.parametrize(
    ("method", "place", "words"),
    [
        (NO_CURVE.replace('curve_from = "declared"\n', ""), "symbol c, curve_from", "would count as zero"),
        (NO_CURVE, "symbol c, curve", "no u of the device's curve for Cu 324.754"),
        (BY_DEVICE.replace('u = "1.5 %"', 'u = "0 %"'), "symbol c, curve 1", "no uncertainty above zero"),
        (BY_DEVICE.replace('u = "1.5 %"', "exact = true"), "symbol c, curve 1", "no uncertainty above zero"),
        (BY_DEVICE.replace('source = "validation file (invented)"\n', ""), "symbol c, curve 1", "no source"),
        (BY_STANDARDS.partition("\n[symbols.c.standards]")[0], "symbol c, standards", "their residuals do not hold"),
        (BY_STANDARDS.replace("\n[symbols.c.standards]", "curve_parameters = 3\n[symbols.c.standards]"), "", ""),
    ],
)
def test_the_curve_is_never_silently_zero(method: str, place: str, words: str, tmp_path: Path) -> None:
    records, findings = read_records(write(tmp_path / "run", method))
    stops = [finding for finding in findings if finding.severity == "stop"]
    if not place:
        assert records is not None
        return
    assert any(finding.place == place and words in finding.line() for finding in stops), findings
    assert records is None


@pytest.mark.parametrize(("kind", "label"), [("check solutions", "CHK"), ("exported standards", "S")])
def test_evidence_that_was_not_measured_is_told(kind: str, label: str, tmp_path: Path) -> None:
    folder = write(tmp_path / "run", METHODS[kind])
    lines = (folder / "readings.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(label) or line.startswith("solution")]
    (folder / "readings.csv").write_text("".join(kept), encoding="utf-8")
    records, findings = read_records(folder)
    assert records is None
    told = [finding for finding in findings if finding.place == "symbol c, curve_from"]
    assert len(told) == 3 and all(finding.severity == "stop" for finding in told)


def test_check_solutions_beside_a_calibration_want_a_limit(tmp_path: Path) -> None:
    _, findings = read_records(write(tmp_path / "run", CALIBRATED))
    told = [finding for finding in findings if finding.place.startswith("check_solution")]
    assert told and all("nothing judges" in finding.found for finding in told), findings


REGISTER = """
title = "Register (invented)"
revision = "1"
date = 2026-01-05

[[reference_material]]
id = "CHK-7"
kind = "stock solution"
description = "check solution of another producer (invented)"
lot = "L-7"
expiry = 2027-01-01

[[reference_material.certificate]]
number = "C-7"
issuer = "Producer B (invented)"
accreditation = "PRO 7 (invented)"
route = "accredited producer"
issued = 2025-09-01
due = 2027-01-01
traceable_to = "mole and kilogram"
ends_at = "SI"

[[reference_material.certificate.property]]
analyte = "Cu"
value = "0.5 mg/L"
U = "0.006 mg/L"
k = 2
"""


def test_check_solutions_of_the_register_are_links_of_the_chain(tmp_path: Path) -> None:
    folder = write(tmp_path / "run", BY_CHECKS)
    text = (folder / "run.toml").read_text(encoding="utf-8")
    text = text.replace('label = "CHK"\n', 'label = "CHK"\nitem = "CHK-7"\n')
    (folder / "run.toml").write_text(text, encoding="utf-8")
    records, findings = read_records(folder)
    assert records is None
    assert any("CHK-7, which is not in the register" in finding.line() for finding in findings)
    named = text.replace('samples = "samples.csv"', 'samples = "samples.csv"\nregister = "register.toml"')
    (folder / "run.toml").write_text(named, encoding="utf-8")
    (folder / "register.toml").write_text(REGISTER, encoding="utf-8")
    _, evaluation = read(folder)
    assert all("CHK-7" in {link.evidence.item for link in chain.links} for chain in ubudget.trace(evaluation))
