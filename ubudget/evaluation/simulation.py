"""Propagation of distributions by a Monte Carlo method (JCGM 101:2008), on the same graph as the law of propagation.

Every result is simulated until its mean, standard uncertainty and interval are stable to the numerical tolerance of u,
or for a fixed number of trials. Results share the draws of their common input quantities.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from ubudget.bench.result_table import STATUS
from ubudget.errors import UbudgetError
from ubudget.evaluation.deviations import has_t
from ubudget.evaluation.first_order import FirstOrder
from ubudget.evaluation.followed import LEAST_DOF, Figures, Followed, WideT
from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.simulated import Simulation
from ubudget.evaluation.simulation_settings import Settings
from ubudget.evaluation.trials import TOGETHER, Trials
from ubudget.quantity.graph import INFINITE_DOF, Array, Graph
from ubudget.quantity.numbers import Numbers

__all__ = ["FirstOrder", "Settings", "Simulation", "draws", "simulate"]


def simulate(
    graph: Graph,
    numbers: Numbers,
    propagated: Propagated,
    settings: Settings,
    rows: Sequence[int] | None = None,
    first_order: FirstOrder | None = None,
    told: Callable[[float], None] = lambda part: None,
) -> Simulation:
    """Simulates results of the table that was propagated, all of them or those of some rows.

    With `first_order` (of the same rows) adaptive trials go on until it is clear whether that interval is accepted, at
    the latest at delta/5 (JCGM 101 8.2). A result without value at the estimates is not simulated. `told` hears which
    part of the results is done."""
    wanted = list(range(graph.tables[propagated.table].size) if rows is None else rows)
    ends: dict[int, tuple[float, float]] = {}
    if first_order is not None:
        both = zip(first_order.low.tolist(), first_order.high.tolist(), strict=True)
        ends = dict(zip(wanted, both, strict=True))
    followed = {
        row: Followed(settings, wide_t(propagated, numbers, row), ends.get(row))
        for row in dict.fromkeys(wanted)
        if _usable(graph, numbers, propagated, row)
    }

    def trials_of(part: Sequence[int]) -> Trials:
        return Trials(graph, numbers, propagated.table, propagated.column, part, settings.seed, settings.room)

    waiting = _groups(list(followed), followed, settings)
    # Squares of what is beyond all measure overflow; such a result is told as not stable.
    with np.errstate(all="ignore"):
        while waiting:
            waiting = _simulated(waiting[0], followed, settings, trials_of) + waiting[1:]
            told(sum(one.figures.trials > 0 for one in followed.values()) / len(followed))
    return _gathered(settings, wanted, followed)


def draws(
    graph: Graph,
    numbers: Numbers,
    propagated: Propagated,
    settings: Settings,
    rows: Sequence[int] | None = None,
) -> Array:
    """Values of results trial by trial, shape (trials, results): one row of it is one trial of all results, so that
    `numpy.cov(draws, rowvar=False)` is their covariance matrix. NaN where a trial, or a result, has no value.

    Raises `UbudgetError` where the settings have no number of trials, or their memory does not hold the values."""
    wanted = list(range(graph.tables[propagated.table].size) if rows is None else rows)
    if settings.trials is None:
        raise UbudgetError("simulation: found no number of trials; accepted: a fixed number, for draws as an array")
    if settings.trials * len(wanted) > settings.most_trials:
        raise UbudgetError(
            f"simulation: found {settings.trials} trials of {len(wanted)} results in {settings.memory} MB; "
            f"accepted: {settings.most_trials} values or fewer; name fewer results or trials, or raise the memory"
        )
    drawn = np.full((settings.trials, len(wanted)), np.nan)
    usable = [row for row in dict.fromkeys(wanted) if _usable(graph, numbers, propagated, row)]
    for start in range(0, len(usable), TOGETHER):
        part = usable[start : start + TOGETHER]
        trials = Trials(graph, numbers, propagated.table, propagated.column, part, settings.seed, settings.room)
        trials.extend(part, settings.trials)
        for place, row in enumerate(wanted):
            if row in part:
                drawn[:, place] = trials.values(row)
    return drawn


def _groups(rows: Sequence[int], followed: Mapping[int, Followed], settings: Settings) -> list[list[int]]:
    """Rows in groups whose values the memory holds."""
    found: list[list[int]] = []
    held = 0
    for row in rows:
        needed = followed[row].needed * followed[row].block
        if not found or held + needed > settings.most_trials or len(found[-1]) == TOGETHER:
            found.append([])
            held = 0
        found[-1].append(row)
        held += needed
    return found


def _simulated(
    rows: list[int],
    followed: Mapping[int, Followed],
    settings: Settings,
    trials_of: Callable[[Sequence[int]], Trials],
) -> list[list[int]]:
    """Simulates a group; gives groups of what has to begin anew, since the memory does not hold what it needs."""
    trials = trials_of(rows)
    for row in rows:
        followed[row].begin()
    going = rows
    while going:
        target = min(followed[row].needed for row in going)
        first = followed[going[0]]
        done = first.series.shape[-1]
        trials.extend(going, settings.trials or (target - done) * first.block)
        for row in going:
            followed[row].add(trials.values(row, after=done * first.block))
            if followed[row].needed <= target:
                followed[row].finish(trials.values(row))
                trials.forget(row)
        going = sorted((row for row in going if followed[row].needed > target), key=lambda row: followed[row].needed)
        groups = _groups(going, followed, settings)
        if len(groups) > 1:
            return groups
    return []


def _usable(graph: Graph, numbers: Numbers, propagated: Propagated, row: int) -> bool:
    """Whether a result has a value at the estimates."""
    known = graph.tables[propagated.table].by_name
    status = numbers.column(propagated.table, STATUS)[row] if STATUS in known else 0.0
    return status == 0 and bool(np.isfinite(numbers.column(propagated.table, propagated.column)[row]))


def wide_t(propagated: Propagated, numbers: Numbers, row: int) -> WideT | None:
    """The t distributions of a result that have no standard deviation: the fewest degrees of freedom, and their share
    of u² together; None where there is none with a share above zero."""
    symbol, lowest, wide, variance = "", INFINITE_DOF, 0.0, 0.0
    for slot in propagated.slots:
        at = int(slot.rows[row])
        if at < 0:
            continue
        square = float(numbers.column(propagated.table, slot.contribution)[row]) ** 2
        variance += square
        leaf = propagated.graph.tables[slot.table].leaf_of[slot.column]
        if leaf.dof is None or not has_t(leaf.traits[at]) or square == 0:
            continue
        dof = float(numbers.column(slot.table, leaf.dof)[at])
        if dof <= LEAST_DOF:
            wide += square
            if dof < lowest:
                symbol, lowest = slot.symbol, dof
    return WideT(symbol, lowest, wide / variance) if symbol else None


def _gathered(settings: Settings, wanted: Sequence[int], followed: Mapping[int, Followed]) -> Simulation:
    figures = [followed[row].figures if row in followed else Figures() for row in wanted]

    def array(values: list[float]) -> Array:
        return np.array(values, dtype=np.float64)

    return Simulation(
        settings,
        np.array(wanted, dtype=np.int64),
        np.array([one.trials for one in figures], dtype=np.int64),
        np.array([one.left_out for one in figures], dtype=np.int64),
        array([one.value for one in figures]),
        array([one.standard_uncertainty for one in figures]),
        np.array([one.symmetric for one in figures], dtype=np.float64).reshape(-1, 2),
        np.array([one.shortest for one in figures], dtype=np.float64).reshape(-1, 2),
        array([one.tolerance for one in figures]),
        np.array([one.stable for one in figures], dtype=bool),
        tuple(one.reason for one in figures),
    )
