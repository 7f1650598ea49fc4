"""Budgets for those who live in a notebook: input quantities composed by arithmetic.

    c = input_quantity("c", 2.51, "mg/L", u=0.02, dof=9, source="curve of the day")
    V = input_quantity("V", 50, "mL", half_width=0.06, distribution="triangular")
    m = input_quantity("m", 0.5012, "g", U=0.0004, k=2)
    print(budget(c * V / m, unit="mg/kg"))

An input quantity is a symbol of an expression; the budget is evaluated by the same graph as a run. The same
object used twice is one physical deviation; two objects are two, even under one name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import ValidationError

from ubudget.bench.assembly import Assembly, ResultKey, build_reporting
from ubudget.bench.building import TableBuilder
from ubudget.bench.context import USABLE, Context
from ubudget.bench.correlations import CORRELATIONS
from ubudget.bench.equation import Definition, Equations
from ubudget.bench.result_table import RANGE, RESULTS, STATUS
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.errors import UbudgetError
from ubudget.evaluation.budget_table import html_table, text_table
from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.composed import (
    DEEPEST,
    LONGEST,
    beyond_limits,
    inputs_of,
    symbols_of,
    unit_text,
    with_symbols,
)
from ubudget.evaluation.coverage import cover
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.evaluation.exchange import results_as_ufloats
from ubudget.evaluation.input_quantity import InputQuantity, build_stated, context_of, input_quantity, method_of
from ubudget.evaluation.propagation import propagate
from ubudget.quantity.expression import Expression, Operand, apply
from ubudget.quantity.graph import Graph, Joint
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.spelling import readable_text
from ubudget.quantity.units import UnitError, dimension, equation_dimension
from ubudget.records.method import Coverage, Method, Rounding

if TYPE_CHECKING:
    from uncertainties.core import AffineScalarFunc

__all__ = ["Budget", "InputQuantity", "budget", "exp", "input_quantity", "ln", "log10", "sqrt"]

Correlations = Mapping[tuple[str, str], float] | Mapping[tuple[InputQuantity, InputQuantity], float]
"""Correlation coefficients of estimates, by pairs of symbols or of the quantities themselves."""

VALUE = "value of the result"
"""Column of the result; a name with a space cannot meet the name of a quantity."""


def sqrt(x: Operand) -> Expression:
    """Square root of an expression."""
    return apply("sqrt", x)


def exp(x: Operand) -> Expression:
    """Exponential of an expression that is a plain number."""
    return apply("exp", x)


def ln(x: Operand) -> Expression:
    """Natural logarithm of an expression that is a plain number."""
    return apply("ln", x)


def log10(x: Operand) -> Expression:
    """Decadic logarithm of an expression that is a plain number."""
    return apply("log10", x)


@dataclass(frozen=True, eq=False)
class Budget:
    """The uncertainty budget of one expression. Numbers are unrounded unless they say so."""

    equation: str
    conversion_factor: float
    """Factor from the units of the equation to `unit`; it is part of `value`."""
    result: Result
    _evaluation: Evaluation = field(repr=False)
    _inputs: tuple[InputQuantity, ...] = field(repr=False)

    @property
    def evaluation(self) -> Evaluation:
        """The budget as an evaluation of one result."""
        return self._evaluation

    @property
    def value(self) -> float:
        return _present(self.result.value)

    @property
    def unit(self) -> str:
        return self.result.unit

    @property
    def standard_uncertainty(self) -> float:
        return _present(self.result.standard_uncertainty)

    @property
    def second_order_standard_uncertainty(self) -> float:
        """u with terms of second order for normal inputs (GUM 5.1.2, note); NaN where it cannot be told."""
        return float(self._evaluation.second_order.standard_uncertainty[0])

    @property
    def effective_degrees_of_freedom(self) -> float | None:
        """Before truncation; None = infinite."""
        return self.result.effective_degrees_of_freedom

    @property
    def coverage_factor(self) -> float:
        return _present(self.result.coverage_factor)

    @property
    def coverage_probability(self) -> float:
        return self.result.coverage_probability

    @property
    def expanded_uncertainty(self) -> float:
        return _present(self.result.expanded_uncertainty)

    @property
    def flags(self) -> tuple[str, ...]:
        return self.result.flags

    @property
    def rows(self) -> tuple[BudgetRow, ...]:
        return self.result.budget

    def as_ufloat(self) -> AffineScalarFunc:
        """The result in the package `uncertainties`, correlated with that of every budget that shares an
        input quantity (the same object)."""
        leaf = self._evaluation.graph.tables[INPUTS].leaf_of["estimate"]
        variables = {
            member: quantity.variable
            for member, quantity in zip(leaf.members.tolist(), self._inputs, strict=True)
            if member >= 0 and quantity.standard_uncertainty > 0
        }
        (number,) = results_as_ufloats(self._evaluation.propagated, self._evaluation.numbers, variables)
        return number

    def __str__(self) -> str:
        return text_table(self.equation, self.conversion_factor, self.result)

    def _repr_html_(self) -> str:
        return html_table(self.equation, self.conversion_factor, self.result)


def budget(
    expression: Expression,
    unit: str | None = None,
    *,
    k: float | None = None,
    probability: float = 0.9545,
    digits: Literal[1, 2] = 2,
    correlations: Correlations | None = None,
) -> Budget:
    """The budget of an expression over input quantities.

    Without `unit` the result has the unit of the equation. With `k` that factor holds, else Student's t at
    `probability`. `correlations` gives coefficients of pairs of estimates (GUM 5.2.2). Raises `UbudgetError`
    where units do not fit, a coefficient cannot hold, or the value cannot be calculated."""
    if beyond_limits(expression):
        raise UbudgetError(
            f"found an equation of more than {DEEPEST} levels or {LONGEST} parts; accepted: a smaller one"
        )
    inputs = inputs_of(expression)
    if not inputs:
        raise UbudgetError("found an equation without input quantity; accepted: at least one made by input_quantity()")
    symbols = symbols_of(inputs)
    named = with_symbols(expression, symbols)
    unit_of = {symbols[one]: one.unit for one in inputs}
    try:
        found = equation_dimension(named, unit_of.__getitem__)
        unit = unit_text(expression) if unit is None else unit
        wanted = dimension(unit)
    except UnitError as error:
        raise UbudgetError(f"unit of the result: {error}; state it by unit=...") from None
    if found.powers != wanted.powers:
        raise UbudgetError(f"found an equation whose units do not give {unit or '1'}; accepted: units that fit")
    factor = float(f"{float(found.factor / wanted.factor):.15g}")
    coverage = _coverage(k, probability)
    method = method_of(unit, readable_text(named), coverage, Rounding(digits=digits))
    pairs = _pairs({} if correlations is None else correlations, symbols)
    evaluation = _evaluate(method, [symbols[one] for one in inputs], inputs, named, factor, pairs)
    (result,) = evaluation.results
    if result.value is None or result.standard_uncertainty is None:
        raise UbudgetError(f"found no finite value of {method.document.equation}; accepted: estimates in its domain")
    return Budget(readable_text(named), factor, result, evaluation, tuple(inputs))


def _present(number: float | None) -> float:
    assert number is not None
    return number


def _coverage(k: float | None, probability: float) -> Coverage:
    try:
        return Coverage(
            rule="t" if k is None else "fixed",
            k=None if k is None else float(k),
            probability=float(probability),
        )
    except ValidationError:
        raise UbudgetError(
            f"found k = {k}, probability = {probability}; accepted: k above 0, probability between 0 and 1"
        ) from None


def _pairs(
    correlations: Correlations,
    symbols: Mapping[InputQuantity, str],
) -> dict[tuple[str, str], float]:
    pairs: dict[tuple[str, str], float] = {}
    for sides, r in correlations.items():
        a, b = (symbols.get(side, "") if isinstance(side, InputQuantity) else side for side in sides)
        uncertain = {symbol for one, symbol in symbols.items() if not one.entry.exact}
        if not {a, b} <= uncertain or a == b:
            raise UbudgetError(f"found a correlation of {a} and {b}; accepted: two different of {', '.join(uncertain)}")
        if not -1 <= r <= 1:
            raise UbudgetError(f"found the correlation coefficient {r}; accepted: from -1 to 1")
        pair = (min(a, b), max(a, b))
        if pair in pairs:
            raise UbudgetError(f"found two correlations of {a} and {b}; accepted: one")
        pairs[pair] = float(r)
    names = sorted({name for pair in pairs for name in pair})
    matrix = np.eye(len(names))
    for (a, b), r in pairs.items():
        matrix[names.index(a), names.index(b)] = matrix[names.index(b), names.index(a)] = r
    if names and np.linalg.eigvalsh(matrix)[0] < -1e-12:
        raise UbudgetError(
            "found correlation coefficients that contradict each other; accepted: a positive semi-definite matrix"
        )
    return pairs


def _evaluate(
    method: Method,
    symbols: Sequence[str],
    inputs: Sequence[InputQuantity],
    expression: Expression,
    factor: float,
    pairs: Mapping[tuple[str, str], float],
) -> Evaluation:
    context = context_of(method)
    build_reporting(context)
    build_stated(context, [replace(one.entry, symbol=symbol) for one, symbol in zip(inputs, symbols, strict=True)])
    _build_correlations(context, symbols, pairs)
    unit = method.document.unit
    table = TableBuilder(RESULTS, "Result", 1, context.shared)
    for row, symbol in enumerate(symbols):
        table.pick(symbol, INPUTS, "estimate", [row])
    if factor != 1:
        expression = expression * table.given("conversion factor", f"conversion to {unit or '1'}", "", factor)
    table.formula(VALUE, "result", unit, expression)
    table.formula(STATUS, USABLE, "", 0)
    table.formula(RANGE, "outside the calibrated range (-1 below, 1 above)", "", 0)
    context.tables[RESULTS] = table.build()
    graph = Graph(dict(context.tables), tuple(context.joints))
    equations = Equations(Definition(VALUE, expression, unit, factor), ())
    assembly = Assembly(context.records, graph, VALUE, (ResultKey("budget", "result", None),), None, equations)
    propagated = propagate(graph, RESULTS, VALUE)
    covered = cover(propagated, unit, method.coverage, method.rounding)
    return Evaluation(context.records, assembly, propagated, covered, Numbers(covered), ())


def _build_correlations(context: Context, symbols: Sequence[str], pairs: Mapping[tuple[str, str], float]) -> None:
    if not pairs:
        return
    table = TableBuilder(CORRELATIONS, "Declared correlations", len(pairs), context.shared)
    table.given("r", "correlation coefficient r", "", list(pairs.values()))
    context.tables[CORRELATIONS] = table.build()
    for number, (a, b) in enumerate(pairs):
        context.joints.append(
            Joint(
                (INPUTS, "estimate", symbols.index(a)),
                (INPUTS, "estimate", symbols.index(b)),
                CORRELATIONS,
                "r",
                number,
            )
        )
