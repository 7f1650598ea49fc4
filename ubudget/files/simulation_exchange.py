"""Simulated results for other programs: the object of an evaluation with one more object in each result."""

from __future__ import annotations

from typing import Any

from ubudget.evaluation.simulated_results import SimulatedResult, SimulatedResults
from ubudget.files.exchange import evaluation_object


def simulation_exchange(simulated: SimulatedResults) -> dict[str, Any]:
    """As `evaluate --json`, with the results that were simulated alone; `simulation` is null for one without value."""
    told = evaluation_object(simulated.evaluation)
    results = [
        {**told["results"][row], "simulation": None if one is None else simulation_object(one)}
        for row, one in zip(simulated.rows, simulated.results, strict=True)
    ]
    return {**told, "results": results}


def simulation_object(one: SimulatedResult) -> dict[str, Any]:
    """Null stands for what does not exist or cannot be told; `reason` says why."""
    return {
        "trials": one.trials,
        "seed": one.seed,
        "value": one.value,
        "standard_uncertainty": one.standard_uncertainty,
        "interval": None if one.interval is None else list(one.interval),
        "interval_kind": one.interval_kind,
        "first_order_interval": list(one.first_order_interval),
        "tolerance": one.tolerance,
        "first_order_valid": one.first_order_valid,
        "stable": one.stable,
        "reason": one.reason,
    }
