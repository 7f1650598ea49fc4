"""Found against certified in words, by formula, to the right of the figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.material_checks import MATERIALS, OUTSIDE, SUM_STATUS, certified_results
from ubudget.pages.book import Band, BandColumn
from ubudget.pages.placement import Placement, Placements
from ubudget.pages.target_words import NO_RESULT


def with_verdicts(bands: Sequence[Band], evaluation: Evaluation, placements: Placements) -> list[Band]:
    """The bands, that of the reference materials with its verdicts."""
    return [
        replace(band, columns=(*band.columns, *_verdicts(evaluation, placements[MATERIALS])))
        if band.name == MATERIALS
        else band
        for band in bands
    ]


def _verdicts(evaluation: Evaluation, home: Placement) -> tuple[BandColumn, ...]:
    rows = range(home.table.size)
    outside, status = evaluation.column(OUTSIDE, MATERIALS), evaluation.column(SUM_STATUS, MATERIALS)
    checked = certified_results(evaluation.assembly)
    in_budget = [any(one.item in items for items in evaluation.items_of(one.row)) for one in checked]
    return (
        BandColumn(
            "verdict",
            [NO_RESULT if status[row] > 0 else "differs" if outside[row] > 0 else "agrees" for row in rows],
            "result",
            "",
            [
                f'IF({home.cell(SUM_STATUS, row, home.sheet)}>0,"{NO_RESULT}",'
                f'IF({home.cell(OUTSIDE, row, home.sheet)}>0,"differs","agrees"))'
                for row in rows
            ],
        ),
        BandColumn(
            "independent of the result",
            ["no: the result rests on this material" if here else "yes" for here in in_budget],
            "text",
            width=18.0,
        ),
    )
