"""Register items behind a value whose uncertainty is stated by validation data: those of its budget all the same."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ubudget.bench.results import LINE_RESULTS
from ubudget.bench.validation_values import VALIDATED
from ubudget.evaluation.propagation import Slot, propagate

if TYPE_CHECKING:
    from ubudget.bench.assembly import Assembly
    from ubudget.evaluation.evaluate import Evaluation


def items_behind(evaluation: Evaluation, row: int) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Symbol and items of each input quantity of the calculated value; none where the budget itself is reported."""
    for slot in evaluation.slots_behind:
        member = int(slot.rows[row])
        if member >= 0:
            yield slot.symbol, evaluation.graph.tables[slot.table].leaf_of[slot.column].traits[member].items


def slots_behind(assembly: Assembly) -> tuple[Slot, ...]:
    """Input quantities of the results of the lines, where these are reported by validation data."""
    if VALIDATED not in assembly.graph.tables:
        return ()
    return propagate(assembly.graph, LINE_RESULTS, assembly.equations.result.name).slots
