"""What is concluded from results and their uncertainties, as further tables of the graph.

No uncertainty rests on these tables; each may rest on those before it."""

from __future__ import annotations

from ubudget.bench.assembly import Assembly
from ubudget.bench.quality import OF_LINES
from ubudget.evaluation.material_checks import MATERIALS, add_material_checks
from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.targets import TARGETS, add_targets
from ubudget.quantity.graph import Graph

CONCLUDED = (OF_LINES, MATERIALS, TARGETS)
"""Tables beside `results` whose formulas make given cells open: what they judge follows an edit."""


def conclude(assembly: Assembly, graph: Graph, propagated: Propagated) -> Graph:
    """The graph with everything that is concluded from its results."""
    graph = add_material_checks(assembly, graph)
    return add_targets(assembly, graph, propagated)
