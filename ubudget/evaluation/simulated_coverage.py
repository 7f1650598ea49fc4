"""Simulated results beside those of the law of propagation, in the graph: for the workbook, or as the source of k.

Where the method reports simulated intervals, k is half of the interval over u, and U = k u is half of the interval. A
result without interval takes the t factor, and says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ubudget.errors import UbudgetError
from ubudget.evaluation.coverage import EFFECTIVE_DOF, SAFE_TRUNCATION, STANDARD, cover
from ubudget.evaluation.first_order import FirstOrder
from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.simulation import simulate
from ubudget.evaluation.simulation_columns import simulation_table, with_sums
from ubudget.evaluation.simulation_names import ASYMMETRIC, ENDS, REMARK, SIMULATION, TRIALS
from ubudget.evaluation.simulation_settings import Settings, settings_of
from ubudget.quantity.graph import Graph
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.operations import TABLE
from ubudget.quantity.rounding import round_half_up
from ubudget.records.finding import Finding
from ubudget.records.method import Coverage, Method
from ubudget.records.records import Records
from ubudget.records.simulation import SimulationRule

NO_INTERVAL = "no simulated interval, k from the t distribution"


@dataclass(frozen=True)
class CoverageInterval:
    """The simulated interval of a result under the rule that reports it."""

    low: float
    high: float
    kind: str
    trials: int
    seed: int
    lopsided: bool
    """Whether its middle lies too far from the value for value ± U."""

    def text(self, decimals: int) -> str:
        """`0.12 to 0.57`, both ends rounded to a place."""
        return " to ".join(_rounded(end, decimals) for end in (self.low, self.high))


def _rounded(value: float, decimals: int) -> str:
    # Adding zero takes the sign from a zero.
    return f"{float(round_half_up(np.asarray(value), np.asarray(float(decimals)))) + 0.0:.{max(decimals, 0)}f}"


def simulated_factors(propagated: Propagated, method: Method, unit: str) -> Propagated:
    """The propagated graph with the table of simulated results, from which `cover` takes k."""
    by_t = cover(propagated, unit, Coverage(probability=method.coverage.probability), method.rounding)
    table = with_simulation(propagated, by_t, Numbers(by_t), method, unit).tables[SIMULATION]
    return replace(propagated, graph=with_sums(propagated, propagated.graph).with_table(table))


def with_simulation(propagated: Propagated, graph: Graph, numbers: Numbers, method: Method, unit: str) -> Graph:
    """A covered graph with the table of simulated results beside its results."""
    graph = with_sums(propagated, graph)
    numbers = numbers.extended(graph)
    value, u, nu = (numbers.column(propagated.table, name) for name in (propagated.column, STANDARD, EFFECTIVE_DOF))
    settings = settings_in(method)
    with np.errstate(invalid="ignore"):
        whole = np.maximum(np.floor(nu + SAFE_TRUNCATION), 1.0)
    k = TABLE["student"].numbers(np.asarray(settings.probability), whole)
    simulation = simulate(graph, numbers, propagated, settings, None, FirstOrder(value, k * u))
    return graph.with_table(simulation_table(propagated, numbers, simulation, method.coverage, unit))


def settings_in(method: Method) -> Settings:
    """How a method simulates its results."""
    return settings_of(method.simulation or SimulationRule(), method.coverage.probability)


def settings_findings(records: Records) -> list[Finding]:
    """A table `[simulation]` by which nothing can be simulated."""
    try:
        settings_in(records.method)
    except UbudgetError as error:
        found, accepted, *remedy = str(error).removeprefix("simulation: found ").split("; ", 2)
        accepted = accepted.removeprefix("accepted: ")
        file = records.file("method")
        return [Finding("stop", file, "simulation", found, accepted, *(remedy or ("correct the table [simulation]",)))]
    return []


def coverage_interval(graph: Graph, numbers: Numbers, method: Method, row: int) -> CoverageInterval | None:
    """The simulated interval of a result where the method reports such intervals; None where it has none."""
    if method.coverage.rule != "simulation":
        return None
    settings = settings_in(method)

    def figure(name: str) -> float:
        return float(numbers.column(SIMULATION, name)[row])

    trials = int(figure(TRIALS))
    low, high = (figure(name) for name in ENDS[settings.interval])
    if not trials:
        return None
    return CoverageInterval(low, high, settings.interval, trials, settings.seed, figure(ASYMMETRIC) > 0)


def simulation_findings(graph: Graph, records: Records) -> list[Finding]:
    """A finding for each remark on intervals that are reported."""
    method = records.method
    if method.coverage.rule != "simulation":
        return []
    remarks = graph.tables[SIMULATION].texts(REMARK)
    return [
        Finding(
            "attend" if "not stable" in remark else "note",
            records.file("method"),
            "simulation",
            f"{remarks.count(remark)} of {len(remarks)} results with the remark: {remark}",
            "an interval that is stable to the digits of u",
            "state other trials or digits in [simulation], or another rule in [coverage]",
        )
        for remark in dict.fromkeys(filter(None, remarks))
    ]
