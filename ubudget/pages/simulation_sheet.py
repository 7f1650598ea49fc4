"""Sheet `simulation`: what a simulation gave, as values, beside live first-order figures, and what is out of date."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.simulated_coverage import settings_in, with_simulation
from ubudget.evaluation.simulation_names import CHANGED, REMARK, SIMULATION
from ubudget.evaluation.trial_statistics import SHORTEST
from ubudget.pages.book import BandColumn, Highlight, LooseCell, Sheet
from ubudget.pages.formats import format_for
from ubudget.pages.layout import FIRST_BAND, NOTE_WIDTH, SIMULATED, STATUS, bands_of, headline, note_of
from ubudget.pages.paper import on_paper
from ubudget.pages.placement import Placements
from ubudget.pages.rendering import Renderer
from ubudget.pages.wording import text_in_formula
from ubudget.quantity.spelling import column_letters

FIRST_OF_SIMULATED = FIRST_BAND + 4
ROW_HOW, ROW_STATE = 4, 6
REMARK_WIDTH = 60.0
NONE_CHANGED = "The inputs of all results are those that were simulated."
SOME_CHANGED = (
    " of the results have other inputs than those that were simulated, marked below: their simulated figures are out "
    "of date. Write the workbook anew from this one (ubudget workbook), or evaluate it."
)
OUT_OF_DATE = "results whose simulated figures are out of date"


def simulated_beside(evaluation: Evaluation) -> Evaluation:
    """The evaluation with the table of simulated results, where its method has a table `[simulation]`."""
    method = evaluation.records.method
    if method.simulation is None or SIMULATION in evaluation.graph.tables:
        return evaluation
    unit = "" if evaluation.assembly.derived else method.document.unit
    graph = with_simulation(evaluation.propagated, evaluation.graph, evaluation.numbers, method, unit)
    return replace(evaluation, graph=graph, numbers=evaluation.numbers.extended(graph))


def simulation_sheet(evaluation: Evaluation, placements: Placements, renderer: Renderer) -> Sheet | None:
    """None where nothing was simulated."""
    home = placements.get(SIMULATION)
    if home is None:
        return None
    (band,) = bands_of(SIMULATED, dict(placements), renderer)
    band = replace(band, columns=tuple(_shown(column) for column in band.columns))
    mark = column_letters(band.left + [column.name for column in home.columns].index(CHANGED))
    changed = int(evaluation.column(CHANGED, SIMULATION).sum())
    count = f"SUM({home.range(CHANGED, SIMULATED)})"
    cells = (
        *headline(SIMULATED, note_of(SIMULATED, dict(placements))),
        LooseCell(ROW_HOW, 1, _how(evaluation), "note", across=NOTE_WIDTH),
        LooseCell(
            ROW_STATE,
            1,
            f"{changed}{SOME_CHANGED}" if changed else NONE_CHANGED,
            "text",
            f"IF({count}=0,{text_in_formula(NONE_CHANGED)},{count}&{text_in_formula(SOME_CHANGED)})",
            across=NOTE_WIDTH,
        ),
    )
    sheet = Sheet(
        SIMULATED,
        (band,),
        cells,
        freeze=f"A{band.first_row}",
        repeat_rows=(band.top, band.first_row - 1),
        highlights=(
            Highlight(f"A{ROW_STATE}", f"{count}>0", "attention"),
            Highlight(
                f"A{band.first_row}:{mark}{band.last_row}",
                f"${mark}{band.first_row}=1",
                "attention",
            ),
        ),
    )
    return on_paper(sheet, dict(placements))


def out_of_date(evaluation: Evaluation, placements: Placements) -> list[tuple[str, int, str]]:
    """The count for the sheet `status`, with its formula; none where nothing was simulated."""
    home = placements.get(SIMULATION)
    if home is None:
        return []
    return [(OUT_OF_DATE, int(evaluation.column(CHANGED, SIMULATION).sum()), f"SUM({home.range(CHANGED, STATUS)})")]


def _shown(column: BandColumn) -> BandColumn:
    """Numbers of the simulation with as many digits as those beside them; all of them stay in the cell."""
    if column.heading == REMARK:
        return replace(column, width=REMARK_WIDTH)
    if column.style != "fixed":
        return column
    numbers = [value for value in column.values if isinstance(value, float)]
    return replace(column, number_format=format_for(np.array(numbers, dtype=np.float64)))


def _how(evaluation: Evaluation) -> str:
    settings = settings_in(evaluation.records.method)
    kind = "shortest" if settings.interval == SHORTEST else "probabilistically symmetric"
    number = (
        f"{settings.trials:,} trials"
        if settings.trials is not None
        else f"as many trials as make all figures stable to {settings.digits} significant digits of u"
    )
    reported = " It is the one that is reported." if evaluation.records.method.coverage.rule == "simulation" else ""
    return (
        f"Intervals of {100 * settings.probability:g} %, {number}, seed {settings.seed}. Compared with y ± t·u is the "
        f"{kind} interval.{reported} What a simulation gives stands as values, since no cell can simulate; all else is "
        "live."
    )
