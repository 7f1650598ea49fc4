"""Symbols whose values stand in a table of their own, one row for each case."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ubudget.bench.cases import best_rows
from ubudget.bench.structure import ResultRow
from ubudget.records.case import Selector


@dataclass(frozen=True)
class Placed:
    """Where the values of a symbol stand: a column of a table, and its rows by case."""

    table: str
    column: str
    cases: tuple[Selector, ...]
    rows: tuple[int, ...]

    def rows_of(
        self,
        symbol: str,
        results: Sequence[ResultRow],
        matrix: Callable[[ResultRow], str],
        no_case: Callable[[str, ResultRow], None],
    ) -> list[int]:
        """The row for each result; `no_case` hears of the first result that has none."""
        found = []
        for result in results:
            chosen = best_rows(self.cases, *result.line, matrix(result))
            if not chosen:
                no_case(symbol, result)
                return [0] * len(results)
            found.append(self.rows[chosen[0]])
        return found
