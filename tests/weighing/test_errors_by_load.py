"""Errors of indication by load: against a calculation of its own, and in the workbook.

Errors and U are interpolated with `numpy.interp` between the loads of the certificate (EURAMET cg-18, version 4.0, 7.4:
W = R - E(R)), deviations are followed with the package `uncertainties`. An error that is not corrected is limits of a
rectangular distribution (GUM 4.3.7). All figures are invented."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from uncertainties import nominal_value, std_dev, ufloat

from tests.agreement.test_uncertainties import Walk, assert_walk_agrees
from tests.calibration.prepared_run import REGISTER as PREPARED
from tests.calibration.prepared_run import texts
from tests.weighing.weighing_runs import CERTIFICATE, FORMS, evaluation_of, mass_rows, result_of, weighing_run, written
from tests.workbooks.books import Written, evaluated
from tests.workbooks.live_checks import assert_engines_agree_on_all, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.evaluation.traceability import chains
from ubudget.files.reading import read_records, records_from_texts
from ubudget.files.trace_exchange import trace_object
from ubudget.files.workbook_reading import read_workbook

LOADS, ERRORS, U = (5.0, 12.3, 50.0), (0.21, -0.12, 0.16), (0.10, 0.14, 0.30)
"""g, mg, mg (k = 2)."""
SINGLE = 'resolution = "0.1 mg"\nrepeatability = "0.1 mg"\n'
NOT_CORRECTED = 'indication_errors = "not corrected"\n'


def by_load(loads: tuple[float, ...] = LOADS) -> str:
    return CERTIFICATE + "".join(
        f'\n[[equipment.certificate.property]]\nat = "{load} g"\nvalue = "{error} mg"\nU = "{u} mg"\nk = 2\n'
        for load, error, u in zip(loads, ERRORS, U, strict=True)
    )


def error_at(load: float) -> float:
    """g; zero at zero load, to which the balance is set."""
    return float(np.interp(load, [0, *LOADS], [0, *ERRORS])) / 1000


def read_at(load: float, corrected: bool) -> Any:
    """The load behind one reading, in g: error, U of it, resolution and repeatability."""
    deviation = ufloat(0, float(np.interp(load, LOADS, U)) / 2000) + ufloat(0, 0.0001 / math.sqrt(12))
    deviation += ufloat(0, 0.0001)
    if corrected:
        return load - error_at(load) + deviation
    return load + deviation + ufloat(0, max(map(abs, ERRORS)) / 1000 / math.sqrt(3))


def mass(form: str, corrected: bool) -> Any:
    """Net mass of SED-02 in g: 12.1012 g to 12.6001 g, or 0.4989 g, in a vessel of about 12 g where it is tared."""
    if form == "by difference":
        return read_at(12.6001, corrected) - read_at(12.1012, corrected)
    if form == "tared":
        return read_at(12.4989, corrected) - read_at(12.0, corrected)
    return read_at(0.4989, corrected) - ufloat(0, 0.0001 / math.sqrt(12))


@pytest.mark.parametrize("corrected", [True, False], ids=["corrected", "not corrected"])
@pytest.mark.parametrize("form", FORMS)
def test_mass_and_u_are_those_of_a_calculation_of_its_own(form: str, corrected: bool, tmp_path: Path) -> None:
    balance = SINGLE + ("" if corrected else NOT_CORRECTED) + by_load()
    evaluation = evaluation_of(weighing_run(tmp_path, form=FORMS[form], balance=balance))
    expected = mass(form, corrected)
    grams = 1000 * evaluation.numbers.column("portions", "m")[1]
    assert grams == pytest.approx(nominal_value(expected), rel=1e-12)
    rows = mass_rows(result_of(evaluation)).values()
    (c,) = {round(abs(row.sensitivity_coefficient or 0), 6) for row in rows}
    u = math.sqrt(sum(row.contribution**2 for row in rows)) / c
    assert 1000 * u == pytest.approx(std_dev(expected), rel=1e-9)
    assert_walk_agrees(evaluation, Walk(evaluation))


def test_masses_of_preparation_and_dilution_are_corrected() -> None:
    """5.0214 g made up to 50.338 g in one vessel, densities 1.012 g/mL and 1.003 g/mL: each at its own load."""
    points = by_load().replace("2027-05-05", "2028-05-05")
    register = PREPARED.replace('linearity = "0.4 mg"\n', "").replace(
        '[[equipment]]\nid = "P25"', f'{points}\n[[equipment]]\nid = "P25"'
    )
    records, findings = records_from_texts(texts(register=register))
    assert records is not None, [finding.line() for finding in findings]
    evaluation = evaluated(records)
    factor = evaluation.numbers.column("dilutions of f", "f")[1]
    part, whole = 5.0214 - error_at(5.0214), 50.338 - error_at(50.338)
    assert factor == pytest.approx((whole / 1.003) / (part / 1.012), rel=1e-12)
    told = [finding.line() for finding in findings if "above the last point" in finding.found]
    assert told and "503.27 g by BAL, above the last point of certificate B-9, 50.0 g" in told[0]


# --- In the workbook ---


TREATMENTS = {"corrected": "", "not corrected": NOT_CORRECTED}


def treated(folder: Path, way: str) -> Written:
    return written(weighing_run(folder, balance=SINGLE + TREATMENTS[way] + by_load()))


@pytest.fixture(scope="module", params=TREATMENTS)
def book(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Written:
    return treated(tmp_path_factory.mktemp("by_load"), request.param)


def test_both_engines_agree_with_the_library(tmp_path_factory: pytest.TempPathFactory, tmp_path: Path) -> None:
    books = [treated(tmp_path_factory.mktemp("by_load"), way) for way in TREATMENTS]
    assert_engines_agree_on_all(books, tmp_path)


def test_every_open_number_moves_the_results_as_in_the_library(book: Written, tmp_path: Path) -> None:
    cells = [cell for cell in numeric_cells(book) if cell.sheet in ("samples", "equipment")]
    points = [cell.origin.path for cell in cells if "property" in cell.origin.path]
    assert {path[-2:] for path in points} == {(n, key) for n in range(3) for key in ("at", "value", "U", "k")}
    register = book.records.register
    assert register is not None
    left = register.equipment[0].indication_errors == "not corrected"
    assert_open_numbers_move(
        book,
        book.save(tmp_path / "book.xlsx"),
        cells,
        # Tares and gross masses lie above 5 g and about 12.3 g; only the largest error counts where none is corrected.
        unmoved=lambda cell: (
            cell.origin.path[-2:] == (0, "at") or (left and cell.origin.path[-2:] in ((1, "value"), (2, "value")))
        ),
    )


def test_reading_back_gives_the_same_records(book: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(book.save(tmp_path / "book.xlsx"))
    assert records == book.records, findings


def test_the_chain_shows_the_error_nearest_to_the_first_load(book: Written) -> None:
    """The first tare is 12.0012 g, nearest to 12.3 g."""
    evaluation = book.evaluation
    told = json.loads(json.dumps(trace_object(evaluation, chains(evaluation)), allow_nan=False))
    link = next(link for chain in told["chains"] for link in chain["links"] if link["item"] == "BAL-1")
    assert [link[key] for key in ("value", "unit", "expanded_uncertainty")] == [-0.12, "mg", 0.14]


# --- Bad input ---


@pytest.mark.parametrize(
    ("balance", "words"),
    [
        (SINGLE + NOT_CORRECTED, "no certificate with errors of indication by load"),
        (SINGLE + by_load((5.0, 12.3, 12.4)), "g by BAL-1, above the last point of certificate B-9, 12.4 g"),
        (SINGLE + by_load((5.0, 5.0, 12.4)), "5.0 g after a point that is not smaller"),
        (SINGLE + by_load().replace("12.3 g", "12.3 mL"), "12.3 mL, which does not convert to g"),
        (SINGLE + 'linearity = "0.2 mg"\n' + by_load(), "a certified value beside linearity"),
    ],
)
def test_bad_input_is_told(balance: str, words: str, tmp_path: Path) -> None:
    _, findings = read_records(weighing_run(tmp_path, balance=balance))
    assert any(words in finding.line() for finding in findings), [finding.line() for finding in findings]
