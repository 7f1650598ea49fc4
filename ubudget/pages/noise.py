"""Which numbers are only what rounding leaves of a difference of equal numbers.

A deviation from a mean that is exactly zero on paper comes out as -2.2E-16: the last bit of numbers near 2. It is
judged against the terms of its own formula, so that a small number of a small quantity stays what it is.
"""

from __future__ import annotations

from functools import cached_property
from sys import float_info

from ubudget.pages.walk import Target, Walk
from ubudget.quantity.expression import Apply, Expression, Symbol
from ubudget.quantity.graph import Formula
from ubudget.quantity.numbers import evaluate

BITS = 8 * float_info.epsilon
"""Of the sum of the terms: a few roundings of one unit in the last place each."""
SAID = "0 stands for what rounding leaves of a difference of equal numbers (below 2E-15 of its terms)."


class Noise:
    """Answers for the quantities of one walk, each once."""

    def __init__(self, walk: Walk) -> None:
        self._walk = walk

    @cached_property
    def _known(self) -> dict[Target, bool]:
        return {}

    def in_row(self, table: str, row: int, column: str) -> bool:
        """Whether a quantity of one row is noise."""
        return self._is_noise(Target(table, (row,), column))

    def _is_noise(self, target: Target) -> bool:
        if target not in self._known:
            self._known[target] = False
            if isinstance(self._walk.column(target), Formula) and len(target.rows) == 1:
                expression = self._walk.expressions(target)[0]
                self._known[target] = self._walk.values(target)[0] != 0 and self._in(target, expression)
        return self._known[target]

    def _in(self, home: Target, expression: Expression) -> bool:
        if isinstance(expression, Symbol):
            (found,) = self._walk.targets(home, expression).values()
            return self._is_noise(found)
        if not isinstance(expression, Apply):
            return False
        if expression.operation in ("add", "subtract"):
            terms = [self._value(home, argument) for argument in expression.arguments]
            if any(term is None for term in terms):
                return False
            a, b = (float(term) for term in terms if term is not None)
            return abs(a - b if expression.operation == "subtract" else a + b) <= BITS * (abs(a) + abs(b))
        if expression.operation == "multiply":
            return any(self._in(home, argument) for argument in expression.arguments)
        if expression.operation in ("negate", "divide"):
            return self._in(home, expression.arguments[0])
        return False

    def _value(self, home: Target, expression: Expression) -> float | None:
        targets = self._walk.targets(home, expression)
        if any(len(target.rows) != 1 for target in targets.values()):
            return None
        return float(evaluate(expression, lambda symbol: self._walk.values(targets[symbol])[0]))
