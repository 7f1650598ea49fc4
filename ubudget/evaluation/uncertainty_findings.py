"""What is to be noted of the uncertainties of a run as a whole: where first order, or the rule for k, is not enough."""

from __future__ import annotations

from ubudget.bench.assembly import Assembly
from ubudget.evaluation.dominance_findings import dominance_findings
from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.second_order_findings import second_order_findings
from ubudget.evaluation.simulated_coverage import simulation_findings
from ubudget.quantity.graph import Graph
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding


def uncertainty_findings(assembly: Assembly, propagated: Propagated, graph: Graph, numbers: Numbers) -> list[Finding]:
    """Findings on terms of second order, on dominating contributions, and on simulated intervals."""
    return [
        *second_order_findings(assembly, propagated, numbers),
        *dominance_findings(assembly, propagated, graph, numbers),
        *simulation_findings(graph, assembly.records),
    ]
