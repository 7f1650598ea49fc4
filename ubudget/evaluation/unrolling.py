"""Rendering 4: results as calculations on draws, made from the formulas of the graph row by row.

Only what the wanted results rest on is followed, picks and spans backward to the leaves; what no draw moves is a number
at once. A fitted parameter is its formula on the drawn points plus the draw of its scatter, so that each trial solves
the fit again. Standard uncertainties, degrees of freedom and `held` columns are taken at the estimates. A leaf whose
formula is evaluated elsewhere (the mean of readings, a recovery of studies) keeps its estimate and is drawn about it:
as in the law of propagation, its formula is not followed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from ubudget.evaluation.deviations import Deviations
from ubudget.quantity.expression import Apply, Expression, Number, Symbol
from ubudget.quantity.graph import Formula, Graph, Pick, Span, Table
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.operations import TABLE
from ubudget.quantity.program import Node, Nodes

NAN = float("nan")


@dataclass(frozen=True)
class _Row:
    """Where a formula is read: a row of a table, and within a total a place of its span."""

    home: Table
    number: int
    place: int = 0

    def longest(self, symbols: Iterable[str]) -> int:
        """Length of the longest span among symbols."""
        spans = [found for symbol in symbols if isinstance(found := self.home.references.get(symbol), Span)]
        return max((int(span.stop[self.number] - span.start[self.number]) for span in spans), default=0)


class Unrolling:
    """Cells of a graph as nodes; each is made once."""

    def __init__(self, graph: Graph, numbers: Numbers) -> None:
        self.nodes = Nodes()
        self._graph, self._numbers = graph, numbers
        self._deviations = Deviations(graph, numbers, self.nodes)
        self._known: dict[tuple[str, str, int], Node] = {}
        self._moved: dict[tuple[str, str], bool] = {}

    def cell(self, table: str, column: str, row: int) -> Node:
        """A cell: a node where draws move it, else its number."""
        if not self._is_moved(table, column):
            return float(self._numbers.column(table, column)[row])
        key = (table, column, row)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = self._made(self._graph.tables[table], column, row)
        return known

    def _made(self, home: Table, name: str, row: int) -> Node:
        leaf, column = home.leaf_of.get(name), home.by_name[name]
        if not isinstance(column, Formula) or (leaf is not None and name not in home.implicit):
            value: Node = float(self._numbers.column(home.name, name)[row])
        else:
            way = 0 if column.way is None else int(column.way[row])
            value = self._expression(column.expressions[way], _Row(home, row))
        return value if leaf is None else self.nodes.apply("add", value, self._deviations.of(home.name, leaf, row))

    def _expression(self, expression: Expression, row: _Row) -> Node:
        if isinstance(expression, Number):
            return float(expression.value)
        if isinstance(expression, Symbol):
            return self._symbol(expression.name, row)
        assert isinstance(expression, Apply)
        if TABLE[expression.operation].over_span:
            each = [
                [self._expression(argument, replace(row, place=place)) for argument in expression.arguments]
                for place in range(row.longest(expression.symbols))
            ]
            return self._over_span(expression.operation, each)
        return self.nodes.apply(
            expression.operation, *(self._expression(argument, row) for argument in expression.arguments)
        )

    def _symbol(self, symbol: str, row: _Row) -> Node:
        reference = row.home.references.get(symbol)
        if reference is None:
            return self.cell(row.home.name, symbol, row.number)
        if isinstance(reference, Pick):
            picked = int(reference.rows[row.number])
            return reference.absent if picked < 0 else self.cell(reference.table, reference.column, picked)
        at = int(reference.start[row.number]) + row.place
        return self.cell(reference.table, reference.column, at) if at < reference.stop[row.number] else NAN

    def _over_span(self, operation: str, each: list[list[Node]]) -> Node:
        """An operation over a span from its arguments at each place of it."""
        apply = self.nodes.apply
        if operation in ("total", "total_of"):
            return self.nodes.sum([(1.0, term) for (term,) in each])
        if operation == "total_product":
            return self.nodes.sum([(1.0, apply("multiply", a, b)) for a, b in each])
        if operation == "total_where":
            return self.nodes.sum([(1.0, apply("if_equal", key, wanted, value, 0.0)) for key, wanted, value in each])
        if operation == "rise":
            return self.nodes.sum([(0.5, self._risen(*arguments)) for arguments in each])
        assert operation in ("largest", "smallest")
        pick = "larger" if operation == "largest" else "smaller"
        kept = [value for (value,) in each if isinstance(value, int) or value == value]
        extreme = kept[0] if kept else 0.0
        for value in dict.fromkeys(kept[1:]):
            extreme = apply(pick, extreme, value)
        return extreme

    def _risen(self, x: Node, at: Node, step: Node, slope: Node) -> Node:
        apply = self.nodes.apply
        from_start = apply("subtract", x, at)
        beyond = apply("abs", apply("subtract", from_start, step))
        part = apply("add", apply("subtract", apply("abs", from_start), beyond), step)
        return apply("multiply", slope, part)

    def _is_moved(self, table: str, column: str) -> bool:
        """Whether a draw can move a column: some leaf lies behind it."""
        key = (table, column)
        if key not in self._moved:
            self._moved[key] = False
            self._moved[key] = self._finds_leaf(self._graph.tables[table], column)
        return self._moved[key]

    def _finds_leaf(self, home: Table, name: str) -> bool:
        if name in home.held:
            return False
        if name in home.leaf_of and (home.leaf_of[name].members >= 0).any():
            return True
        column = home.by_name[name]
        if not isinstance(column, Formula):
            return False
        if name in home.leaf_of and name not in home.implicit:
            return False
        for way in column.expressions:
            for symbol in way.symbols:
                reference = home.references.get(symbol)
                target = (home.name, symbol) if reference is None else (reference.table, reference.column)
                if self._is_moved(*target):
                    return True
        return False
