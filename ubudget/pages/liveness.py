"""Which cells a reported number depends on, as things stand.

Found backwards from the results, cell by cell: a tolerance that a certificate replaces, a parameter of a covered effect
or an item that no result uses is reached by no formula and stays locked.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from ubudget.pages.ways import Way, ways_of
from ubudget.quantity.graph import Formula, Graph, Pick, Rows, Span, Table

Mask = npt.NDArray[np.bool_]


def live_cells(graph: Graph, *targets: str) -> dict[tuple[str, str], Mask]:
    """For each column that matters, its rows that some row of the tables `targets`, where present, depends on."""
    live: dict[tuple[str, str], Mask] = {}
    waiting: deque[tuple[str, str, Rows]] = deque()

    def reach(table: str, column: str, rows: Rows) -> None:
        mask = live.setdefault((table, column), np.zeros(graph.tables[table].size, dtype=np.bool_))
        fresh = np.unique(rows[~mask[rows]])
        if fresh.size:
            mask[fresh] = True
            waiting.append((table, column, fresh))

    for target in targets:
        home = graph.tables.get(target)
        for column in home.columns if home else ():
            if home and isinstance(column, Formula):
                reach(target, column.name, np.arange(home.size))
    while waiting:
        name, column_name, rows = waiting.popleft()
        table = graph.tables[name]
        formula = table.by_name[column_name]
        if not isinstance(formula, Formula):
            continue
        wanted = np.zeros(table.size, dtype=np.bool_)
        wanted[rows] = True
        for way in ways_of(table, formula):
            _reach_way(table, way, way.rows[wanted[way.rows]], reach)
    return live


def _reach_way(table: Table, way: Way, rows: Rows, reach: Callable[[str, str, Rows], None]) -> None:
    for symbol in way.expression.symbols if rows.size else ():
        reference = table.references.get(symbol)
        if reference is None:
            reach(table.name, symbol, rows)
        elif isinstance(reference, Pick):
            reach(reference.table, reference.column, reference.rows[rows])
        elif isinstance(reference, Span):
            spans = [np.arange(reference.start[row], reference.stop[row]) for row in rows]
            reach(reference.table, reference.column, np.concatenate(spans))
