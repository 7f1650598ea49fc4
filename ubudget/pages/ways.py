"""The different formulas of one column: rows that follow the same expression with the same parts absent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ubudget.quantity.derivative import tidy
from ubudget.quantity.expression import ZERO, Expression, Number, substitute
from ubudget.quantity.graph import Formula, Pick, Rows, Table


@dataclass(frozen=True, eq=False)
class Way:
    """Rows of a column and the tidied expression that they follow. `blank`: nothing is left but absent parts."""

    rows: Rows
    expression: Expression
    blank: bool


def ways_of(table: Table, formula: Formula) -> Iterator[Way]:
    """The ways of a formula column, together covering all rows."""
    symbols = dict.fromkeys(symbol for expression in formula.expressions for symbol in expression.symbols)
    picks = [
        (symbol, reference)
        for symbol in symbols
        if isinstance(reference := table.references.get(symbol), Pick) and (reference.rows < 0).any()
    ]
    way = formula.way if formula.way is not None else np.zeros(table.size, dtype=np.int64)
    marks = np.column_stack([way, *(reference.rows < 0 for _, reference in picks)]).astype(np.int64)
    patterns, group = np.unique(marks, axis=0, return_inverse=True)
    for number, pattern in enumerate(patterns):
        absent: dict[str, Expression] = {
            symbol: Number(reference.absent)
            for (symbol, reference), missing in zip(picks, pattern[1:], strict=True)
            if missing
        }
        expression = formula.expressions[int(pattern[0])]
        missing_here = any(symbol in absent for symbol in expression.symbols)
        if missing_here:
            expression = tidy(substitute(expression, absent))
        yield Way(np.flatnonzero(group.reshape(-1) == number), expression, missing_here and expression == ZERO)
