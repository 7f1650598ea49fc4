"""The derivation: what it prints is right, complete and narrow enough."""

from __future__ import annotations

import ast
import math
import operator
import re
from collections.abc import Iterator
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

import ubudget
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.shipped import shipped_folder
from ubudget.pages.derivation import derivation
from ubudget.pages.noise import SAID, Noise
from ubudget.pages.plan import plan_book
from ubudget.pages.summary import summary
from ubudget.pages.walk import Walk
from ubudget.quantity.expression import Symbol
from ubudget.quantity.graph import Formula, Given, Graph, Table
from ubudget.quantity.numbers import Numbers

EXAMPLES = shipped_folder("worked_examples")
SINGLE = sorted(file.name for file in (EXAMPLES / "published").glob("*.toml"))
ONE_LINE = 100_000


@cache
def evaluated(name: str) -> Evaluation:
    return ubudget.evaluate(ubudget.read_run(EXAMPLES / name))


def row_of(evaluation: Evaluation, sample: str, analyte: str) -> int:
    return next(row for row, r in enumerate(evaluation.results) if (r.sample, r.analyte) == (sample, analyte))


CASES = [
    *((f"published/{name}", 0) for name in SINGLE),
    # One portion; a mean of two portions; a further dilution.
    *(("harbour_sediment", row) for row in (4, 18, 30)),
]


@pytest.mark.parametrize(("name", "row"), CASES)
def test_no_line_is_wider_than_the_terminal(name: str, row: int) -> None:
    lines = derivation(evaluated(name), row)
    assert max(len(line) for line in lines) <= 80
    assert max(len(line) for line in derivation(evaluated(name), row, 60)) <= 66, "names of columns may stand out"


def recalculated(text: str) -> float | None:
    """The value of a line of plain arithmetic; None where it holds anything else."""
    bare = text.replace("·", "*").replace("^", "**")
    if not re.fullmatch(r"[-+*/().\dE ]+", bare):
        return None
    return _value(ast.parse(bare, mode="eval").body)


def _value(node: ast.expr) -> float:
    if isinstance(node, ast.Constant):
        return float(node.value)
    if isinstance(node, ast.UnaryOp):
        return -_value(node.operand)
    assert isinstance(node, ast.BinOp)
    operations = {
        ast.Add: operator.add,
        ast.Sub: operator.sub,
        ast.Mult: operator.mul,
        ast.Div: operator.truediv,
        ast.Pow: operator.pow,
    }
    return float(operations[type(node.op)](_value(node.left), _value(node.right)))


def equations(lines: list[str]) -> Iterator[tuple[str, str]]:
    """Each line with numbers put in, and the value printed below it."""
    for line, below in pairwise(lines):
        upper, lower = line.partition(" = ")[2], below.strip()
        if upper and lower.startswith("= "):
            yield upper, lower.removeprefix("= ").split()[0]


@pytest.mark.parametrize(("name", "row"), CASES)
def test_whoever_recalculates_a_line_gets_the_value_below_it(name: str, row: int) -> None:
    checked = 0
    for put_in, value in equations(derivation(evaluated(name), row, ONE_LINE)):
        again = recalculated(put_in)
        if again is None:
            continue
        # Seven digits are shown; a difference of near equals loses some of them.
        largest = max((abs(float(n)) for n in re.findall(r"\d+(?:\.\d+)?(?:E[-+]\d+)?", put_in)), default=1.0)
        assert math.isclose(again, float(value), rel_tol=1e-5, abs_tol=1e-9 * largest), (put_in, value)
        checked += 1
    assert checked >= 2


def test_the_end_gauge_as_the_gum_derives_it() -> None:
    # JCGM 100:2008, H.1.3.4 and H.1.4, table H.1: c of the temperature difference is -l_S α_S = -575 nm/°C with
    # contribution 16.6 nm; combined 32 nm; effective degrees of freedom 16; t99 = 2.92.
    text = "\n".join(derivation(evaluated("published/gum_h1.toml"), 0, ONE_LINE))
    assert "∂l/∂d_theta = -l_S·alpha_S" in text
    assert "= -50000623·0.0000115" in text
    assert "= -575.0" in text
    assert "c·u = -575.0072·0.02886751 = -16.599" in text
    assert "ν_eff = 1/" in text and "= 16.7" in text
    assert "= 2.920" in text


def test_the_walk_ends_at_readings_and_certificates() -> None:
    evaluation = evaluated("harbour_sediment")
    text = "\n".join(derivation(evaluation, row_of(evaluation, "SED-07", "Zn"), ONE_LINE))
    # The readings of the dilution, of a blank and of a standard as they stand in readings.csv.
    for reading in ("37374", "37695", "37512", "706", "155180"):
        assert re.search(rf"\b{reading}\b", text), reading
    # Weighings, certificates of the dilution's ware and of the stock as they stand in the records.
    for written in ("42.1478", "42.6425", "4.997", "50.02", "998 mg/L"):
        assert written in text, written
    assert "samples.csv: row" in text and "register.toml: equipment" in text
    assert "SED-07-D" in text


def test_every_input_quantity_is_told_with_its_source() -> None:
    evaluation = evaluated("harbour_sediment")
    row = row_of(evaluation, "SED-04", "Zn")
    text = "\n".join(derivation(evaluation, row, ONE_LINE))
    for entry in evaluation.results[row].budget:
        # Those without uncertainty of one kind stand together.
        named = rf"^  (.*, )?{re.escape(entry.symbol)}(, .*)?: {re.escape(entry.quantity)}$"
        assert re.search(named, text, re.MULTILINE), entry.symbol
        assert entry.source in text
        if entry.standard_uncertainty:
            assert f"c({entry.symbol}) = " in text


def test_groups_are_ranked() -> None:
    text = derivation(evaluated("harbour_sediment"), 4, ONE_LINE)
    heads = [line for line in text if line.endswith("% of u²") and line[0] != " " and "<" not in line]
    shares = [float(line.split(": ")[1].split(" %")[0]) for line in heads]
    assert len(shares) >= 5
    assert shares == sorted(shares, reverse=True)


def test_clauses_are_cited() -> None:
    text = "\n".join(derivation(evaluated("harbour_sediment"), 4, ONE_LINE))
    for clause in ("GUM 4.2.1", "GUM 5.1.2 eq. 10", "GUM 5.1.3", "GUM 6.2.1 eq. 18", "GUM 7.2.6", "GUM G.4.1"):
        assert clause in text, clause


def test_units_stand_behind_readings_uncertainties_and_sensitivity_coefficients() -> None:
    # Units by the definition of each quantity; dimensionless numbers have none.
    evaluation = evaluated("harbour_sediment")
    lines = derivation(evaluation, row_of(evaluation, "SED-05", "Pb"), ONE_LINE)
    at = next(number for number, line in enumerate(lines) if line.strip().startswith("u(V.temperature) = "))
    assert lines[at + 2].split()[:3] == ["=", "2.309401", "K"]
    assert any(line.split()[2] == "1/s" for line in lines if line.strip().startswith("= 128.3333"))
    for unit in ("(mg/kg)/mL", "(mg/kg)/K", "(mg/kg)/g", "(mg/kg)/%", "(mg/kg)/(mg/L)"):
        assert any(f" {unit}  (" in line for line in lines), unit
    # JCGM 100:2008, Table H.1: c of the temperature difference in nm/°C, of the expansion coefficient in nm·°C.
    gauge = derivation(evaluated("published/gum_h1.toml"), 0, ONE_LINE)
    assert any(line.strip().startswith("= -575.0072") and line.endswith(" nm/K") for line in gauge)


SCREEN = 24
"""Lines of a usual terminal (common practice, no source)."""


@pytest.mark.parametrize(("name", "row"), CASES)
def test_the_summary_fits_a_screen_and_stands_first(name: str, row: int) -> None:
    lines = summary(evaluated(name), row)
    assert len(lines) <= SCREEN and max(len(line) for line in lines) <= 80
    assert derivation(evaluated(name), row)[: len(lines)] == lines


def test_the_summary_names_the_largest_groups_and_their_place_in_the_workbook() -> None:
    # JCGM 100:2008, H.1, Table H.1: u(l_S) = 25 nm, l_S θ u(α) 16.6 nm and u(d) 9.7 nm of 32 nm: the standard leads.
    text = "\n".join(summary(evaluated("published/gum_h1.toml"), 0, ONE_LINE))
    assert text.index("standard: l_S") < text.index("temperature: ") < text.index("comparison: ")
    evaluation = evaluated("harbour_sediment")
    text = "\n".join(summary(evaluation, row_of(evaluation, "SED-05", "Pb"), ONE_LINE))
    place = re.search(r"recovery: R, .*\(input quantities, row (\d+)\)", text)
    assert place is not None
    sheet = next(sheet for sheet in plan_book(evaluation).sheets if sheet.name == "input quantities")
    band = sheet.bands[0]
    at = int(place[1]) - band.first_row
    assert [next(c for c in band.columns if c.heading == h).values[at] for h in ("symbol", "applies to")] == ["R", "Pb"]


def test_quantities_without_uncertainty_stand_together() -> None:
    evaluation = evaluated("river_manganese")
    text = "\n".join(derivation(evaluation, 0, ONE_LINE))
    # Standards S1, S3 and S5 are each the only level that rests on their flask: their filling is in the residuals.
    together = re.search(r"^  (x\.flask\.filling[^:\n]*, [^:\n]*): ", text, re.MULTILINE)
    assert together is not None and len(together[1].split(", ")) == 3
    # Every row of the budget is still named.
    assert all(row.symbol in text for row in evaluation.results[0].budget)


@pytest.mark.parametrize(
    ("x", "mean", "noise"),
    [
        # 0.1 + 0.2 and 0.3 differ by one unit in the last place (IEEE 754 binary64).
        (0.1 + 0.2, 0.3, True),
        (3e-16, 1e-16, False),
        (5.0, 5.0 - 1e-9, False),
        (2.0, 2.0, False),
    ],
)
def test_a_number_is_noise_only_against_the_terms_of_its_formula(x: float, mean: float, noise: bool) -> None:
    columns = (
        Given("x", "x", "", np.array([x]), (None,)),
        Given("m", "m", "", np.array([mean]), (None,)),
        Formula("d", "d", "", Symbol("x") - Symbol("m")),
        Formula("weighed", "weighed", "", 4 * Symbol("d")),
    )
    graph = Graph({"points": Table("points", "points", 1, columns)})
    judge = Noise(Walk(graph, Numbers(graph)))
    assert judge.in_row("points", 0, "d") is noise
    assert judge.in_row("points", 0, "weighed") is noise


def test_noise_is_printed_as_zero_and_said() -> None:
    lines = derivation(evaluated("harbour_sediment"), 26)
    assert not [line for line in lines if re.search(r"\dE-1[5-9]\b", line) and "2E-15 of its terms" not in line]
    assert any(SAID[:40] in line for line in lines)


def test_a_recovery_from_a_series_of_experiments_is_of_type_a() -> None:
    # JCGM 100:2008, 2.3.2: type A is the evaluation by statistical analysis of series of observations.
    (recovery,) = (row for row in evaluated("harbour_sediment").results[4].budget if row.symbol == "R")
    assert (recovery.evaluation, recovery.degrees_of_freedom) == ("A", 14)
    assert "RM-SED not used" in recovery.source
