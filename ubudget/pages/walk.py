"""The way back from a number to the readings and certificates it rests on.

Starting at one column of one row, every quantity that its formula needs is visited, each once. Quantities of the same
rows of one table stand together in a block; a block of one row is told with its numbers put in, a block of several
rows (readings of a mean, points of a line) by its formulas and a table of numbers.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, FACTOR, REPORTED_U, STANDARD
from ubudget.quantity.derivative import tidy
from ubudget.quantity.expression import ZERO, Apply, Expression, Number, Symbol, substitute
from ubudget.quantity.graph import Column, Formula, Given, Graph, Label, Pick, Span
from ubudget.quantity.numbers import Numbers, evaluate

RowSet = tuple[int, ...]

_PRINTED = {STANDARD: "u_c", EFFECTIVE_DOF: "ν_eff", FACTOR: "k", EXPANDED: "U", REPORTED_U: "U reported"}
"""Columns of the results that print has letters for (GUM 5.1.2, 6.2.1, G.4.1)."""
_TOTAL = re.compile(r"^c\((?P<of>.+); (?P<by>.+)\)$")
_HANDED_ON = re.compile(r"^([\w.]+) from [\w ]+$")
_PARTIAL = re.compile(r"^∂(?P<of>.+)/∂(?P<by>.+)$")


@dataclass
class Block:
    """Columns of the same rows of one table, in the order in which they were needed."""

    number: int
    table: str
    rows: RowSet
    columns: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Target:
    """What a symbol of a formula stands for: a column of a table in some rows."""

    table: str
    rows: RowSet
    column: str


class Walk:
    """Visits quantities and remembers in which block each of them stands."""

    def __init__(self, graph: Graph, numbers: Numbers) -> None:
        self.graph, self.numbers = graph, numbers
        self._blocks: list[Block] = []
        self._home: dict[Target, Block] = {}
        self._open: dict[tuple[str, RowSet], Block] = {}
        self._formulas: dict[tuple[Target, bool], list[Expression]] = {}

    def visit(self, targets: Sequence[Target], *, reduced: bool = False) -> list[Block]:
        """New blocks with all that the targets need and that was not visited before.

        `reduced`: input quantities whose estimate is zero are left out of the formulas, as in the sensitivity
        coefficients, where they stand as factors."""
        first = len(self._blocks)
        self._open = {}
        for target in targets:
            self._need(target, reduced)
        return [block for block in self._blocks[first:] if block.columns]

    def home(self, target: Target) -> Block | None:
        """The block where a quantity is told; None for one that has not been visited."""
        return self._home.get(target)

    def column(self, target: Target) -> Column:
        return self.graph.tables[target.table].by_name[target.column]

    def values(self, target: Target) -> list[float]:
        """Numbers of a target, one a row."""
        column = self.numbers.column(target.table, target.column)
        return [float(column[row]) for row in target.rows]

    def expressions(self, target: Target, *, reduced: bool = False) -> list[Expression]:
        """The formulas that the rows of a target follow; one, except where rows are calculated in different ways."""
        key = (target, reduced)
        if key not in self._formulas:
            self._formulas[key] = self._followed(target, reduced)
        return self._formulas[key]

    def _followed(self, target: Target, reduced: bool) -> list[Expression]:
        column = self.column(target)
        assert isinstance(column, Formula)
        ways = sorted({0 if column.way is None else int(column.way[row]) for row in target.rows})
        found = [column.expressions[way] for way in ways]
        if len(target.rows) != 1 or len(found) != 1:
            return found
        return [self._in_one_row(target, found[0], reduced)]

    def targets(self, target: Target, expression: Expression, *, reduced: bool = False) -> dict[str, Target]:
        """What each symbol of a formula stands for, in the order of their appearance."""
        return {symbol: self._target(target, symbol, reduced) for symbol in expression.symbols}

    def is_deviation(self, target: Target) -> bool:
        """Whether a quantity is an input quantity with the estimate zero that no record states."""
        table = self.graph.tables[target.table]
        column = table.by_name[target.column]
        return (
            isinstance(column, Given)
            and target.column in table.leaf_of
            and all(column.places[row] is None and column.values[row] == 0 for row in target.rows)
        )

    def _need(self, target: Target, reduced: bool) -> None:
        column = self.column(target)
        if target in self._home or isinstance(column, Label) or not target.rows:
            return
        if len(target.rows) == 1 and (isinstance(column, Given) or self._is_constant(target, reduced)):
            return
        block = self._open_block(target)
        self._home[target] = block
        block.columns.append(target.column)
        if isinstance(column, Given):
            return
        for expression in self.expressions(target, reduced=reduced):
            for inner in self.targets(target, expression, reduced=reduced).values():
                self._need(inner, reduced)

    def _is_zero(self, target: Target) -> bool:
        """Whether a quantity is exactly zero for this row: a deviation, or a formula with all its parts absent."""
        if isinstance(self.column(target), Formula) and len(target.rows) == 1:
            return self.expressions(target, reduced=True) == [ZERO]
        return self.is_deviation(target)

    def _is_constant(self, target: Target, reduced: bool) -> bool:
        return isinstance(self.expressions(target, reduced=reduced)[0], Number)

    def _open_block(self, target: Target) -> Block:
        key = (target.table, target.rows)
        if key not in self._open:
            self._open[key] = Block(len(self._blocks) + 1, *key)
            self._blocks.append(self._open[key])
        return self._open[key]

    def _target(self, home: Target, symbol: str, reduced: bool = False) -> Target:
        return self._source(self._named(home, symbol), reduced)

    def _source(self, target: Target, reduced: bool) -> Target:
        """The quantity itself where a column only hands it on."""
        column = self.column(target)
        if not isinstance(column, Formula) or len(target.rows) != 1:
            return target
        expression = self.expressions(target, reduced=reduced)[0]
        return self._target(target, expression.name, reduced) if isinstance(expression, Symbol) else target

    def _named(self, home: Target, symbol: str) -> Target:
        reference = self.graph.tables[home.table].references.get(symbol)
        if reference is None:
            return Target(home.table, home.rows, symbol)
        if isinstance(reference, Pick):
            picked = {int(reference.rows[row]) for row in home.rows}
            return Target(reference.table, tuple(sorted(picked - {-1})), reference.column)
        return Target(reference.table, _spanned(reference, home.rows), reference.column)

    def _in_one_row(self, target: Target, expression: Expression, reduced: bool) -> Expression:
        """The formula as it stands for this row: absent parts and cases that do not apply are left out."""
        table, row = self.graph.tables[target.table], target.rows[0]
        replaced: dict[str, Expression] = {}
        for symbol in expression.symbols:
            reference = table.references.get(symbol)
            if isinstance(reference, Pick) and reference.rows[row] < 0:
                replaced[symbol] = Number(reference.absent)
            elif isinstance(reference, Pick) and (reference.table, reference.rows[row]) == (
                target.table,
                row,
            ):
                own = self.expressions(Target(target.table, target.rows, reference.column), reduced=reduced)
                replaced[symbol] = own[0]
            elif reduced and self._is_zero(self._named(target, symbol)):
                replaced[symbol] = ZERO
        return tidy(self._limits_taken(target, substitute(expression, replaced)))

    def _limits_taken(self, target: Target, expression: Expression) -> Expression:
        """`larger` and `smaller` guard against numbers that cannot occur here; the argument that holds remains."""
        if not isinstance(expression, Apply):
            return expression
        arguments = tuple(self._limits_taken(target, argument) for argument in expression.arguments)
        if expression.operation not in ("larger", "smaller"):
            return Apply(expression.operation, arguments)
        a, b = (float(evaluate(argument, lambda symbol: self._number(target, symbol))) for argument in arguments)
        first = a >= b if expression.operation == "larger" else a <= b
        return arguments[0] if first else arguments[1]

    def _number(self, target: Target, symbol: str) -> float:
        return self.values(self._target(target, symbol))[0]


def shown_name(symbol: str) -> str:
    """A symbol in print. Coefficients of other tables are named by what they are: `f: c(f; T)` is ∂f/∂T."""
    if symbol in _PRINTED:
        return _PRINTED[symbol]
    head, picked, inner = symbol.rpartition(": ")
    match = _TOTAL.match(inner) or _PARTIAL.match(inner)
    if match is None:
        return _HANDED_ON.sub(r"\1", inner)
    of = _HANDED_ON.sub(r"\1", head) if picked else match["of"]
    return f"∂{_bracketed(of)}/∂{_bracketed(match['by'])}"


def _bracketed(name: str) -> str:
    return f"({name})" if " " in name else name


def _spanned(span: Span, rows: RowSet) -> RowSet:
    parts: Iterator[int] = (row for home in rows for row in np.arange(span.start[home], span.stop[home]).tolist())
    return tuple(sorted(set(parts)))
