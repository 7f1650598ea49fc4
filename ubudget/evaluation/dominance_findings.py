"""A note where rectangular contributions dominate results whose k is that of another distribution."""

from __future__ import annotations

import numpy as np

from ubudget.bench.assembly import Assembly
from ubudget.bench.result_table import STATUS
from ubudget.evaluation.coverage import FACTOR, STANDARD
from ubudget.evaluation.dominance import DOMINATING, EDGE, dominating_factor, with_dominance
from ubudget.evaluation.propagation import Propagated
from ubudget.quantity.graph import Graph
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding

COVERAGE = "coverage"
"""Place of the note."""
ALIKE = 0.01
"""Relative difference of factors that is no matter for a note."""


def dominance_findings(assembly: Assembly, propagated: Propagated, graph: Graph, numbers: Numbers) -> list[Finding]:
    """One note on all results that one or two rectangular contributions dominate, under rules that take no account."""
    coverage = assembly.records.method.coverage
    if coverage.rule not in ("fixed", "t"):
        return []
    table = propagated.table
    with_terms = numbers.extended(with_dominance(propagated, graph, STANDARD))
    count, edge = (with_terms.column(table, name) for name in (DOMINATING, EDGE))
    factor = dominating_factor(edge, coverage.probability)
    k = numbers.column(table, FACTOR)
    told = (count > 0) & (numbers.column(table, STATUS) == 0) & (np.abs(k / factor - 1) > ALIKE)
    if not told.any():
        return []
    row = int(np.argmax(told))
    key = assembly.keys[row]
    name = ", ".join(part for part in (key.sample, key.analyte, key.line) if part)
    which = (
        "a rectangular contribution that dominates"
        if count[row] == 1
        else "two rectangular contributions that dominate"
    )
    return [
        Finding(
            "note",
            assembly.records.file("method"),
            COVERAGE,
            f"{which} {int(told.sum())} of {k.size} results, {name} among them: k = {k[row]:.2f}, "
            f"and {factor[row]:.2f} at {100 * coverage.probability:g} % for its distribution",
            "a result that is nearly normal, or the factor of its distribution",
            'consider rule = "dominating term" (EA-4/02 S9, S10)',
        )
    ]
