"""The printed table of the budget sheet: the input quantities that the chosen result has, the largest share first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band, BandColumn, Highlight, Value
from ubudget.pages.budget_rows import ABSENT, COLUMN, ORDER, RANKING, TIE, TOP, Line, shares_of
from ubudget.quantity.spelling import column_letters, number_text

PLACE = column_letters(len(ORDER) + 1)
"""Column of the place among all input quantities, to the right of what is printed."""


def budget_band(evaluation: Evaluation, lines: Sequence[Line], behind: Band, chosen: int) -> Band:
    """As many rows as the result with most input quantities needs; further ones stay empty and unruled."""
    results = range(len(evaluation.keys))
    # Row by row, what each result would show there.
    ranks = shares_of(evaluation, lines) - TIE * np.arange(1, len(lines) + 1)
    listed = [
        sorted((n for n, line in enumerate(lines) if line.present(row)), key=lambda n: -ranks[row, n])
        for row in results
    ]
    size = max(len(numbers) for numbers in listed)
    first = TOP + Band.HEADING_ROWS
    mine = listed[chosen]
    candidates = [sorted({numbers[n] for numbers in listed if n < len(numbers)}) for n in range(size)]

    def filled(column: BandColumn) -> list[Value]:
        return [column.values[mine[n]] if n < len(mine) else None for n in range(size)]

    def area(name: str) -> str:
        return f"${COLUMN[name]}${behind.first_row}:${COLUMN[name]}${behind.last_row}"

    def looked_up(name: str) -> list[str | None]:
        found = f"INDEX({area(name)},${PLACE}{{row}})"
        formula = f'IF(${PLACE}{{row}}=0,"",IF({found}="","",{found}))'
        return [formula.format(row=first + n) for n in range(size)]

    def longest(name: str) -> list[str] | None:
        if name not in ("quantity", "source"):
            return None
        texts = [line.quantity if name == "quantity" else _longest_source(line) for line in lines]
        return [max((texts[number] for number in numbers), key=len) for numbers in candidates]

    columns = [
        replace(column, values=filled(column), formulas=looked_up(name), longest=longest(name))
        for name, column in zip(ORDER, behind.columns, strict=False)
    ]
    columns.append(
        BandColumn(
            "place in the list",
            [mine[n] + 1 if n < len(mine) else 0 for n in range(size)],
            formulas=[_place(area(RANKING), n + 1) for n in range(size)],
            number_format="0;;",
            width=9.0,
        )
    )
    return Band(
        "budget",
        TOP,
        1,
        tuple(columns),
        "Budget: one row for each input quantity of the chosen result, the largest share first",
    )


def _place(ranking: str, rank: int) -> str:
    largest = f"LARGE({ranking},{rank})"
    return f"IF({largest}<{number_text(ABSENT / 2)},0,MATCH({largest},{ranking},0))"


def vacant_rows(band: Band) -> Highlight:
    """Rows that the chosen result does not need show nothing, not even a rule."""
    return Highlight(
        f"A{band.first_row}:{column_letters(len(ORDER))}{band.last_row}", f"${PLACE}{band.first_row}=0", "vacant"
    )


def _longest_source(line: Line) -> str:
    return max((trait.source for trait in line.leaf.traits), key=len) if line.leaf else ""
