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


def _ware_leaves(records: Records, graph: Graph) -> Iterator[tuple[Table, Leaf]]:
    for table in graph.tables.values():
        for leaf in table.leaves:
            if any(belongs(leaf.column, symbol) for symbol in chosen_names(records, table.name)):
                yield table, leaf


def _apart(records: Records, graph: Graph) -> Graph:
    """The graph in which no two rows share the calibration deviation of ware that they name."""
    fresh = 1 + max((int(leaf.members.max(initial=-1)) for t in graph.tables.values() for leaf in t.leaves), default=0)
    for table, leaf in list(_ware_leaves(records, graph)):
        if leaf.column.endswith(_CALIBRATION):
            own = np.where(leaf.members < 0, -1, fresh + np.arange(table.size))
            fresh += table.size
            present = graph.tables[table.name]
            leaves = tuple(replace(each, members=own) if each.column == leaf.column else each for each in present.leaves)
            graph = graph.with_table(replace(present, leaves=leaves))
    return graph


def _shared_estimates(records: Records, graph: Graph) -> Iterator[Finding]:
    """Repeatabilities with degrees of freedom: results that take one piece twice would share them, others not."""
    for table, leaf in _ware_leaves(records, graph):
        if leaf.dof is not None:
            found = f"{leaf.column} with its degrees of freedom, counted for ware that each row names"
            yield Finding(
                "stop",
                records.file("method"),
                "effects",
                found,
                "with --empty: repeatability of ware covered by the precision of the method, or without dof",
                RUN_AS_FILES,
            )
