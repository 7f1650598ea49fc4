"""The figures of worked_examples/published/README.md are those that the examples give.

A table there has a column for each file; a row is named in words. What the words mean is written down here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from decimal import Decimal
from functools import cache

import pytest

import ubudget
from tests.documents.texts import PUBLISHED, table_rows
from ubudget.evaluation.evaluate import Evaluation, Result

PAGE = (PUBLISHED / "README.md").read_text(encoding="utf-8")
Figure = Callable[[Evaluation], float]


@cache
def evaluation_of(example: str) -> Evaluation:
    return ubudget.evaluate(ubudget.read_run(PUBLISHED / example))


def result_of(evaluation: Evaluation) -> Result:
    (result,) = evaluation.results
    return result


def of_result(attribute: str, times: float = 1.0) -> Figure:
    return lambda evaluation: float(getattr(result_of(evaluation), attribute)) * times


def relative_u(evaluation: Evaluation) -> float:
    result = result_of(evaluation)
    assert result.standard_uncertainty is not None and result.value is not None
    return result.standard_uncertainty / result.value


def in_column(column: str, table: str = "results") -> Figure:
    return lambda evaluation: float(evaluation.column(column, table)[0])


def u_within(symbol: str, *parts: str) -> Figure:
    """u of a quantity on the way: root of the sum of squares of its parts' contributions, over its own
    sensitivity coefficient, both as the result shows them (GUM 5.1.2)."""

    def figure(evaluation: Evaluation) -> float:
        value = evaluation.assembly.value
        coefficient = float(evaluation.column(f"∂{value}/∂{symbol}")[0])
        rows = [
            row.contribution
            for row in result_of(evaluation).budget
            if row.symbol == symbol or row.symbol.startswith(parts or (f"{symbol}.",))
        ]
        assert rows
        return math.sqrt(sum(contribution**2 for contribution in rows)) / abs(coefficient)

    return figure


VALUE, U_RESULT = of_result("value"), of_result("standard_uncertainty")
FIGURES: dict[str, Figure] = {
    "c_Cd in mg/L": VALUE,
    "u(c_Cd) in mg/L": U_RESULT,
    "u(V) in mL": u_within("V"),
    "c_NaOH in mol/L": VALUE,
    "u(c_NaOH) in mol/L": U_RESULT,
    "relative u(c_NaOH)": relative_u,
    "m_KHP in g": in_column("m_KHP"),
    "u(m_KHP) in g": u_within("m_KHP"),
    "M_KHP in g/mol": in_column("M_KHP"),
    "u(M_KHP) in g/mol": u_within("M_KHP", "A("),
    "u(V_T) in mL": u_within("V_T"),
    "slope in L/mg": in_column("slope", "curves"),
    "intercept": in_column("intercept", "curves"),
    "residual standard deviation": in_column("s", "curves"),
    "c_0 in mg/L": in_column("c_0"),
    "u(c_0) in mg/L": u_within("c_0"),
    "r in mg/dm²": VALUE,
    "u(r) in mg/dm²": U_RESULT,
    "l in nm": VALUE,
    "u(l) in nm": U_RESULT,
    "effective degrees of freedom": of_result("effective_degrees_of_freedom"),
    "k for 99 %": of_result("coverage_factor"),
    "U in nm": of_result("expanded_uncertainty"),
    "y_1 in °C": in_column("y_1"),
    "u(y_1) in °C": in_column("u(intercept at origin)", "lines"),
    "y_2": in_column("y_2"),
    "u(y_2)": in_column("u(slope)", "lines"),
    "correlation coefficient of y_1 and y_2": in_column("r", "lines"),
    "b(30 °C) in °C": VALUE,
    "u(b) in °C": U_RESULT,
    "degrees of freedom": of_result("effective_degrees_of_freedom"),
    "m_X in g": VALUE,
    "u(m_X) in mg": of_result("standard_uncertainty", 1000.0),
    "U in mg, k = 2": of_result("expanded_uncertainty", 1000.0),
    "R_X in Ω": VALUE,
    "u(R_X) in mΩ": of_result("standard_uncertainty", 1000.0),
    "U in mΩ, k = 2": of_result("expanded_uncertainty", 1000.0),
    "u(l) in nm, terms of second order included": lambda found: float(found.second_order.standard_uncertainty[0]),
    "E_X in V": VALUE,
    "u(E_X) in V": U_RESULT,
    "k for 95 %": of_result("coverage_factor"),
    "U in V": of_result("expanded_uncertainty"),
    "E_X in mm": VALUE,
    "u(E_X) in µm": of_result("standard_uncertainty", 1000.0),
    "β": in_column("edge parameter"),
    "U in mm": of_result("expanded_uncertainty"),
}


def figures_shown() -> list[tuple[str, str, str]]:
    """Row, example and shown digits, for every filled cell under a file's name."""
    found = []
    examples: list[str] = []
    for name, _, *cells in table_rows(PAGE):
        if not name:
            examples = [cell.strip("`") for cell in cells]
            continue
        found += [(name, example, shown) for example, shown in zip(examples, cells, strict=True) if shown]
    return found


@pytest.mark.parametrize(("row", "example", "shown"), figures_shown())
def test_the_page_shows_what_the_example_gives(row: str, example: str, shown: str) -> None:
    digits = Decimal(shown.replace("\N{MINUS SIGN}", "-").replace(" ", ""))
    exponent = digits.as_tuple().exponent
    assert isinstance(exponent, int)
    half = Decimal(5).scaleb(exponent - 1) * (1 + Decimal("1e-9"))
    assert abs(Decimal(FIGURES[row](evaluation_of(example))) - digits) <= half


def test_every_example_has_its_column() -> None:
    methods = {path.name for path in PUBLISHED.glob("*.toml")}
    runs = {path.parent.name for path in PUBLISHED.glob("*/run.toml")}
    assert {example for _, example, _ in figures_shown()} == methods | runs


def test_every_row_has_its_printed_figure() -> None:
    for name, printed, *_ in table_rows(PAGE):
        assert not name or re.fullmatch(r"\N{MINUS SIGN}?[\d .]+", printed), name
