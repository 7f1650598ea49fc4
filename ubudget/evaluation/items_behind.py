"""Register items behind a value whose uncertainty is stated by validation data: those of its budget all the same."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ubudget.bench.assembly import Assembly
from ubudget.bench.results import LINE_RESULTS
from ubudget.bench.validation_values import VALIDATED
from ubudget.evaluation.propagation import Slot, propagate
from ubudget.quantity.graph import Graph


def slots_behind(assembly: Assembly) -> tuple[Slot, ...]:
    """Input quantities of the results of the lines, where these are reported by validation data."""
    if VALIDATED not in assembly.graph.tables:
        return ()
    return propagate(assembly.graph, LINE_RESULTS, assembly.equations.result.name).slots


def items_behind(graph: Graph, slots: Sequence[Slot], row: int) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Symbol and items of each input quantity of the calculated value."""
    for slot in slots:
        member = int(slot.rows[row])
        if member >= 0:
            yield slot.symbol, graph.tables[slot.table].leaf_of[slot.column].traits[member].items
