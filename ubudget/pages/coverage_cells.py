"""Cells that tell what the coverage factor is from, where results differ in it."""

from __future__ import annotations

from ubudget.bench.result_table import STATUS
from ubudget.evaluation.dominance import DOMINATING
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import BandColumn
from ubudget.pages.coverage_words import K_FROM, by_count, formula_by_count
from ubudget.pages.placement import Placement


def k_from_columns(evaluation: Evaluation, home: Placement, sheet: str) -> tuple[BandColumn, ...]:
    """The column behind the reported results; none where all results follow one distribution."""
    if DOMINATING not in home.table.by_name:
        return ()
    counts = evaluation.column(DOMINATING).astype(int).tolist()
    rows = range(len(counts))
    return (
        BandColumn(
            K_FROM,
            [by_count(count) if evaluation.usable(row) else None for row, count in enumerate(counts)],
            "text",
            formulas=[
                f'IF({home.cell(STATUS, row, sheet)}>0,"",{formula_by_count(home.cell(DOMINATING, row, sheet))})'
                for row in rows
            ],
            width=30.0,
            remark="EA-4/02 S9, S10",
        ),
    )


def k_from_chosen(
    evaluation: Evaluation, home: Placement, sheet: str, chosen_row: str, chosen: int
) -> tuple[str, str, str] | None:
    """Heading, words and formula for the chosen result of the budget."""
    if DOMINATING not in home.table.by_name:
        return None
    count = f"INDEX({home.range(DOMINATING, sheet)},{chosen_row})"
    words = by_count(int(evaluation.column(DOMINATING)[chosen]))
    return K_FROM, words, f'IF({chosen_row}=0,"",{formula_by_count(count)})'
