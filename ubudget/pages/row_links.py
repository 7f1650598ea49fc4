"""Where the input quantities of each result stand: sheet rows, kept beside the computation for the budget sheet."""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import BandColumn, Value
from ubudget.pages.placement import Placements, quoted
from ubudget.quantity.spelling import column_letters


@dataclass(frozen=True, eq=False)
class RowLinks:
    """Columns to the right of the table `results`, and the range of the one that serves each slot."""

    columns: tuple[BandColumn, ...]
    range_of_slot: tuple[str, ...]


def row_links(evaluation: Evaluation, placements: Placements) -> RowLinks:
    """One column for each different set of rows that slots refer to; empty where a result has no such quantity."""
    home = placements["results"]
    first = home.left + len(home.table.columns)
    known: dict[tuple[str, bytes], int] = {}
    columns: list[BandColumn] = []
    ranges = []
    for slot in evaluation.slots:
        key = (slot.table, slot.rows.tobytes())
        if key not in known:
            known[key] = len(columns)
            there = placements[slot.table]
            values: list[Value] = [there.row(int(row)) if row >= 0 else None for row in slot.rows]
            heading = f"row in {there.sheet}"
            remark = there.table.title
            columns.append(BandColumn(heading, values, "fixed", number_format="0", remark=remark, width=9.0))
        letter = column_letters(first + known[key])
        ranges.append(f"{quoted(home.sheet)}!${letter}${home.first_row}:${letter}${home.last_row}")
    return RowLinks(tuple(columns), tuple(ranges))
