"""Expressions: numbers, symbols and operations, as immutable trees.

Trees are built by Python arithmetic (`Symbol("c") * Symbol("V")`) or from text (`ubudget.quantity.parsing`). What an
operation means - its numbers, partial derivatives and spellings - stands in `ubudget.quantity.operations`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Union

Operand = Union["Expression", float, int]


class Expression:
    """Base of the three kinds of node; holds only the arithmetic that builds trees."""

    def __add__(self, other: Operand) -> Expression:
        return Apply("add", (self, as_expression(other)))

    def __radd__(self, other: Operand) -> Expression:
        return Apply("add", (as_expression(other), self))

    def __sub__(self, other: Operand) -> Expression:
        return Apply("subtract", (self, as_expression(other)))

    def __rsub__(self, other: Operand) -> Expression:
        return Apply("subtract", (as_expression(other), self))

    def __mul__(self, other: Operand) -> Expression:
        return Apply("multiply", (self, as_expression(other)))

    def __rmul__(self, other: Operand) -> Expression:
        return Apply("multiply", (as_expression(other), self))

    def __truediv__(self, other: Operand) -> Expression:
        return Apply("divide", (self, as_expression(other)))

    def __rtruediv__(self, other: Operand) -> Expression:
        return Apply("divide", (as_expression(other), self))

    def __pow__(self, other: Operand) -> Expression:
        return Apply("power", (self, as_expression(other)))

    def __neg__(self) -> Expression:
        return Apply("negate", (self,))

    @cached_property
    def symbols(self) -> tuple[str, ...]:
        """Names of the symbols, each once, in the order of their first appearance."""
        return tuple(dict.fromkeys(_walk_symbols(self)))


@dataclass(frozen=True)
class Number(Expression):
    """An exact number."""

    value: float


@dataclass(frozen=True)
class Symbol(Expression):
    """A named quantity."""

    name: str


@dataclass(frozen=True)
class Apply(Expression):
    """An operation of the table applied to its arguments."""

    operation: str
    arguments: tuple[Expression, ...]


ZERO = Number(0.0)
ONE = Number(1.0)


def as_expression(value: Operand) -> Expression:
    """The value itself if it is an expression, else a `Number`."""
    return value if isinstance(value, Expression) else Number(float(value))


def apply(operation: str, *arguments: Operand) -> Expression:
    """`Apply` with numbers turned into nodes."""
    return Apply(operation, tuple(as_expression(argument) for argument in arguments))


def substitute(expression: Expression, replacements: dict[str, Expression]) -> Expression:
    """The expression with symbols replaced."""
    if isinstance(expression, Symbol):
        return replacements.get(expression.name, expression)
    if isinstance(expression, Apply):
        return Apply(expression.operation, tuple(substitute(a, replacements) for a in expression.arguments))
    return expression


def _walk_symbols(expression: Expression) -> Iterator[str]:
    if isinstance(expression, Symbol):
        yield expression.name
    elif isinstance(expression, Apply):
        for argument in expression.arguments:
            yield from _walk_symbols(argument)
