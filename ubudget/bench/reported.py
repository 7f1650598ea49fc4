"""The table `results` of a run with derived results: those of the lines, and the derived ones below them.

Each row hands on the value of its own table, so that all of them are propagated, covered and shown alike.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import USABLE, Context
from ubudget.bench.derived import Source
from ubudget.bench.folding import FOLDS, LINES_APART
from ubudget.bench.result_table import ANALYTE, LINE, RESULTS, SAMPLE, STATUS
from ubudget.quantity.expression import Expression

VALUE, UNIT = "value", "unit"


def add_reported(context: Context, sources: Sequence[Source]) -> None:
    """Joins tables of results into the one that is reported."""
    keys = [key for source in sources for key in source.keys]
    table = TableBuilder(RESULTS, "Results", len(keys), context.shared)
    table.label(SAMPLE, "sample", [key.sample for key in keys])
    table.label(ANALYTE, "analyte or derived result", [key.analyte for key in keys])
    table.label(LINE, "line", [key.line or "" for key in keys])
    table.label(UNIT, "unit", [source.unit or "1" for source in sources for _ in source.keys])
    starts = np.cumsum([0, *(len(source.keys) for source in sources)])

    def joined(column_of: Sequence[str]) -> Expression:
        """The column of each table in its own rows; what a table does not have is 0 there."""
        total: Expression | None = None
        for source, start, column in zip(sources, starts, column_of, strict=False):
            if column not in context.tables[source.table].by_name:
                continue
            rows = np.full(len(keys), -1)
            rows[start : start + len(source.keys)] = np.arange(len(source.keys))
            part = table.pick(f"{column} from {source.table}", source.table, column, rows)
            total = part if total is None else total + part
        assert total is not None
        return total

    units = {source.unit for source in sources}
    table.formula(VALUE, "value", units.pop() if len(units) == 1 else "", joined([source.column for source in sources]))
    table.formula(STATUS, USABLE, "", joined([STATUS] * len(sources)))
    for mark in (*FOLDS, LINES_APART):
        if any(mark.name in context.tables[source.table].by_name for source in sources):
            table.formula(mark.name, mark.heading, "", joined([mark.name] * len(sources)))
    context.tables[RESULTS] = table.build()
