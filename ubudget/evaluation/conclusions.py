"""What is concluded from results and their uncertainties, as further tables of the graph.

No uncertainty rests on these tables; each may rest on those before it."""

from __future__ import annotations

from ubudget.bench.assembly import Assembly
from ubudget.bench.quality import OF_LINES
from ubudget.evaluation.both_routes import BOTH
from ubudget.quantity.graph import Graph

CONCLUDED = (OF_LINES, BOTH)
"""Tables beside `results` whose formulas make given cells open: what they judge follows an edit."""


def conclude(assembly: Assembly, graph: Graph) -> Graph:
    """The graph with everything that is concluded from its results."""
    return graph
