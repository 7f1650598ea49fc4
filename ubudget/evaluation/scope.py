"""A method over a grid of levels, for the scope of accreditation: U at each level, what dominates it, where it holds.

The grid is a run with one sample for each level (`files.level_run`), or a method that stands alone with one input at
several values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.result_table import RESULTS
from ubudget.errors import UbudgetError
from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, FACTOR, STANDARD
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.evaluation.horwitz import thompson
from ubudget.evaluation.level_function import FEWEST, LevelFunction, fit_level_function
from ubudget.evaluation.targets import TARGET, TARGETS, rows_of_targets
from ubudget.quantity.graph import INFINITE_DOF
from ubudget.quantity.numbers import Numbers
from ubudget.records.unit_comparison import in_unit

INPUTS, ESTIMATE = "inputs", "estimate"
MOST_STEPS = 60


@dataclass(frozen=True)
class Point:
    """One level. `target` is an expanded uncertainty, `expected` a standard deviation of reproducibility."""

    level: float
    u: float
    degrees_of_freedom: float | None
    k: float
    U: float
    dominating: str
    share: float
    remarks: tuple[str, ...]
    target: float | None = None
    expected: float | None = None
    """By Horwitz's function with Thompson's ends, where the unit is a mass fraction."""

    @property
    def relative(self) -> float:
        """U in % of the level."""
        return 100 * self.U / abs(self.level) if self.level else math.inf

    @property
    def misses_target(self) -> bool:
        return self.target is not None and self.target < self.U

    @property
    def holds(self) -> bool:
        """Whether nothing stands against the result: within the calibrated range, no flag."""
        return not self.remarks


@dataclass(frozen=True)
class Scope:
    """The points of one analyte and line, and what follows from those that hold."""

    label: str
    unit: str
    points: tuple[Point, ...]
    function: LevelFunction | None
    """u² = s0² + (s1·x)² fitted to the points that hold; None for fewer than four."""

    @property
    def held(self) -> tuple[Point, ...]:
        return tuple(point for point in self.points if point.holds)

    @property
    def claimed(self) -> tuple[Point, ...]:
        """Those of the points that hold at which the target is met, or where there is none."""
        return tuple(point for point in self.held if not point.misses_target)

    @property
    def smallest(self) -> Point | None:
        """The point of the smallest U that may be claimed."""
        return min(self.claimed, key=lambda point: point.U, default=None)

    @property
    def smallest_relative(self) -> Point | None:
        return min(self.claimed, key=lambda point: point.relative, default=None)


def scope_of_run(levels: Evaluation, lines: Sequence[tuple[str, str]]) -> tuple[Scope, ...]:
    """One scope for each line of a run whose samples are the levels, in their order."""
    target_rows = rows_of_targets(levels.graph)
    targets = levels.column(TARGET, TARGETS) if target_rows else np.zeros(0)
    found = []
    for analyte, line in lines:
        points = []
        for row, result in enumerate(levels.results):
            if (result.analyte, result.line or "") == (analyte, line) and result.value is not None:
                target = float(targets[target_rows[row]]) if row in target_rows else 0.0
                points.append(_point_of(result, target or None))
        unit = levels.records.method.document.unit
        found.append(_scope(f"{analyte} {line}".strip(), unit, points))
    return tuple(found)


def _point_of(result: Result, target: float | None) -> Point:
    assert result.value is not None and result.standard_uncertainty is not None
    shares: dict[str, float] = {}
    for row in result.budget:
        shares[row.group] = shares.get(row.group, 0.0) + row.share
    group = max(shares, key=lambda name: shares[name], default="")
    return Point(
        result.value,
        result.standard_uncertainty,
        result.effective_degrees_of_freedom,
        result.coverage_factor or 0.0,
        result.expanded_uncertainty or 0.0,
        group,
        shares.get(group, 0.0),
        result.flags,
        target,
        _expected(result.value, result.unit),
    )


def _expected(level: float, unit: str) -> float | None:
    fraction = in_unit(level, unit, "kg/kg")
    if fraction is None or not 0 < fraction <= 1:
        return None
    return thompson(fraction) * level / fraction


def _scope(label: str, unit: str, points: Sequence[Point]) -> Scope:
    held = [point for point in points if point.holds and point.u > 0]
    function = None
    if len(held) >= FEWEST and len({point.level for point in held}) > 1:
        function = fit_level_function([point.level for point in held], [point.u for point in held])
    return Scope(label, unit, tuple(points), function)


def scope_of_method(evaluation: Evaluation, symbol: str, levels: Sequence[float]) -> Scope:
    """The scope of a method that stands alone, one of its inputs at the values that give the levels.

    Shape of `levels`: (n,), in the unit of the result. Raises `UbudgetError` for an input that is none, or a level that
    no value of it gives."""
    table = evaluation.graph.tables.get(INPUTS)
    names = table.texts("symbol") if table else ()
    if symbol not in names:
        raise UbudgetError(f"--vary {symbol}: found no such input; accepted: {', '.join(names) or 'none'}")
    row = names.index(symbol)
    given = evaluation.column(ESTIMATE, INPUTS)
    wanted = np.array(levels, dtype=np.float64)

    def numbers(values: np.ndarray) -> Numbers:
        drawn = np.tile(given, (len(wanted), 1))
        drawn[:, row] = values
        return Numbers(evaluation.graph, {(INPUTS, ESTIMATE): drawn})

    def results(values: np.ndarray) -> np.ndarray:
        found = numbers(values).column(RESULTS, evaluation.assembly.value)
        return np.asarray(np.broadcast_to(found, (len(wanted), found.shape[-1]))[:, 0])

    before = np.full(len(wanted), given[row])
    now = before * 1.02 + (before == 0)
    y_before, y_now = results(before), results(now)
    for _ in range(MOST_STEPS):
        if (np.abs(wanted - y_now) <= 1e-12 * np.abs(wanted)).all():
            break
        with np.errstate(all="ignore"):
            step = np.where(y_now == y_before, 0.0, (wanted - y_now) * (now - before) / (y_now - y_before))
        before, y_before = now, y_now
        now = now + step
        y_now = results(now)
    missed = ~(np.abs(wanted - y_now) <= 1e-9 * np.abs(wanted))
    if missed.any():
        raise UbudgetError(f"level {wanted[missed][0]:g}: no {symbol} gives it; accepted: levels of the equation")
    found = numbers(now)
    shape = (len(wanted), 1)
    u, nu, k, U = (
        np.broadcast_to(found.column(RESULTS, name), shape)[:, 0]
        for name in (STANDARD, EFFECTIVE_DOF, FACTOR, EXPANDED)
    )
    groups: dict[str, np.ndarray] = {}
    for slot in evaluation.slots:
        part = np.broadcast_to(found.column(RESULTS, slot.contribution), shape)[:, 0] ** 2
        groups[slot.group] = groups.get(slot.group, np.zeros(len(wanted))) + part
    unit = evaluation.unit(0) or "1"
    points = []
    for at, level in enumerate(wanted.tolist()):
        group = max(groups, key=lambda name: groups[name][at], default="")
        share = float(groups[group][at] / u[at] ** 2) if group and u[at] > 0 else 0.0
        dof = None if nu[at] >= INFINITE_DOF / 10 else float(nu[at])
        points.append(
            Point(level, float(u[at]), dof, float(k[at]), float(U[at]), group, share, (), None, _expected(level, unit))
        )
    return _scope(evaluation.records.method.document.measurand, unit, points)
