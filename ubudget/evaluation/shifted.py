"""Numbers of a graph whose input quantities are moved away from their estimates.

An input quantity that is calculated (a slope with scatter of its own) is moved beside its formula, so that it still
follows what it is calculated from. Weights and choices that propagation holds constant stay as they are; the basis of
a fit follows its points, since gradients hold its part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ubudget.quantity.expression import Symbol
from ubudget.quantity.graph import DETAIL, Array, Formula, Given, Graph, Leaf, Rows, Table
from ubudget.quantity.numbers import Numbers

_MOVED = "moved by: "


@dataclass(frozen=True, eq=False)
class Shifts:
    """The graph made ready for moves of its input quantities, and what it is without them."""

    graph: Graph
    numbers: Numbers
    leaves: tuple[tuple[Table, Leaf], ...]
    held: dict[tuple[str, str], Array]

    def moved(self, steps: Callable[[Rows], Array]) -> Numbers:
        """Numbers with each deviation moved by `steps(members)` times its standard uncertainty, (trials, rows)."""
        drawn = dict(self.held)
        for table, leaf in self.leaves:
            size = steps(leaf.members)
            if not size.any():
                continue
            shift = np.where(leaf.members >= 0, size * self.numbers.column(table.name, leaf.u), 0.0)
            if isinstance(table.by_name[leaf.column], Formula):
                drawn[table.name, _MOVED + leaf.column] = shift
            else:
                drawn[table.name, leaf.column] = self.numbers.column(table.name, leaf.column) + shift
        return Numbers(self.graph, drawn)


def shifts_of(graph: Graph, numbers: Numbers) -> Shifts:
    """What moves need of a graph; `numbers` are those at the estimates."""
    tables = {name: _movable(table) for name, table in graph.tables.items()}
    leaves = tuple((table, leaf) for table in graph.tables.values() for leaf in table.leaves if table.size)
    held = {
        (name, column): numbers.column(name, column) for name, table in graph.tables.items() for column in table.held
    }
    return Shifts(Graph(tables, graph.joints), numbers, leaves, held)


def _movable(table: Table) -> Table:
    calculated = {leaf.column for leaf in table.leaves if isinstance(table.by_name[leaf.column], Formula)}
    if not calculated:
        return table
    columns = [
        replace(
            column,
            expression=column.expression + Symbol(_MOVED + column.name),
            others=tuple(other + Symbol(_MOVED + column.name) for other in column.others),
        )
        if isinstance(column, Formula) and column.name in calculated
        else column
        for column in table.columns
    ]
    none: tuple[None, ...] = (None,) * table.size
    moves = [Given(_MOVED + name, "", "", np.zeros(table.size), none, DETAIL) for name in sorted(calculated)]
    return replace(table, columns=(*columns, *moves))
