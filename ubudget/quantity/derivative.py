"""Partial derivatives as expressions, and tidying.

The derivative of an expression is an expression of the same table, so a sensitivity coefficient has one meaning in the
library, in a cell and in print.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from ubudget.quantity.expression import ONE, ZERO, Apply, Expression, Number, Symbol
from ubudget.quantity.operations import TABLE


class NoDerivative(ValueError):
    """An uncertain quantity passes through an operation that has no partial derivative."""


def derivative(expression: Expression, symbol: str) -> Expression:
    """The tidied partial derivative with respect to a symbol (GUM 5.1.3).

    Raises `NoDerivative` where the symbol stands inside an operation without partials."""
    return tidy(_derive(expression, symbol))


def _derive(expression: Expression, symbol: str) -> Expression:
    if isinstance(expression, Symbol):
        return ONE if expression.name == symbol else ZERO
    if not isinstance(expression, Apply) or symbol not in expression.symbols:
        return ZERO
    row = TABLE[expression.operation]
    if row.partials is None:
        raise NoDerivative(f"{row.name} has no partial derivative")
    terms = [
        partial * _derive(argument, symbol)
        for partial, argument in zip(row.partials(*expression.arguments), expression.arguments, strict=True)
        if symbol in argument.symbols
    ]
    total = terms[0]
    for term in terms[1:]:
        total = total + term
    return total


def tidy(expression: Expression) -> Expression:
    """The expression with numbers folded and neutral elements removed; the order of terms is kept."""
    if not isinstance(expression, Apply):
        return expression
    arguments = tuple(tidy(argument) for argument in expression.arguments)
    tidied = Apply(expression.operation, arguments)
    if all(isinstance(argument, Number) for argument in arguments):
        return _folded(tidied)
    rule = _RULES.get(expression.operation)
    return rule(*arguments) if rule else tidied


def _folded(expression: Apply) -> Expression:
    values = [argument.value for argument in expression.arguments if isinstance(argument, Number)]
    with np.errstate(all="ignore"):
        value = float(TABLE[expression.operation].numbers(*values))
    return Number(value) if math.isfinite(value) else expression


def _add(a: Expression, b: Expression) -> Expression:
    if a == ZERO:
        return b
    if b == ZERO:
        return a
    if isinstance(b, Apply) and b.operation == "negate":
        return a - b.arguments[0]
    return a + b


def _subtract(a: Expression, b: Expression) -> Expression:
    if b == ZERO:
        return a
    if a == ZERO:
        return _negate(b)
    if isinstance(b, Apply) and b.operation == "negate":
        return a + b.arguments[0]
    return a - b


def _negate(a: Expression) -> Expression:
    if isinstance(a, Number):
        return Number(-a.value)
    if isinstance(a, Apply) and a.operation == "negate":
        return a.arguments[0]
    return -a


def _multiply(a: Expression, b: Expression) -> Expression:
    if ZERO in (a, b):
        return ZERO
    if a == ONE:
        return b
    if b == ONE:
        return a
    if a == Number(-1.0):
        return _negate(b)
    if b == Number(-1.0):
        return _negate(a)
    for one, other, swap in ((a, b, False), (b, a, True)):
        if isinstance(one, Apply) and one.operation == "negate":
            inner = one.arguments[0]
            return _negate(_multiply(other, inner) if swap else _multiply(inner, other))
    # a * (1/b) reads better as a/b
    if isinstance(b, Apply) and b.operation == "divide" and b.arguments[0] == ONE:
        return _divide(a, b.arguments[1])
    if isinstance(a, Apply) and a.operation == "divide" and a.arguments[0] == ONE:
        return _divide(b, a.arguments[1])
    return a * b


def _divide(a: Expression, b: Expression) -> Expression:
    if a == ZERO and not (isinstance(b, Number) and b.value == 0):
        return ZERO
    if b == ONE:
        return a
    if isinstance(a, Apply) and a.operation == "negate":
        return _negate(_divide(a.arguments[0], b))
    return a / b


def _power(a: Expression, b: Expression) -> Expression:
    if b == ONE:
        return a
    if b == ZERO:
        return ONE
    return a**b


def _choose(name: str) -> Callable[..., Expression]:
    def rule(a: Expression, b: Expression, x: Expression, y: Expression) -> Expression:
        if isinstance(a, Number) and isinstance(b, Number):
            holds = a.value < b.value if name == "if_less" else a.value == b.value
            return x if holds else y
        return x if x == y else Apply(name, (a, b, x, y))

    return rule


def _drop_zeros(name: str) -> Callable[..., Expression]:
    def rule(*arguments: Expression) -> Expression:
        kept = tuple(argument for argument in arguments if argument != ZERO)
        return Apply(name, kept) if kept else ZERO

    return rule


_RULES: dict[str, Callable[..., Expression]] = {
    "add": _add,
    "subtract": _subtract,
    "negate": _negate,
    "multiply": _multiply,
    "divide": _divide,
    "power": _power,
    "if_less": _choose("if_less"),
    "if_equal": _choose("if_equal"),
    "add_all": _drop_zeros("add_all"),
    "sum_squares": _drop_zeros("sum_squares"),
}
