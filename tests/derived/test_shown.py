"""Derived results where people and other programs meet them: derivation, statement, JSON, chains."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from tests.derived.rinse_water import EXAMPLE
from tests.workbooks.books import Written, written
from ubudget.cli import app
from ubudget.evaluation.traceability import chains


@pytest.fixture(scope="module")
def example() -> Written:
    return written(EXAMPLE)


def said(*call: str) -> str:
    result = CliRunner().invoke(app, list(call))
    assert result.exit_code == 0, result.output
    return result.stdout


def test_evaluate_and_trace_have_no_finding() -> None:
    report = json.loads(said("evaluate", str(EXAMPLE), "--json", "-"))
    assert report["findings"] == []
    assert json.loads(said("trace", str(EXAMPLE), "--json", "-"))["findings"] == []


def test_json_has_the_same_shape_for_every_result() -> None:
    results = json.loads(said("evaluate", str(EXAMPLE), "--json", "-"))["results"]
    plain, derived = (
        next(result for result in results if result["analyte"] == name) for name in ("Cu", "removal efficiency Cu")
    )
    assert plain.keys() == derived.keys()
    assert (derived["sample"], derived["line"], derived["unit"]) == ("treatment", None, "%")
    assert derived["measurand"].startswith("part of the element's inflow")
    assert sum(row["share"] for row in derived["budget"]) == pytest.approx(1, abs=1e-9)
    symbols = [row["symbol"] for row in derived["budget"]]
    assert len(symbols) == len(set(symbols))


def test_the_chain_of_a_sum_holds_both_certified_values(example: Written) -> None:
    """Calcium and magnesium of one certificate are two links, each with the part of u² that rests on it."""
    (chain,) = [c for c in chains(example.evaluation) if (c.sample, c.analyte) == ("OUT-1", "total hardness")]
    stocks = {link.evidence.value: link for link in chain.links if link.evidence.item == "STK-CAMG"}
    assert set(stocks) == {1001.0, 999.0}
    budget = next(r for r in example.evaluation.results if (r.sample, r.analyte) == ("OUT-1", "total hardness")).budget
    shares = sorted(row.share for row in budget if row.group == "stock")
    assert sorted(link.share or 0 for link in stocks.values()) == pytest.approx(shares)
    assert "STK-CUZN" not in {link.evidence.item for link in chain.links}


def test_the_flow_meter_is_in_the_chain_of_what_it_measured(example: Written) -> None:
    items = {(c.sample, c.analyte): {link.evidence.item for link in c.links} for c in chains(example.evaluation)}
    assert "FM-1" in items["treatment", "load in Zn"]
    assert "FM-1" not in items["inflow", "ratio of rinses Zn"]
    assert "P5" in items["treatment", "load in Zn"]


def test_the_derivation_tells_equation_and_symbols() -> None:
    text = said("explain", str(EXAMPLE), "--result", "treatment/removal efficiency Zn")
    for words in ("Equation: E = K/L_in", "K: retained, Zn", "Derived results: load in", "L_in = Q_1·c_1 + Q_2·c_2"):
        assert words in text


def test_the_statement_says_what_is_derived() -> None:
    text = " ".join(said("statement", str(EXAMPLE)).split())
    assert "total hardness: amount concentration of calcium and magnesium, calculated from the results" in text
    assert "Each value is the mass concentration of the element" in text


def test_the_budget_says_whose_a_deviation_is(example: Written) -> None:
    """Readings are those of a solution and line; what all samples share names none of them."""
    budgets = {(r.sample, r.analyte): r.budget for r in example.evaluation.results}
    rows = {row.symbol: row.quantity for row in budgets["treatment", "removal efficiency Cu"]}
    readings = [words for symbol, words in rows.items() if symbol.startswith("c.reading")]
    solutions = ("RINSE-1-D", "RINSE-2-D", "OUT-1", "OUT-2", "OUT-3")
    assert sorted(readings) == sorted(f"readings of the solution ({name}, Cu, 324.754)" for name in solutions)
    assert rows["f.aliquot.calibration"] == "calibration of the ware"
    assert rows["c.slope"] == "slope of the calibration curve (Cu, 324.754)"
    assert {rows[symbol] for symbol in ("Q", "Q (2)", "Q (3)")} == {
        f"flow of the stream during the hour of sampling ({sample})" for sample in ("RINSE-1", "RINSE-2", "OUT-1")
    }
    assert "readings of the solution" in {row.quantity for row in budgets["OUT-1", "Cu"]}
