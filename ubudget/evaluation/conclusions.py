"""What is concluded from results and their uncertainties, as further tables of the graph.

No uncertainty rests on these tables; each may rest on those before it."""

from __future__ import annotations

from ubudget.bench.assembly import Assembly
from ubudget.bench.quality import OF_LINES
from ubudget.evaluation.both_routes import BOTH
from ubudget.evaluation.low_level_checks import RUN_LIMITS, add_run_limits
from ubudget.evaluation.low_level_derived import add_derived_low_levels
from ubudget.evaluation.low_levels import LOW_LEVELS, add_low_levels
from ubudget.quantity.graph import Graph

CONCLUDED = (OF_LINES, BOTH, LOW_LEVELS, RUN_LIMITS)
"""Tables beside `results` whose formulas make given cells open: what they judge follows an edit."""


def conclude(assembly: Assembly, graph: Graph) -> Graph:
    """The graph with everything that is concluded from its results."""
    for add in (add_low_levels, add_run_limits, add_derived_low_levels):
        graph = add(assembly, graph)
    return graph
