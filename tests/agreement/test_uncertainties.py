"""Propagation against the package `uncertainties`, which differentiates on its own.

The formula columns of a graph are walked cell by cell with numbers of that package in place of the input
quantities; none of our partial derivatives takes part.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import (
    correlation_matrix,
    covariance_matrix,
    nominal_value,
    std_dev,
    ufloat,
    umath,
)
from uncertainties.core import AffineScalarFunc

from ubudget.bench.assembly import RESULTS
from ubudget.evaluation import covariance, notebook
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records
from ubudget.files.shipped import shipped_folder
from ubudget.quantity.expression import Apply, Expression, Number, Symbol
from ubudget.quantity.graph import Formula, Given, Pick

EXAMPLES = sorted(
    [
        *(shipped_folder("worked_examples") / "published").glob("*.toml"),
        *(file.parent for file in shipped_folder("worked_examples").glob("**/run.toml")),
    ]
)


def evaluated(place: Path) -> Evaluation:
    records, findings = read_records(place)
    assert records is not None, findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    return evaluation


def _extreme(pick: Callable[..., Any]) -> Callable[[list[Any]], Any]:
    return lambda values: pick(values, key=nominal_value) if values else 0.0


CALCULATE: dict[str, Callable[..., Any]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "divide": lambda a, b: a / b,
    "power": lambda a, b: a**b,
    "negate": lambda a: -a,
    "sqrt": umath.sqrt,
    "exp": umath.exp,
    "ln": umath.log,
    "log10": umath.log10,
    "abs": abs,
    "sign": lambda a: math.copysign(1, nominal_value(a)) if nominal_value(a) else 0.0,
    "whole": lambda a: math.floor(nominal_value(a)),
    "larger": lambda a, b: a if nominal_value(a) >= nominal_value(b) else b,
    "smaller": lambda a, b: a if nominal_value(a) <= nominal_value(b) else b,
    "if_less": lambda a, b, x, y: x if nominal_value(a) < nominal_value(b) else y,
    "if_equal": lambda a, b, x, y: x if nominal_value(a) == nominal_value(b) else y,
    "ratio_or_zero": lambda a, b: a / b if nominal_value(b) != 0 else 0.0,
    "add_all": lambda *values: sum(values),
    "sum_squares": lambda *values: sum(value**2 for value in values),
    "total": lambda values: sum(values),
    "total_product": lambda a, b: sum(x * y for x, y in zip(a, b, strict=True)),
    "rise": lambda x, at, step, slope: sum(
        each * min(max(x - here, 0.0), wide) for here, wide, each in zip(at, step, slope, strict=True)
    ),
    "largest": _extreme(max),
    "smallest": _extreme(min),
}
"""The operations anew, on numbers of `uncertainties`; spans are lists."""


class Walk:
    """Cells of a graph by `uncertainties`: one variable for each physical deviation."""

    def __init__(self, evaluation: Evaluation) -> None:
        self.tables = evaluation.assembly.graph.tables
        self.plain = evaluation.numbers
        self.variables: dict[int, Any] = {}
        self.refitted = {name for name, table in self.tables.items() if table.implicit}
        self.refitted |= {way.points for t in self.tables.values() for ways in t.implicit.values() for way in ways}
        self.cell = cache(self._expanded)

    def _expanded(self, table: str, column: str, row: int) -> Any:
        """The package keeps derivatives of derivatives until asked; asked late, shared cells are walked many times."""
        found = self._cell(table, column, row)
        if isinstance(found, AffineScalarFunc):
            assert found.derivatives is not None
        return found

    def _cell(self, table: str, column: str, row: int) -> Any:
        home = self.tables[table]
        leaf = home.leaf_of.get(column)
        if leaf is not None:
            estimate = float(self.plain.column(table, column)[row])
            if column in home.implicit:
                # A fitted parameter: the whole fit anew, with the standards' own uncertainty in its abscissas.
                fitted = home.by_name[column]
                assert isinstance(fitted, Formula)
                estimate = self.calculated(table, fitted.expression, row)
            u = float(self.plain.column(table, leaf.u)[row])
            member = int(leaf.members[row])
            if member < 0 or u == 0:
                return estimate
            if member not in self.variables:
                self.variables[member] = ufloat(0, u)
            return estimate + self.variables[member]
        if column in home.frozen and table not in self.refitted:
            # A number taken as it is, whose uncertainty another column carries.
            return float(self.plain.column(table, column)[row])
        found = home.by_name[column]
        if isinstance(found, Given):
            return float(found.values[row])
        assert isinstance(found, Formula)
        way = 0 if found.way is None else int(found.way[row])
        return self.calculated(table, found.expressions[way], row)

    def symbol(self, table: str, symbol: str, row: int) -> Any:
        reference = self.tables[table].references.get(symbol)
        if reference is None:
            return self.cell(table, symbol, row)
        if isinstance(reference, Pick):
            picked = int(reference.rows[row])
            return reference.absent if picked < 0 else self.cell(reference.table, reference.column, picked)
        rows = range(int(reference.start[row]), int(reference.stop[row]))
        return [self.cell(reference.table, reference.column, other) for other in rows]

    def calculated(self, table: str, expression: Expression, row: int) -> Any:
        if isinstance(expression, Number):
            return expression.value
        if isinstance(expression, Symbol):
            return self.symbol(table, expression.name, row)
        assert isinstance(expression, Apply)
        arguments = [self.calculated(table, argument, row) for argument in expression.arguments]
        return CALCULATE[expression.operation](*arguments)


def correlated_variance(evaluation: Evaluation, number: Any, walk: Walk) -> float:
    """Variance with the declared correlations added by hand (GUM 5.2.2 eq. 13)."""
    graph = evaluation.assembly.graph
    variance = std_dev(number) ** 2
    for joint in graph.joints:
        parts = []
        for table, column, row in (joint.a, joint.b):
            variable = walk.variables.get(int(graph.tables[table].leaf_of[column].members[row]))
            parts.append(0.0 if variable is None else number.derivatives.get(variable, 0.0) * variable.std_dev)
        r = float(evaluation.numbers.column(joint.table, joint.column)[joint.row])
        variance += 2 * r * parts[0] * parts[1]
    return float(variance)


def assert_walk_agrees(evaluation: Evaluation, walk: Walk) -> None:
    """Value, u and correlations of all results are those of the walk; for runs without declared correlations."""
    numbers = [walk.cell(RESULTS, evaluation.assembly.value, row) for row in range(len(evaluation.keys))]
    for result, number in zip(evaluation.results, numbers, strict=True):
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        assert result.standard_uncertainty == pytest.approx(std_dev(number), rel=1e-12)
    expected = np.array(covariance_matrix(numbers))
    u = np.sqrt(np.diag(expected))
    found = covariance.covariance_matrix(evaluation.propagated, evaluation.numbers)
    assert found / np.outer(u, u) == pytest.approx(expected / np.outer(u, u), abs=1e-12)


@pytest.fixture(scope="module", params=EXAMPLES, ids=lambda place: place.stem)
def example(request: pytest.FixtureRequest) -> tuple[Evaluation, Walk, list[Any]]:
    evaluation = evaluated(request.param)
    walk = Walk(evaluation)
    value = evaluation.assembly.value
    return evaluation, walk, [walk.cell(RESULTS, value, row) for row in range(len(evaluation.keys))]


def test_the_examples_are_found() -> None:
    assert len(EXAMPLES) >= 10


def test_values_and_uncertainties_agree(example: tuple[Evaluation, Walk, list[Any]]) -> None:
    evaluation, walk, numbers = example
    for result, number in zip(evaluation.results, numbers, strict=True):
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        expected = math.sqrt(correlated_variance(evaluation, number, walk))
        assert result.standard_uncertainty == pytest.approx(expected, rel=1e-12)


def test_covariances_across_results_agree(example: tuple[Evaluation, Walk, list[Any]]) -> None:
    evaluation, _, numbers = example
    if evaluation.assembly.graph.joints:
        pytest.skip("the walk knows declared correlations for variances alone")
    matrix = covariance.covariance_matrix(evaluation.propagated, evaluation.numbers)
    expected = np.array(covariance_matrix(numbers))
    u = np.sqrt(np.diag(expected))
    assert matrix / np.outer(u, u) == pytest.approx(expected / np.outer(u, u), abs=1e-12)


def test_exchanged_numbers_are_those_of_the_results(example: tuple[Evaluation, Walk, list[Any]]) -> None:
    evaluation, _, _ = example
    exchanged = evaluation.as_ufloats()
    matrix = covariance.covariance_matrix(evaluation.propagated, evaluation.numbers)
    for result, number in zip(evaluation.results, exchanged, strict=True):
        assert number.nominal_value == result.value
        assert number.std_dev == pytest.approx(result.standard_uncertainty, rel=1e-12)
    found = np.array(covariance_matrix(exchanged))
    u = np.sqrt(np.diag(matrix))
    assert found / np.outer(u, u) == pytest.approx(matrix / np.outer(u, u), abs=1e-12)


# --- Random equations ---

FUNCTIONS = {
    "sqrt": (notebook.sqrt, umath.sqrt),
    "exp": (notebook.exp, umath.exp),
    "ln": (notebook.ln, umath.log),
    "log10": (notebook.log10, umath.log10),
}
Pair = tuple[Any, Any]
"""The same equation twice: as our expression and as a number of `uncertainties`."""


def leaves() -> list[Pair]:
    stated = [(0.7, 0.01), (1.3, 0.04), (2.2, 0.003)]
    return [
        (notebook.input_quantity(f"x{place}", value, u=u), ufloat(value, u)) for place, (value, u) in enumerate(stated)
    ]


LEAVES = leaves()


def _grown(inner: st.SearchStrategy[Pair]) -> st.SearchStrategy[Pair]:
    def binary(name: str, a: Pair, b: Pair) -> Pair:
        calculate = {
            "+": lambda x, y: x + y,
            "-": lambda x, y: x - y,
            "*": lambda x, y: x * y,
            "/": lambda x, y: x / y,
        }
        return calculate[name](a[0], b[0]), calculate[name](a[1], b[1])

    def unary(name: str, a: Pair) -> Pair:
        ours, theirs = FUNCTIONS[name]
        return ours(a[0]), theirs(a[1])

    def power(a: Pair, exponent: int) -> Pair:
        return a[0] ** exponent, a[1] ** exponent

    # Arguments outside the domain are found by the other package: such a draw is rejected by `usable`.
    return st.one_of(
        st.builds(lambda *parts: lambda: binary(*parts), st.sampled_from("+-*/"), inner, inner),
        st.builds(lambda *parts: lambda: unary(*parts), st.sampled_from(sorted(FUNCTIONS)), inner),
        st.builds(lambda *parts: lambda: power(*parts), inner, st.integers(-3, 4)),
    ).flatmap(usable)


def usable(make: Callable[[], Pair]) -> st.SearchStrategy[Pair]:
    try:
        pair = make()
    except (ValueError, ZeroDivisionError, OverflowError):
        return st.nothing()
    value = abs(nominal_value(pair[1]))
    return st.just(pair) if 1e-3 < value < 1e3 else st.nothing()


@settings(max_examples=150, derandomize=True, deadline=None)
@given(st.recursive(st.sampled_from(LEAVES), _grown, max_leaves=12))
def test_random_equations_agree(pair: Pair) -> None:
    ours, theirs = pair
    budget = notebook.budget(ours)
    assert budget.value == pytest.approx(nominal_value(theirs), rel=1e-12)
    # Sensitivities may cancel: judge against the largest contribution that one path could make.
    scale = sum(abs(row.contribution) for row in budget.rows) + 1e-3 * abs(budget.value)
    assert budget.standard_uncertainty == pytest.approx(std_dev(theirs), rel=1e-10, abs=1e-12 * scale)


def test_the_two_packages_agree_on_shared_quantities() -> None:
    (x, ux), (y, uy), _ = LEAVES
    first, second = notebook.budget(x * y), notebook.budget(x / y)
    found = correlation_matrix([first.as_ufloat(), second.as_ufloat()])[0][1]
    assert found == pytest.approx(correlation_matrix([ux * uy, ux / uy])[0][1], abs=1e-12)
