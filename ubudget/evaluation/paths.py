"""Paths from a column to the input quantities it depends on, and the columns drafted while they are followed."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from ubudget.quantity.expression import Expression, Symbol
from ubudget.quantity.graph import PROPAGATION, Formula, Given, Graph, Leaf, Reference, Rows, Table


@dataclass(frozen=True, eq=False)
class Path:
    """The way from a column to one leaf: its row for each row (-1 = none), the sensitivity in this table's names."""

    leaf: tuple[str, str]
    rows: Rows
    sensitivity: Expression


@dataclass
class Draft:
    """Columns and references being added to the tables while paths are followed."""

    graph: Graph
    columns: dict[str, dict[str, Formula | Given]] = field(default_factory=dict)
    references: dict[str, dict[str, Reference]] = field(default_factory=dict)
    paths: dict[tuple[str, str], list[Path]] = field(default_factory=dict)

    def add_column(self, table: str, column: Formula | Given) -> Symbol:
        self.columns.setdefault(table, {})[column.name] = replace(column, rank=PROPAGATION)
        return Symbol(column.name)

    def add_reference(self, table: str, name: str, reference: Reference) -> Symbol:
        self.references.setdefault(table, {})[name] = reference
        return Symbol(name)

    def add_table(self, table: Table) -> None:
        """Adds a table unless it is there."""
        if table.name not in self.graph.tables:
            self.graph = self.graph.with_table(table)

    def finished(self) -> Graph:
        graph = self.graph
        for name in {**self.columns, **self.references}:
            table = graph.tables[name]
            graph = graph.with_table(
                table.with_columns(tuple(self.columns.get(name, {}).values()), self.references.get(name, {}))
            )
        return graph


def leaf_at(graph: Graph, key: tuple[str, str]) -> Leaf:
    return graph.tables[key[0]].leaf_of[key[1]]


def first_present(rows: Rows) -> int:
    present = rows[rows >= 0]
    return int(present[0]) if present.size else 0


def taken(values: Rows, rows: Rows) -> Rows:
    if not values.size:
        return np.full(rows.shape, -1)
    return np.where(rows >= 0, values[rows], -1)
