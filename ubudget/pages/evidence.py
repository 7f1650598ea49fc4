"""Evidence beside the numbers: a column of sources for each input quantity whose rows rest on different ones."""

from __future__ import annotations

from ubudget.quantity.graph import Graph, Label, Leaf, Table

LAST = 3
"""Rank: behind everything that is calculated."""


def evidence_column(table: Table, leaf: Leaf) -> str | None:
    """Column of a table that names the source of a leaf's rows; None where all rows have one source."""
    sources = tuple(trait.source for trait in leaf.traits)
    if len(set(sources)) <= 1:
        return None
    for column in table.columns:
        if isinstance(column, Label) and column.values == sources:
            return column.name
    return f"evidence of {leaf.column}"


def with_evidence(graph: Graph) -> Graph:
    """The graph with those columns in its tables."""
    for table in list(graph.tables.values()):
        for leaf in table.leaves:
            name = evidence_column(table, leaf)
            if name is not None and name not in table.by_name:
                label = Label(name, name, tuple(trait.source for trait in leaf.traits), rank=LAST)
                table = table.with_columns((label,), {})
        graph = graph.with_table(table)
    return graph
