"""What is reported of a result near zero, as the formula of its cell."""

from __future__ import annotations

from ubudget.bench.result_table import RESULTS, STATUS
from ubudget.evaluation.coverage import DECIMALS
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.low_level_derived import BY_RULE, BY_RULE_FORM, HIGHEST, LOWEST
from ubudget.evaluation.low_level_words import LESS_SIGN, NOT_DETECTED_AT, TO, low_level_place
from ubudget.evaluation.low_levels import ABSENT, FORM, LOW_LEVELS, PLACES, SHOWN, VALUE_U
from ubudget.pages import layout
from ubudget.pages.placement import Placements
from ubudget.pages.wording import NOT_AVAILABLE


def reported_formula(evaluation: Evaluation, placements: Placements, row: int, interval: str) -> str:
    """The words of `low_level_words.reported_text` where a limit stands in place of value ± U, else `interval`."""
    place = low_level_place(evaluation.assembly, evaluation.graph, row)
    if place is None or FORM not in evaluation.graph.tables[place[0]].by_name:
        return interval
    table, own = place
    results = placements[RESULTS]

    def cell(column: str) -> str:
        return placements[table].cell(column, own, layout.RESULTS)

    def fixed(column: str, places: str) -> str:
        return f"FIXED({cell(column)},MAX({places},0),TRUE)"

    form = cell(FORM)
    status = results.cell(STATUS, row, layout.RESULTS)
    if LOWEST in placements[table].letters:
        decimals = results.cell(DECIMALS, row, layout.RESULTS)
        words = f'{fixed(LOWEST, decimals)}&"{TO}"&{fixed(HIGHEST, decimals)}'
    else:
        less = f'"{LESS_SIGN}"'
        sign = f'IF({form}={ABSENT},"{NOT_DETECTED_AT}",{less})' if table == LOW_LEVELS else less
        words = f"{sign}&{fixed(SHOWN, cell(PLACES))}"
        if table != LOW_LEVELS:
            by_rule = fixed(BY_RULE, results.cell(DECIMALS, row, layout.RESULTS))
            words = f"IF({form}={BY_RULE_FORM},{by_rule},{words})"
    return f'IF({status}>0,"{NOT_AVAILABLE}",IF({form}={VALUE_U},{interval},{words}))'
