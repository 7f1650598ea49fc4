"""Standards from a pure metal by steps of volume, mass and both: value and u against a calculation of its own.

The calculation follows each deviation with the package `uncertainties` from metal, balance and ware to the result, and
refits the line; EURACHEM/CITAC CG 4 (QUAM:2012), A1 and A2, say which deviations there are. A reading's scatter enters
each point as a deviation of its own, which gives QUAM E.4 for the inverse prediction.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from uncertainties import nominal_value, std_dev, ufloat

from tests.agreement.test_uncertainties import correlated_variance
from tests.calibration.prepared_run import METHOD, READINGS, REGISTER, RUN, SOLUTIONS, texts
from tests.calibration.test_exactness import FitWalk
from tests.engines import (
    require_engine,
)
from tests.workbooks.books import Written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.bench.assembly import RESULTS
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import records_from_texts
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.plan import plan_book

ROOT3, ROOT6 = math.sqrt(3), math.sqrt(6)


def evaluation_of(**changed: str) -> Evaluation:
    records, findings = records_from_texts(texts(**changed))
    assert records is not None, [finding.line() for finding in findings]
    evaluation, more = evaluate(records)
    assert evaluation is not None, [finding.line() for finding in more]
    return evaluation


def findings_of(**changed: str) -> list[str]:
    records, findings = records_from_texts(texts(**changed))
    if records is not None:
        findings = [*findings, *evaluate(records)[1]]
    return [f"{finding.severity} {finding.line()}" for finding in findings]


# --- The bench, each deviation a number of its own ---

P25, P5 = ufloat(25, 0.09 / ROOT6), ufloat(5, 0.04 / ROOT6)
F500, F100 = ufloat(500, 0.5 / ROOT6), ufloat(100, 0.2 / ROOT6)
KELVIN = ufloat(0, 3 / ROOT3)
WATER = 2.1e-4


def reading_of_balance(counted: bool) -> Any:
    """Deviation of one reading: linearity, resolution, repeatability where it is counted, in g."""
    deviation = ufloat(0, 0.0004 / ROOT3) + ufloat(0, 0.0001 / (2 * ROOT3))
    return deviation + ufloat(0, 0.0002) if counted else deviation


def warm(volume: Any, repeatability: float = 0.0) -> Any:
    filled = volume + ufloat(0, repeatability) if repeatability else volume
    return filled + nominal_value(volume) * WATER * KELVIN


def standards() -> dict[str, Any]:
    """Concentration of each standard in mg/L.

    Errors of the steps of S1, S2 and S3 alone are in the residuals; Z-1000 and Z-50 are in several standards."""
    empty = reading_of_balance(True)
    mass = 0.5013 + reading_of_balance(True) - empty
    Z1000 = ufloat(999200, 400) * mass / warm(F500, 0.1) * (1 + ufloat(0, 0.003 / ROOT3))
    empty = reading_of_balance(True)
    Z50 = Z1000 * warm(P25, 0.02) / (503.27 + reading_of_balance(True) - empty)
    empty = reading_of_balance(False)
    part, whole = 2.0125 + reading_of_balance(False) - empty, 100.421 + reading_of_balance(False) - empty
    S1 = Z50 * part / (whole / ufloat(1.0052, 0.003))
    # One room: its temperature leaves the ratio of pipette and flask as it is.
    S2 = Z50 * P5 * ufloat(1.0081, 0.004) / F100
    empty = reading_of_balance(False)
    part = 0.2531 + reading_of_balance(False) - empty
    S3 = Z1000 * (part / ufloat(1.0154, 0.005)) / warm(50.0)
    return {"S0": 0.0, "S1": S1, "S2": S2, "S3": S3}


def test_value_and_u_are_those_of_a_calculation_of_its_own() -> None:
    rows = [line.split(",") for line in READINGS.splitlines()[1:]]
    read = {row[0]: [float(value) for value in row[3:]] for row in rows}
    made = standards()
    x0 = np.array([nominal_value(made[label]) for label in made for _ in read[label]])
    y0 = np.array([value for label in made for value in read[label]])
    coefficients = np.polyfit(x0, y0, 1)
    s = math.sqrt(((y0 - np.polyval(coefficients, x0)) ** 2).sum() / (y0.size - 2))
    x = [made[label] for label in made for _ in read[label]]
    y = [ufloat(value, s) for value in y0]
    x_mean, y_mean = sum(x) / len(x), sum(y) / len(y)
    slope = sum((a - x_mean) * (b - y_mean) for a, b in zip(x, y, strict=True)) / sum((a - x_mean) ** 2 for a in x)
    # The points enter at their readings; what scatters about the line is counted once for the points, at the line.
    expected = {}
    for label in ("A", "B-D"):
        reading = ufloat(float(np.mean(read[label])), s / math.sqrt(3))
        expected[label] = x_mean + (reading - y_mean) / slope
    empty = reading_of_balance(True)
    part, whole = 5.0214 + reading_of_balance(True) - empty, 50.338 + reading_of_balance(True) - empty
    factor = (whole / ufloat(1.003, 0.002)) / (part / ufloat(1.012, 0.004))
    expected["B"] = expected.pop("B-D") * factor
    results = {result.sample: result for result in evaluation_of().results}
    assert set(results) == set(expected)
    for sample, number in expected.items():
        assert results[sample].value == pytest.approx(nominal_value(number), rel=1e-12)
        assert results[sample].standard_uncertainty == pytest.approx(std_dev(number), rel=1e-10)


def test_every_cell_walked_anew_gives_the_same() -> None:
    evaluation = evaluation_of()
    walk = FitWalk(evaluation)
    for row, result in enumerate(evaluation.results):
        number = walk.cell(RESULTS, evaluation.assembly.value, row)
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        expected = math.sqrt(correlated_variance(evaluation, number, walk))
        assert result.standard_uncertainty == pytest.approx(expected, rel=1e-12)


# --- In the workbook ---


@pytest.fixture(scope="module")
def book() -> Written:
    evaluation = evaluation_of()
    return Written(evaluation.assembly.records, evaluation, plan_book(evaluation))


def test_both_engines_agree_with_the_library(book: Written, tmp_path: Path) -> None:
    assert_engines_agree(book, tmp_path, floor=1e-13)


def test_every_open_number_moves_the_results_as_in_the_library(book: Written, tmp_path: Path) -> None:
    """Masses, densities, the keeping of a solution, the metal's certificate, the balance."""
    require_engine("ironcalc")
    cells = numeric_cells(book)
    fields = {str(cell.origin.path[-1]) for cell in cells}
    assert {"aliquot_mass", "total_mass", "value", "half_width", "linearity", "resolution", "repeatability"} <= fields
    assert_open_numbers_move(book, book.save(tmp_path / "book.xlsx"), cells)


def test_reading_back_gives_the_same_records(book: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(book.save(tmp_path / "book.xlsx"))
    assert records == book.records, findings


# --- Bad input ---

BAD = {
    "after its last day": ({"register": REGISTER.replace("use_by = 2026-04-02", "use_by = 2026-03-09")}, "attend"),
    "before it was prepared": (
        {"register": REGISTER.replace("prepared = 2026-03-02", "prepared = 2026-03-20")},
        "attend",
    ),
    "the unknown standard Z-60": ({"run": RUN.replace('"Z-50"', '"Z-60"')}, "stop"),
    "a circle: Z-1000 is made from itself": ({"register": REGISTER.replace('from = "ZINC"', 'from = "Z-50"')}, "stop"),
    "BALX, which is not in the register": ({"run": RUN.replace('balance = "BAL"', 'balance = "BALX"', 1)}, "stop"),
    "P5, which is a pipette": ({"run": RUN.replace('balance = "BAL"', 'balance = "P5"', 1)}, "stop"),
    "2.0125 mL, which does not convert to g": ({"run": RUN.replace("2.0125 g", "2.0125 mL")}, "stop"),
    "less than its aliquot": ({"run": RUN.replace("100.421 g", "1.421 g")}, "stop"),
    "made up by mass, while contents are in mg/L": (
        {"run": RUN.replace('density_made = { value = "1.0052 g/mL", u = "0.003 g/mL" }', "")},
        "stop",
    ),
    "an aliquot by volume of a solution with its content by mass, without density": (
        {"run": RUN.replace('density = { value = "1.0081 g/mL", u = "0.004 g/mL" }', "")},
        "stop",
    ),
    "a density without uncertainty": ({"run": RUN.replace(', u = "0.004 g/mL"', "")}, "stop"),
    "balance belongs to what is weighed": ({"run": RUN.replace('to = "F100"', 'to = "F100"\nbalance = "BAL"')}, "stop"),
    "both or neither of to and total_mass": ({"run": RUN.replace('to = "F100"', "")}, "stop"),
    "the label Z-50, which is an item of the register too": ({"run": RUN.replace('"S3"', '"Z-50"')}, "stop"),
    "stability of 0.3 mg/L": (
        {"register": REGISTER.replace('half_width = "0.3 %"', 'half_width = "0.3 mg/L"')},
        "stop",
    ),
    "use_by before prepared": ({"register": REGISTER.replace("use_by = 2026-08-02", "use_by = 2025-08-02")}, "stop"),
    "no mass": ({"solutions": SOLUTIONS.replace("5.0214", "")}, "stop"),
    "no balance, though it was weighed": ({"solutions": SOLUTIONS.replace("50.338,BAL", "50.338,")}, "stop"),
    "though the dilution names no mass there": ({"solutions": SOLUTIONS.replace("mass > mass", "P5 > mass")}, "stop"),
    "without the density of the solution diluted": (
        {"method": METHOD.replace('[symbols.f.density]\nvalue = "1.012 g/mL"\nu = "0.004 g/mL"\n', "")},
        "stop",
    ),
}


@pytest.mark.parametrize("said", list(BAD))
def test_what_is_wrong_with_a_preparation_is_said_in_one_line(said: str) -> None:
    changed, severity = BAD[said]
    told = findings_of(**changed)
    assert any(line.startswith(severity) and said in line for line in told), told


def test_a_clean_preparation_has_no_finding() -> None:
    about = ("standard ", "prepared_standard", "reference_material", "solutions.csv", "run.toml")
    assert not [line for line in findings_of() if any(word in line for word in about) and "equipment" not in line]
