"""Evaluation of a run in which every spare row exists, where the ware of each row is still to be named.

Which rows share a piece of ware is not known beforehand, so every filling with chosen ware counts as a deviation of its
own. A row that names an individual piece twice for one result is told to the reader by the workbook itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from ubudget.bench.assembly import RESULTS, assemble
from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS
from ubudget.evaluation.coverage import cover
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.propagation import propagate
from ubudget.quantity.graph import Graph, Leaf, Table
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Records
from ubudget.records.spare_run import RUN_AS_FILES
from ubudget.records.volume import Volume

STEPS = "dilution steps of "
_CALIBRATION = ".calibration"


def evaluate_spare(records: Records) -> tuple[Evaluation | None, list[Finding]]:
    """The evaluation of planned records; None, with findings, where a workbook with spare rows cannot follow it."""
    assembly, findings = assemble(records)
    if assembly is None or stops(findings):
        return None, findings
    refused = list(_shared_estimates(records, assembly.graph))
    if refused:
        return None, refused
    assembly = replace(assembly, graph=_apart(records, assembly.graph))
    propagated = propagate(assembly.graph, RESULTS, assembly.value)
    method = records.method
    graph = cover(propagated, method.document.unit, method.coverage, method.rounding)
    return Evaluation(records, assembly, propagated, graph, Numbers(graph), ()), []


def chosen_names(records: Records, table: str) -> tuple[str, ...]:
    """Symbols of a table whose ware each row names: `V` of the portions, `f.aliquot` and `f.flask` of the dilutions."""
    if table.startswith(STEPS):
        symbol = table.removeprefix(STEPS)
        return f"{symbol}.aliquot", f"{symbol}.flask"
    of = {PORTIONS: "sample", BLANK_PORTIONS: "blank"}.get(table)
    return tuple(
        symbol
        for symbol, operation in records.method.symbols.items()
        if isinstance(operation, Volume) and operation.ware_column and operation.of == of
    )


def belongs(name: str, symbol: str) -> bool:
    """Whether a column is one of the volume `symbol`, as such or in the unit of the ware."""
    return name == symbol or name.startswith((f"{symbol}.", f"{symbol} in "))


def ware_leaves(records: Records, graph: Graph) -> Iterator[tuple[Table, Leaf]]:
    """Leaves of the ware that rows name."""
    for table in graph.tables.values():
        for leaf in table.leaves:
            if any(belongs(leaf.column, symbol) for symbol in chosen_names(records, table.name)):
                yield table, leaf


def _apart(records: Records, graph: Graph) -> Graph:
    """The graph in which no two rows share the calibration or the repeatability of ware that they name."""
    leaves = [leaf for table in graph.tables.values() for leaf in table.leaves]
    fresh = 1 + max(
        (int(max(leaf.members.max(), leaf.estimates.max())) for leaf in leaves if leaf.members.size), default=0
    )
    for table, leaf in list(ware_leaves(records, graph)):
        numbers = fresh + np.arange(table.size)
        fresh += table.size
        changed = leaf
        if leaf.column.endswith(_CALIBRATION):
            changed = replace(changed, members=np.where(leaf.members < 0, -1, numbers))
        if leaf.dof is not None:
            changed = replace(changed, estimates=np.where(leaf.estimates < 0, -1, numbers))
        present = graph.tables[table.name]
        own = tuple(changed if each.column == leaf.column else each for each in present.leaves)
        graph = graph.with_table(replace(present, leaves=own))
    return graph


def _shared_estimates(records: Records, graph: Graph) -> Iterator[Finding]:
    """Repeatabilities with degrees of freedom that one piece of ware could bring into a result twice."""
    counted = [(table.name, leaf.column) for table, leaf in ware_leaves(records, graph) if leaf.dof is not None]
    of_rows = [column for table, column in counted if not table.startswith(STEPS)]
    # Pipette and flask of a dilution are two pieces; what else is filled could be the same piece as either.
    for column in of_rows if len(counted) > 1 else ():
        yield Finding(
            "stop",
            records.file("method"),
            "effects",
            f"{column} with its degrees of freedom, counted for ware that each row names, beside others",
            "with --empty: repeatability of ware covered by the precision of the method, or without dof",
            RUN_AS_FILES,
        )
