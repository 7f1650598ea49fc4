"""What is concluded from results and their uncertainties, as further tables of the graph.

No uncertainty rests on these tables; each may rest on those before it."""

from __future__ import annotations

from ubudget.bench.assembly import Assembly
from ubudget.bench.quality import OF_LINES
from ubudget.evaluation.both_routes import BOTH, add_both_routes, route_findings
from ubudget.evaluation.comparisons import comparisons_of
from ubudget.evaluation.decision_findings import unused_limit_findings
from ubudget.evaluation.decision_tables import DECISIONS, add_decisions
from ubudget.evaluation.level_findings import fit_findings
from ubudget.evaluation.level_tables import ALONG, add_level_functions, functions_of
from ubudget.evaluation.low_level_checks import RUN_LIMITS, add_run_limits, run_limit_findings
from ubudget.evaluation.low_level_derived import add_derived_low_levels
from ubudget.evaluation.low_levels import LOW_LEVELS, add_low_levels
from ubudget.evaluation.material_checks import MATERIALS, add_material_checks, certified_unit_findings
from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.targets import TARGETS, add_targets
from ubudget.quantity.graph import Graph
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding

CONCLUDED = (OF_LINES, MATERIALS, BOTH, LOW_LEVELS, RUN_LIMITS, TARGETS, ALONG, DECISIONS)
"""Tables beside `results` whose formulas make given cells open: what they judge follows an edit."""


def conclude(assembly: Assembly, graph: Graph, propagated: Propagated) -> Graph:
    """The graph with everything that is concluded from its results; decisions come last, as they may look up what is
    concluded before them."""
    for add in (add_material_checks, add_low_levels, add_run_limits, add_derived_low_levels):
        graph = add(assembly, graph)
    for add_with in (add_both_routes, add_targets):
        graph = add_with(assembly, graph, propagated)
    functions = functions_of(assembly)
    graph = add_level_functions(assembly, graph, functions)
    return add_decisions(assembly, graph, comparisons_of(assembly, functions))


def conclusion_findings(assembly: Assembly, graph: Graph, numbers: Numbers) -> list[Finding]:
    """What only the numbers of these tables show."""
    return [
        *route_findings(assembly, graph, numbers),
        *run_limit_findings(assembly, graph, numbers),
        *fit_findings(assembly, numbers),
        *unused_limit_findings(assembly),
        *certified_unit_findings(assembly),
    ]
