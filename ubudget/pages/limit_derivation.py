"""How the limits of one result near zero came about: the last part of its derivation."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.low_level_words import low_level_place
from ubudget.evaluation.low_levels import LOW_LEVELS
from ubudget.evaluation.scaled_limits import AT_NOMINAL, SCALE, SCALED
from ubudget.pages.equations import EquationPrinter
from ubudget.pages.told import Blank, Part, Sentence, Title
from ubudget.pages.walk import Target
from ubudget.quantity.graph import Pick
from ubudget.records.crosscheck_low_levels import LIMITS


def limit_parts(evaluation: Evaluation, row: int, printer: EquationPrinter) -> Iterator[Part]:
    """Scale and limits of each portion behind a result, then their mean; nothing where it has no limits."""
    place = low_level_place(evaluation.assembly, evaluation.graph, row)
    if place is None or place[0] != LOW_LEVELS:
        return
    table = evaluation.graph.tables[LOW_LEVELS]
    picked = {
        (name.partition(" ")[0], int(pick.rows[place[1]]))
        for name, pick in table.references.items()
        if isinstance(pick, Pick) and pick.table == SCALED and pick.rows[place[1]] >= 0
    }
    if not picked:
        return
    yield Title("8  Limits near zero", 2)
    yield Sentence(
        "The validated limits hold for the nominal test portion; those of this sample are scaled by its sensitivity "
        "to the concentration in the solution over that of the nominal portion."
    )
    scaled = evaluation.graph.tables[SCALED]
    for number in sorted({number for _, number in picked}):
        columns = [name for name in ("∂w/∂c", AT_NOMINAL, SCALE) if name in scaled.by_name]
        columns += [name for name in LIMITS if (name, number) in picked]
        for column in columns:
            yield Blank()
            yield from printer.equation(Target(SCALED, (number,), column), 0, name=_name(column))
    if len({number for _, number in picked}) > 1:
        for name in LIMITS:
            if name in {name for name, _ in picked}:
                yield Blank()
                yield from printer.equation(Target(LOW_LEVELS, (place[1],), name), 0, name=_name(name))


def _name(column: str) -> str:
    return f"{column} limit" if column in LIMITS else column
