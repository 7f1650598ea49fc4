"""From records to one graph: which tables a run needs, in the order a datum travels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ubudget.bench.building import Identities, TableBuilder
from ubudget.bench.context import Context, method_place
from ubudget.bench.derived import DerivedRow
from ubudget.bench.equation import Equations, read_equations
from ubudget.bench.folding import APART
from ubudget.bench.operations import Operations
from ubudget.bench.quality import build_quality
from ubudget.bench.result_keys import ResultKey
from ubudget.bench.result_table import RESULTS
from ubudget.bench.results import LINE_RESULTS, add_reported_results
from ubudget.bench.structure import Structure, structure_of
from ubudget.quantity.graph import Graph
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Records
from ubudget.records.several_lines import TOLD

REPORTING = "reporting"

__all__ = ["REPORTING", "RESULTS", "Assembly", "ResultKey", "assemble"]


@dataclass(frozen=True, eq=False)
class Assembly:
    """The graph of a run, with `value` the column of the table `results` that is the measurand."""

    records: Records
    graph: Graph
    value: str
    keys: tuple[ResultKey, ...]
    structure: Structure | None
    equations: Equations
    derived: Mapping[int, DerivedRow] = field(default_factory=dict)
    """What is derived, by row of the table `results`."""
    deviations: Identities = field(default_factory=Identities)
    """What the numbers of the members of its leaves stand for."""

    @property
    def joined(self) -> bool:
        """Whether the reported results are more than those of the lines."""
        return LINE_RESULTS in self.graph.tables

    def lines_of(self, row: int) -> tuple[str, ...]:
        """The lines that a value is reported from by the method's rule; none for the result of one line."""
        key, method = self.keys[row], self.records.method
        if method.several_lines is None or key.line is not None or row in self.derived:
            return ()
        return method.analytes.get(key.analyte, ())

    @property
    def lines_told(self) -> bool:
        """Whether lines of one analyte that disagree are a matter for a person."""
        rule = self.records.method.several_lines
        return rule is not None and rule.disagreement == TOLD and APART in self.graph.tables[RESULTS].by_name


def assemble(records: Records) -> tuple[Assembly | None, list[Finding]]:
    """The graph of records that have passed their cross-checks; None, with findings, where it cannot be built."""
    context = Context(records)
    equations = read_equations(context)
    if equations is None:
        return None, context.findings
    structure = structure_of(records.method, records.run) if records.run else None
    build_reporting(context)
    operations = Operations(context, structure)
    operations.build()
    if stops(context.findings):
        return None, context.findings
    reported = add_reported_results(context, operations, equations, structure)
    build_quality(context, structure, reported.keys, reported.column)
    if stops(context.findings):
        return None, context.findings
    graph = Graph(dict(context.tables), tuple(context.joints))
    assembly = Assembly(
        records,
        graph,
        reported.column,
        reported.keys,
        structure,
        equations,
        reported.derived,
        context.shared.deviations,
    )
    return assembly, context.findings


def build_reporting(context: Context) -> None:
    coverage = context.records.method.coverage
    table = TableBuilder(REPORTING, "Coverage", 1, context.shared)
    if coverage.rule != "fixed":
        table.given(
            "p",
            "coverage probability p",
            "",
            np.array([coverage.probability]),
            [method_place("coverage", "probability")],
        )
    else:
        table.given("k", "coverage factor k", "", np.array([coverage.k]), [method_place("coverage", "k")])
    context.tables[REPORTING] = table.build()
