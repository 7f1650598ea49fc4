"""Reported results simulated beside their first-order intervals: what the command and Python users ask for."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ubudget.evaluation.coverage import SAFE_TRUNCATION
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.evaluation.first_order import Comparison, FirstOrder, compare
from ubudget.evaluation.notebook import Budget
from ubudget.evaluation.simulated import Simulation
from ubudget.evaluation.simulation import draws
from ubudget.evaluation.simulation import simulate as simulation_of
from ubudget.evaluation.simulation_settings import Settings, settings_of
from ubudget.quantity.graph import Array
from ubudget.quantity.operations import TABLE
from ubudget.records.simulation import SimulationRule

TRIALS_OF_DRAWS = 100_000


@dataclass(frozen=True)
class SimulatedResult:
    """One simulated result; None = there is none, and `reason` says why.

    `first_order_interval` is y - U to y + U of the law of propagation at the same coverage probability, k from the t
    distribution, and `first_order_valid` whether both its ends lie within `tolerance` of those of `interval` (JCGM
    101:2008, clause 8)."""

    result: Result
    trials: int
    seed: int
    value: float | None
    standard_uncertainty: float | None
    interval: tuple[float, float] | None
    interval_kind: str
    first_order_interval: tuple[float, float]
    tolerance: float | None
    first_order_valid: bool
    stable: bool
    reason: str


@dataclass(frozen=True, eq=False)
class SimulatedResults:
    """`rows` of the evaluation's results, and for each of them its simulation; None for a result without value."""

    evaluation: Evaluation
    settings: Settings
    rows: tuple[int, ...]
    simulation: Simulation = field(repr=False)
    comparison: Comparison = field(repr=False)

    @cached_property
    def results(self) -> tuple[SimulatedResult | None, ...]:
        return tuple(self._result(place, row) for place, row in enumerate(self.rows))

    @property
    def to_look_at(self) -> tuple[SimulatedResult, ...]:
        """Results whose first-order interval is not accepted."""
        return tuple(one for one in self.results if one is not None and not one.first_order_valid)

    def draws(self, trials: int = TRIALS_OF_DRAWS) -> Array:
        """Values trial by trial, shape (trials, results): each row is one trial of all results, in which they share the
        draws of what they have in common. NaN where a trial, or a result, has no value. Raises `UbudgetError`."""
        propagated, numbers = self.evaluation.propagated, self.evaluation.numbers
        settings = replace(self.settings, trials=trials)
        return draws(self.evaluation.graph, numbers, propagated, settings, self.rows)

    def covariance(self, trials: int = TRIALS_OF_DRAWS) -> Array:
        """Covariance matrix of the results from draws, shape (results, results); trials without a value of some result
        are left out. Raises `UbudgetError`."""
        drawn = self.draws(trials)
        return np.atleast_2d(np.cov(drawn[np.isfinite(drawn).all(axis=1)], rowvar=False))

    def _result(self, place: int, row: int) -> SimulatedResult | None:
        result, found = self.evaluation.results[row], self.simulation
        if result.value is None:
            return None
        low, high = (_or_none(float(end[place])) for end in (found.low, found.high))
        first = self.comparison.first_order
        return SimulatedResult(
            result,
            int(found.trials[place]),
            self.settings.seed,
            _or_none(float(found.value[place])),
            _or_none(float(found.standard_uncertainty[place])),
            None if low is None or high is None else (low, high),
            self.settings.interval,
            (float(first.low[place]), float(first.high[place])),
            _or_none(float(found.tolerance[place])),
            bool(self.comparison.valid[place]),
            bool(found.stable[place]),
            found.reasons[place],
        )


def simulate(
    of: Evaluation | Budget,
    *,
    trials: int | None = None,
    digits: int | None = None,
    seed: int | None = None,
    interval: str | None = None,
    probability: float | None = None,
    memory: int | None = None,
    rows: Sequence[int] | None = None,
    told: Callable[[float], None] = lambda part: None,
) -> SimulatedResults:
    """Monte Carlo propagation of distributions (JCGM 101:2008) beside the law of propagation.

    What is not given is as the method has it in `[simulation]` and `[coverage]`; else trials go on until all figures
    are stable to two significant digits of u. `rows` are those of the results to simulate, all by default; `memory` in
    MB; `told` hears which part of the results is done. Raises `UbudgetError`."""
    evaluation = of.evaluation if isinstance(of, Budget) else of
    method = evaluation.records.method
    default = settings_of(method.simulation or SimulationRule(), method.coverage.probability)
    free = trials is None and digits is None
    settings = Settings(
        default.trials if free else trials,
        default.digits if digits is None else digits,
        default.seed if seed is None else seed,
        default.interval if interval is None else interval,
        default.probability if probability is None else probability,
        default.memory if memory is None else memory,
    )
    chosen = tuple(range(len(evaluation.results)) if rows is None else rows)
    results = [evaluation.results[row] for row in chosen]
    value = np.array([math.nan if one.value is None else one.value for one in results])
    expanded = np.array([_expanded(one, settings.probability) for one in results])
    first = FirstOrder(value, expanded)
    simulation = simulation_of(
        evaluation.graph, evaluation.numbers, evaluation.propagated, settings, chosen, first, told
    )
    return SimulatedResults(evaluation, settings, chosen, simulation, compare(simulation, value, expanded))


def _expanded(result: Result, probability: float) -> float:
    """U at a coverage probability, k from the t distribution (GUM G.3.4), whatever factor the method fixes."""
    if result.standard_uncertainty is None:
        return math.nan
    nu = result.effective_degrees_of_freedom
    whole = math.inf if nu is None else max(1.0, math.floor(nu + SAFE_TRUNCATION))
    k = float(TABLE["student"].numbers(np.asarray(probability), np.asarray(whole)))
    return k * result.standard_uncertainty


def _or_none(number: float) -> float | None:
    return number if math.isfinite(number) else None
