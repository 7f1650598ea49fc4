"""Set volumes, and ware certified at several of them: against a calculation of its own, and in the workbook.

The calculation interpolates with `numpy.interp` and follows each deviation with the package `uncertainties`, from the
figures of the certificates on (GUM 4.3.3; ISO 8655-2:2002, Table 1 and ISO 1042:1998, Table 1 for the limits).
"""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from uncertainties import nominal_value, std_dev, ufloat

from tests.agreement.test_uncertainties import correlated_variance
from tests.calibration.test_exactness import FitWalk
from tests.volumes.set_pipettes import BUR_POINTS, PP1_POINTS, PP5, READINGS, REGISTER, RUN, SOLUTIONS, equipment, texts
from tests.volumes.titration import REGISTER as TITRATION
from tests.volumes.titration import evaluated, titration
from tests.workbooks.books import Written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from tests.workbooks.test_alive import numeric_cells
from ubudget.bench.assembly import RESULTS
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.evaluation.traceability import chains
from ubudget.files.reading import records_from_texts
from ubudget.files.trace_exchange import trace_object
from ubudget.files.workbook_reading import read_workbook
from ubudget.pages.book import Origin
from ubudget.pages.plan import plan_book
from ubudget.pages.record_sheet import OpenCell
from ubudget.pages.trace_tree import tree_lines, trees

ROOT6 = math.sqrt(6)


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


# --- Value and u ---


def figures(points: tuple[tuple[str, str, str], ...]) -> list[list[float]]:
    """Columns at, value and U of a certificate as numbers."""
    return [list(column) for column in zip(*([float(text.split()[0]) for text in row] for row in points), strict=True)]


def by_pipette(volume: float, one: Any) -> Any:
    """mL delivered by PP1 set to `volume` in µL: the error and U of its certificate, linear between its points; `one`
    is its one deviation, in standard uncertainties."""
    at, value, U = figures(PP1_POINTS)
    error = np.interp(volume, at, np.subtract(value, at))
    return (volume + error + float(np.interp(volume, at, U)) / 2 * one) / 1000


def by_burette(volume: float) -> Any:
    """mL delivered by BUR: the error is zero at zero, U stays below the first point."""
    at, value, U = figures(BUR_POINTS)
    error = np.interp(volume, [0, *at], [0, *np.subtract(value, at)])
    return volume + error + ufloat(0, float(np.interp(volume, at, U)) / 2)


def test_value_and_u_are_those_of_a_calculation_of_its_own() -> None:
    rows = [line.split(",") for line in READINGS.splitlines()[1:]]
    read = {row[0]: [float(value) for value in row[3:]] for row in rows}
    one, stock, F50, F100 = ufloat(0, 1), ufloat(1002, 1.5), ufloat(50, 0.06 / ROOT6), ufloat(100, 0.1 / ROOT6)
    made = {"S0": 0.0, **{f"S{n}": stock * by_pipette(v, one) / F50 for n, v in ((1, 250), (2, 700), (3, 1000))}}
    x0 = np.array([nominal_value(made[label]) for label in made for _ in read[label]])
    y0 = np.array([value for label in made for value in read[label]])
    s = math.sqrt(((y0 - np.polyval(np.polyfit(x0, y0, 1), x0)) ** 2).sum() / (y0.size - 2))
    x = [made[label] for label in made for _ in read[label]]
    y = [ufloat(value, s) for value in y0]
    x_mean, y_mean = sum(x) / len(x), sum(y) / len(y)
    slope = sum((a - x_mean) * (b - y_mean) for a, b in zip(x, y, strict=True)) / sum((a - x_mean) ** 2 for a in x)
    aliquots = {
        # Repeatability of a delivery: stated for PP1; 15 µL, with ± 40 µL, is ISO 8655-2:2002, Table 1 for 5 mL.
        "A": by_pipette(300, one) + ufloat(0, 0.0011),
        "B": 2.5 + ufloat(0, 0.04 / ROOT6) + ufloat(0, 0.015),
        "C": by_burette(3),
    }
    results = {result.sample: result for result in evaluation_of().results}
    assert set(results) == set(aliquots)
    for sample, aliquot in aliquots.items():
        reading = ufloat(float(np.mean(read[f"{sample}-D"])), s / math.sqrt(3))
        expected = (x_mean + (reading - y_mean) / slope) * (F100 / aliquot)
        assert results[sample].value == pytest.approx(nominal_value(expected), rel=1e-12)
        assert results[sample].standard_uncertainty == pytest.approx(std_dev(expected), rel=1e-10)


def test_every_cell_walked_anew_gives_the_same() -> None:
    evaluation = evaluation_of()
    walk = FitWalk(evaluation)
    for row, result in enumerate(evaluation.results):
        number = walk.cell(RESULTS, evaluation.assembly.value, row)
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        expected = math.sqrt(correlated_variance(evaluation, number, walk))
        assert result.standard_uncertainty == pytest.approx(expected, rel=1e-12)


CERTIFIED_BURETTE = (("5 mL", "5.02"), ("10 mL", "10.01"), ("15 mL", "14.99"), ("20 mL", "19.98"), ("25 mL", "25.01"))


def titrated(folder: Path) -> Evaluation:
    """The titration, its burette certified at five volumes; ware of a class elsewhere."""
    values = "".join(
        f'[[equipment.certificate.property]]\nat = "{at}"\nvalue = "{value} mL"\nU = "0.01 mL"\nk = 2\n'
        for at, value in CERTIFIED_BURETTE
    )
    head = '[[equipment.certificate]]\nnumber = "B-1"\nissuer = "invented"\nissued = 2026-01-10\ndue = 2028-01-10\n'
    burette = 'accuracy_class = "AS"\n'
    return evaluated(titration(folder, register=TITRATION.replace(burette, burette + head + values, 1)))


def test_a_titrant_is_corrected_between_the_volumes_of_the_certificate(tmp_path: Path) -> None:
    """18.64 mL: between -0.01 mL at 15 mL and -0.02 mL at 20 mL; 9.35 mL: between 0.02 mL and 0.01 mL."""
    table = titrated(tmp_path).graph.tables["portions"]
    evaluation = titrated(tmp_path)
    assert "V_t.error" in table.by_name
    found = evaluation.numbers.column("portions", "V_t.error")
    wanted = [-0.01 - 0.01 * (18.64 - 15) / 5, 0.02 - 0.01 * (9.35 - 5) / 5]
    assert found == pytest.approx(wanted, rel=1e-12)
    u = next(row for row in evaluation.results[0].budget if row.symbol == "V_t.calibration")
    assert u.standard_uncertainty == pytest.approx(0.005, rel=1e-12)
    assert u.source == "BUR: certificate B-1, invented"
    # Corrected volumes ask for no word on a correction that was left out.
    assert not [finding for finding in evaluation.findings if "correction is not applied" in finding.found]


# --- In the workbook ---


@pytest.fixture(scope="module")
def book() -> Written:
    evaluation = evaluation_of()
    return Written(evaluation.assembly.records, evaluation, plan_book(evaluation))


def test_both_engines_agree_with_the_library(book: Written, tmp_path: Path) -> None:
    assert_engines_agree(book, tmp_path, floor=1e-13)


def test_every_open_number_moves_the_results_as_in_the_library(book: Written, tmp_path: Path) -> None:
    cells = numeric_cells(book)
    fields = {str(cell.origin.path[-1]) for cell in cells}
    assert {"set_to", "at", "value", "U", "k"} <= fields

    def beyond(cell: OpenCell) -> bool:
        """BUR delivers 3 mL alone: what its second point says shows only when that is edited to more than 5 mL."""
        return _is_point(cell.origin, item=2, number=1)

    assert_open_numbers_move(book, book.save(tmp_path / "book.xlsx"), cells, unmoved=beyond)


def _is_point(origin: Origin, item: int, number: int) -> bool:
    return origin.path[:6] == ("equipment", item, "certificate", 0, "property", number)


def test_reading_back_gives_the_same_records(book: Written, tmp_path: Path) -> None:
    records, findings = read_workbook(book.save(tmp_path / "book.xlsx"))
    assert records == book.records, findings


def test_the_chain_shows_the_value_nearest_to_the_first_use() -> None:
    """PP1 is first set to 250 µL, nearest to 100 µL; BUR to 3 mL."""
    evaluation = evaluation_of()
    found = chains(evaluation)
    told = json.loads(json.dumps(trace_object(evaluation, found), allow_nan=False))
    links = {link["item"]: link for chain in told["chains"] for link in chain["links"]}
    assert [links["PP1"][key] for key in ("value", "unit", "expanded_uncertainty")] == [100.6, "µL", 0.8]
    assert [links["BUR"][key] for key in ("value", "unit", "coverage_factor")] == [5.012, "mL", 2]
    lines = "\n".join(line for node in trees(evaluation, found) for line in tree_lines(node))
    assert "PP1, at 100 µL" in lines


# --- Bad input ---

PISTON = 'kind = "piston pipette"\n'
PP1_FIRST = 'at = "100 µL"\n'
BAD = {
    "no at beside others": ({"register": REGISTER.replace(PP1_FIRST, "")}, "stop"),
    "500 µL after a point that is not smaller": (
        {"register": REGISTER.replace(PP1_FIRST, 'at = "600 µL"\n')},
        "stop",
    ),
    "100 mg, which does not convert to mL": ({"register": REGISTER.replace(PP1_FIRST, 'at = "100 mg"\n')}, "stop"),
    "0 µL; accepted: a volume above zero": ({"register": REGISTER.replace(PP1_FIRST, 'at = "0 µL"\n')}, "stop"),
    "values at several points of ware that is one of a set": (
        {"register": REGISTER.replace(PISTON, f'{PISTON}use = "one of a set"\n', 1)},
        "stop",
    ),
    "at, the point of a value, with a pipette": (
        {"register": REGISTER.replace(PISTON, 'kind = "pipette"\n', 1)},
        "stop",
    ),
    "at, the point of a value, with a reference material": (
        {"register": REGISTER.replace('value = "1002 mg/L"\n', 'value = "1002 mg/L"\nat = "1 mL"\n')},
        "stop",
    ),
    "3 values without at: the first one is taken": (
        {"register": re.sub(r'at = ".* µL"\n', "", REGISTER)},
        "attend",
    ),
    "12 mL by BUR, above the last point of certificate C-BUR, 10 mL": (
        {"solutions": SOLUTIONS.replace("BUR > F100,3", "BUR > F100,12")},
        "attend",
    ),
    "12 mL from BUR of 10 mL": ({"solutions": SOLUTIONS.replace("BUR > F100,3", "BUR > F100,12")}, "attend"),
    "50 µL by PP1, below the first point of certificate C-PP1, 100 µL": (
        {"run": RUN.replace("250 µL", "50 µL")},
        "attend",
    ),
    "250 mg, which does not convert to mL": ({"run": RUN.replace("250 µL", "250 mg")}, "stop"),
    "set_to without aliquot": (
        {"run": RUN.replace('aliquot = "PP1", to', 'aliquot_mass = "1 g", to')},
        "stop",
    ),
    "a pipette; accepted: burette, graduated pipette, piston pipette": (
        {"register": REGISTER.replace(PP5, equipment("PP5", "pipette", "5 mL", 'accuracy_class = "A"'))},
        "stop",
    ),
    "beside a dilution without a pipette, or of several steps": (
        {"solutions": SOLUTIONS.replace("PP1 > F100,0.3", "PP1 > F100; PP1 > F100,0.3")},
        "stop",
    ),
}


ONE_VALUE = equipment("PP5", "piston pipette", "5 mL", points=(("x", "4.98 mL", "0.02 mL"),)).replace('at = "x"\n', "")
BAD |= {
    "2.5 mL by PP5, certified 4.98 mL at 5 mL (C-PP5): the correction is not applied": (
        {"register": REGISTER.replace(PP5, ONE_VALUE)},
        "attend",
    ),
    "use outside the range of the certificate: S1 250 µL; accepted: use from 0.3 mL to 1 mL": (
        {
            "register": REGISTER.replace(
                "issued = 2026-01-10", 'range_from = "0.3 mL"\nrange_to = "1 mL"\nissued = 2026-01-10', 1
            )
        },
        "attend",
    ),
}


@pytest.mark.parametrize("words", BAD)
def test_bad_input_is_told(words: str) -> None:
    changed, severity = BAD[words]
    found = findings_of(**changed)
    assert any(words in line and line.startswith(severity) for line in found), found


def test_below_the_first_volume_of_a_burette_nothing_is_told() -> None:
    assert not [line for line in findings_of() if "BUR" in line and "point" in line]
