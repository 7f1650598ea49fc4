"""The result equation of a method: parsed, checked dimensionally, with its conversion factor made visible."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ubudget.bench.context import Context
from ubudget.quantity.expression import Expression
from ubudget.quantity.parsing import EquationError, parse, parse_definition
from ubudget.quantity.units import UnitError, dimension, equation_dimension
from ubudget.records.calibration import Calibration
from ubudget.records.method import Blank, Constant, DryMassFactor, Equation, Method, Precision
from ubudget.records.volume import Dilution


@dataclass(frozen=True)
class Definition:
    """`name` = `expression` * `factor`; the factor converts to the stated unit."""

    name: str
    expression: Expression
    unit: str
    factor: float


@dataclass(frozen=True)
class Equations:
    """The result and the named intermediate quantities."""

    result: Definition
    intermediates: tuple[Definition, ...]


def unit_of_symbol(method: Method, symbol: str) -> str:
    """Unit in which a symbol enters the equation."""
    operation = method.symbols[symbol]
    if isinstance(operation, (Dilution, DryMassFactor)):
        return ""
    if isinstance(operation, Constant):
        return operation.value.unit
    if isinstance(operation, Precision):
        return method.document.unit
    if isinstance(operation, (Calibration, Blank)):
        return operation.unit
    return operation.unit


def read_equations(context: Context) -> Equations | None:
    """Both kinds of equation of the method; None, with findings, where one is unusable."""
    method = context.records.method
    before = len(context.findings)
    result = None
    try:
        name, expression = parse_definition(method.document.equation)
        result = _definition(context, name, expression, method.document.unit, "method, equation")
    except EquationError as error:
        _refuse(context, "method, equation", error)
    intermediates = []
    for symbol, operation in method.symbols.items():
        if isinstance(operation, Equation):
            place = f"symbol {symbol}, equation"
            try:
                part = _definition(context, symbol, parse(operation.equation), operation.unit, place)
            except EquationError as error:
                _refuse(context, place, error)
            else:
                intermediates += [part] if part else []
    if result is None or len(context.findings) > before:
        return None
    return Equations(result, tuple(intermediates))


def _refuse(context: Context, place: str, error: EquationError | UnitError) -> None:
    context.find("stop", "method", place, error.found, error.accepted, "correct the equation")


def _definition(context: Context, name: str, expression: Expression, unit: str, place: str) -> Definition | None:
    method = context.records.method
    unknown = [symbol for symbol in expression.symbols if symbol not in method.symbols]
    if unknown:
        context.find(
            "stop",
            "method",
            place,
            f"the symbol {unknown[0]} without a table",
            "symbols that the method defines: " + ", ".join(method.symbols),
            f"add a table [symbols.{unknown[0]}] or correct the name",
        )
        return None
    try:
        found = equation_dimension(expression, lambda symbol: unit_of_symbol(method, symbol))
        wanted = dimension(unit)
        if found.powers != wanted.powers:
            raise UnitError(f"an equation whose units give {_powers(found.powers)}", f"units that give {unit or '1'}")
    except UnitError as error:
        _refuse(context, place, error)
        return None
    return Definition(name, expression, unit, float(f"{float(found.factor / wanted.factor):.15g}"))


def _powers(powers: Mapping[str, object] | tuple[tuple[str, object], ...]) -> str:
    pairs = powers.items() if isinstance(powers, Mapping) else powers
    return " ".join(f"{base.strip('[]')}^{power}" for base, power in pairs) or "a plain number"
