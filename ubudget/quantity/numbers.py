"""Rendering 1: the numbers of a graph, all rows of a column at once (and, with draws, all trials at once)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ubudget.quantity.expression import Apply, Expression, Number, Symbol
from ubudget.quantity.graph import Formula, Given, Graph, Label, Pick, Reference, Span, Table
from ubudget.quantity.operations import TABLE

Array = npt.NDArray[np.float64]


class CircularColumns(ValueError):
    """Columns that depend on each other in a circle."""


class Numbers:
    """Values of the columns of a graph, calculated when first asked for and kept.

    `drawn` replaces columns by arrays of shape (trials, rows); the results then have that leading axis."""

    def __init__(self, graph: Graph, drawn: Mapping[tuple[str, str], Array] | None = None) -> None:
        self._graph = graph
        self._known: dict[tuple[str, str], Array] = dict(drawn or {})
        self._open: set[tuple[str, str]] = set()

    def extended(self, graph: Graph) -> Numbers:
        """The numbers of a graph that only has more columns; what is known is kept."""
        return Numbers(graph, self._known)

    def column(self, table: str, name: str) -> Array:
        """Values of a column, shape (rows,) or (trials, rows). Raises `CircularColumns`, `KeyError`."""
        key = (table, name)
        known = self._known.get(key)
        if known is None:
            if key in self._open:
                raise CircularColumns(f"{name} in {table} depends on itself")
            self._open.add(key)
            try:
                known = self._known[key] = self._calculate(table, name)
            finally:
                self._open.discard(key)
        return known

    def _calculate(self, table: str, name: str) -> Array:
        home = self._graph.tables[table]
        column = home.by_name[name]
        if isinstance(column, Given):
            return column.values
        if isinstance(column, Label):
            raise KeyError(f"{name} in {table} is text")
        assert isinstance(column, Formula)
        value = self._formula(home, column)
        if value.shape == (home.size,) and value.dtype == np.float64:
            return value
        shape = np.broadcast_shapes(value.shape, (home.size,))
        return np.ascontiguousarray(np.broadcast_to(value, shape), dtype=np.float64)

    def _formula(self, home: Table, column: Formula) -> Array:
        def readable(symbol: str) -> Readable:
            reference = home.references.get(symbol)
            if reference is None:
                return self.column(home.name, symbol)
            values = self._refer(reference)
            return OfSpan(values) if isinstance(reference, Span) else values

        if column.way is None:
            return self._evaluated(column.expression, readable)
        ways = [self._evaluated(expression, readable) for expression in column.expressions]
        result = np.broadcast_to(ways[0], np.broadcast_shapes(column.way.shape, *(np.shape(way) for way in ways)))
        for number, way in enumerate(ways[1:], start=1):
            result = np.where(column.way == number, way, result)
        return result

    def _evaluated(self, expression: Expression, readable: Callable[[str], Readable]) -> Array:
        if len(self._open) > 1:
            # Within the calculation of another column, where division by zero is silent already.
            return evaluate(expression, readable)
        with np.errstate(all="ignore"):
            return evaluate(expression, readable)

    def symbol(self, table: str, symbol: str) -> Array:
        """Values of a symbol as it stands in formulas of a table; a span has one more axis, padded with NaN."""
        reference = self._graph.tables[table].references.get(symbol)
        if reference is None:
            return self.column(table, symbol)
        return self._refer(reference)

    def _refer(self, reference: Reference) -> Array:
        source = self.column(reference.table, reference.column)
        if isinstance(reference, Pick):
            if source.shape[-1] == 0:
                return np.full(reference.rows.shape, reference.absent)
            picked: Array = source.take(reference.rows, axis=-1)
            return np.where(reference.rows >= 0, picked, reference.absent) if reference.has_absent else picked
        index = span_index(reference)
        padded = np.concatenate([source, np.full((*source.shape[:-1], 1), np.nan)], axis=-1)
        values: Array = padded[..., index]
        return values


def span_index(span: Span) -> npt.NDArray[np.int64]:
    """Row numbers of a span, shape (rows, longest); -1 beyond its end."""
    longest = int(np.max(span.stop - span.start, initial=0))
    index = span.start[:, None] + np.arange(longest)[None, :]
    return np.where(index < span.stop[:, None], index, -1)


@dataclass(frozen=True, eq=False)
class OfSpan:
    """Values of a span: one more axis than the quantities of a row, padded with NaN."""

    values: Array


Readable = npt.ArrayLike | OfSpan


def evaluate(expression: Expression, value_of: Callable[[str], Readable]) -> Array:
    """The expression on arrays; `value_of` gives the values of a symbol."""
    if isinstance(expression, Symbol):
        value = value_of(expression.name)
        return value.values if isinstance(value, OfSpan) else np.asarray(value, dtype=np.float64)
    if isinstance(expression, Number):
        return np.asarray(expression.value)
    assert isinstance(expression, Apply)
    row = TABLE[expression.operation]
    read = _for_each_row_of(value_of) if row.over_span else value_of
    arguments = [evaluate(argument, read) for argument in expression.arguments]
    result: Array = np.asarray(row.numbers(*arguments), dtype=np.float64)
    return result


def _for_each_row_of(value_of: Callable[[str], Readable]) -> Callable[[str], Readable]:
    """Values inside a sum over a span: what belongs to the row itself gets an axis for the rows of the span."""

    def read(symbol: str) -> Readable:
        value = value_of(symbol)
        return value if isinstance(value, OfSpan) else np.asarray(value, dtype=np.float64)[..., None]

    return read
