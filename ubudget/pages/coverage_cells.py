"""Cells that tell what the coverage factor is from, where results differ in it, and intervals in place of value ± U."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ubudget.bench.result_table import STATUS
from ubudget.evaluation.coverage import DECIMALS, FACTOR
from ubudget.evaluation.dominance import DOMINATING
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.simulated_coverage import NO_INTERVAL, settings_in
from ubudget.evaluation.simulation_names import ASYMMETRIC, CHANGED, ENDS, SIMULATION, TRIALS
from ubudget.pages.book import BandColumn
from ubudget.pages.coverage_words import AS_SIMULATED, BY_T, K_FROM, SINCE_CHANGED, by_count, formula_by_count
from ubudget.pages.placement import Placements
from ubudget.pages.wording import text_in_formula

Told = tuple[Callable[[int], str], Callable[[Callable[[str, str], str]], str]]
"""What k is from: words for a row, and a formula made with addresses of columns by table."""


def _told(evaluation: Evaluation) -> Told | None:
    """None where all results follow one distribution."""
    rule = evaluation.records.method.coverage.rule
    if rule == "dominating term":
        counts = evaluation.column(DOMINATING)
        return lambda row: by_count(int(counts[row])), lambda cell: formula_by_count(cell("results", DOMINATING))
    if rule == "simulation":
        trials, changed = (evaluation.column(name, SIMULATION) for name in (TRIALS, CHANGED))

        def formula(cell: Callable[[str, str], str]) -> str:
            by_t, changed_words, words = map(text_in_formula, (BY_T, SINCE_CHANGED, AS_SIMULATED))
            fresh = f"IF({cell(SIMULATION, CHANGED)}=1,{changed_words},{words})"
            return f"IF({cell(SIMULATION, TRIALS)}=0,{by_t},{fresh})"

        return lambda row: BY_T if not trials[row] else SINCE_CHANGED if changed[row] else AS_SIMULATED, formula
    return None


def k_from_columns(evaluation: Evaluation, placements: Placements, sheet: str) -> tuple[BandColumn, ...]:
    """The column behind the reported results."""
    told = _told(evaluation)
    if told is None:
        return ()
    words, formula = told
    rows = range(len(evaluation.keys))

    def cells(row: int) -> str:
        status = placements["results"].cell(STATUS, row, sheet)
        return f'IF({status}>0,"",{formula(lambda table, column: placements[table].cell(column, row, sheet))})'

    return (
        BandColumn(
            K_FROM,
            [words(row) if evaluation.usable(row) else None for row in rows],
            "text",
            formulas=[cells(row) for row in rows],
            width=30.0,
        ),
    )


def k_from_chosen(
    evaluation: Evaluation, placements: Placements, sheet: str, chosen_row: str, chosen: int
) -> tuple[str, str, str] | None:
    """Heading, words and formula for the chosen result of the budget."""
    told = _told(evaluation)
    if told is None:
        return None
    words, formula = told

    def cell(table: str, column: str) -> str:
        return f"INDEX({placements[table].range(column, sheet)},{chosen_row})"

    return K_FROM, words(chosen), f'IF({chosen_row}=0,"",{formula(cell)})'


def interval_or_plain(evaluation: Evaluation, placements: Placements, sheet: str, row: int, plain: str) -> str:
    """The reported text, value ± U by `plain`, or the interval where value ± U does not tell it."""
    if evaluation.records.method.coverage.rule != "simulation":
        return plain
    home, simulated = placements["results"], placements[SIMULATION]
    decimals = home.cell(DECIMALS, row, sheet)
    low, high = (
        f"FIXED(ROUND({simulated.cell(end, row, sheet)},{decimals}),MAX({decimals},0),TRUE)"
        for end in ENDS[settings_in(evaluation.records.method).interval]
    )
    uneven = f"IF({home.cell(STATUS, row, sheet)}>0,0,{simulated.cell(ASYMMETRIC, row, sheet)})"
    return f'IF({uneven}=1,{low}&" to "&{high},{plain})'


def factor_formulas(
    evaluation: Evaluation, placements: Placements, sheet: str, plain: Sequence[str | None]
) -> list[str | None]:
    """k by `plain`; none where u is zero and the interval does not rest on it."""
    if evaluation.records.method.coverage.rule != "simulation":
        return list(plain)
    home = placements["results"]
    return [f'IF({home.cell(FACTOR, row, sheet)}=0,"",{formula})' for row, formula in enumerate(plain)]


def interval_flags(evaluation: Evaluation, placements: Placements, sheet: str, row: int) -> list[str]:
    """The flag of a result without the interval that the method reports, as a formula."""
    if evaluation.records.method.coverage.rule != "simulation":
        return []
    return [f'IF({placements[SIMULATION].cell(TRIALS, row, sheet)}=0,"{NO_INTERVAL}. ","")']
