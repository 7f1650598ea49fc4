"""Tiny graphs for simulations: some input quantities, one or several equations over them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import Shared, TableBuilder
from ubudget.bench.result_table import STATUS
from ubudget.evaluation.first_order import FirstOrder
from ubudget.evaluation.propagation import Propagated, propagate
from ubudget.evaluation.simulation import Settings, Simulation, simulate
from ubudget.quantity.expression import Expression, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Graph, Joint, Trait
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.parsing import parse


@dataclass(frozen=True)
class Quantity:
    """Estimate and standard uncertainty; `estimate_of` names a variance estimate that several rest on."""

    name: str
    value: float
    u: float
    distribution: str = "normal"
    dof: float = INFINITE_DOF
    shape: float = 0.0
    variance_estimate: str | None = None


@dataclass(frozen=True, eq=False)
class Small:
    """A graph with the results `y`, one row an equation."""

    graph: Graph
    numbers: Numbers
    propagated: Propagated

    def simulated(self, settings: Settings, first_order: FirstOrder | None = None) -> Simulation:
        return simulate(self.graph, self.numbers, self.propagated, settings, None, first_order)


def small(
    quantities: Sequence[Quantity],
    *equations: str,
    correlations: Mapping[tuple[int, int], float] | None = None,
    not_below_zero: str = "",
) -> Small:
    """`correlations` between quantities by their positions. Where the quantity `not_below_zero` is, results have the
    status of a reading that no concentration on a curve gives."""
    shared = Shared()
    inputs = TableBuilder("inputs", "Inputs", len(quantities), shared)
    inputs.given("estimate", "estimate", "", [one.value for one in quantities])
    inputs.given("u", "u", "", [one.u for one in quantities])
    inputs.given("dof", "dof", "", [one.dof for one in quantities])
    traits = [Trait(one.name, one.name, "", "B", one.distribution, "", one.shape) for one in quantities]
    estimates = [one.variance_estimate for one in quantities]
    inputs.leaf("estimate", "u", traits, dof="dof", estimates=estimates)
    results = TableBuilder("results", "Results", len(equations), shared)
    for row, one in enumerate(quantities):
        results.pick(one.name, "inputs", "estimate", [row] * len(equations))
    ways: list[Expression] = [parse(equation) for equation in equations]
    results.formula("y", "y", "", ways[0], "", ways[1:], np.arange(len(equations)))
    if not_below_zero:
        results.formula(STATUS, "status", "", apply("if_less", Symbol(not_below_zero), 0, 2, 0))
    tables = {"inputs": inputs.build(), "results": results.build()}
    joints = []
    if correlations:
        table = TableBuilder("correlations", "Correlations", len(correlations), shared)
        table.given("r", "r", "", list(correlations.values()))
        tables["correlations"] = table.build()
        joints = [
            Joint(("inputs", "estimate", a), ("inputs", "estimate", b), "correlations", "r", row)
            for row, (a, b) in enumerate(correlations)
        ]
    propagated = propagate(Graph(tables, tuple(joints)), "results", "y")
    return Small(propagated.graph, Numbers(propagated.graph), propagated)


def additive(us: Sequence[float], distribution: str) -> Small:
    """Y = X1 + X2 + …, all with mean zero (JCGM 101:2008, 9.2)."""
    quantities = [Quantity(f"X{number}", 0.0, u, distribution) for number, u in enumerate(us, start=1)]
    return small(quantities, " + ".join(one.name for one in quantities))
