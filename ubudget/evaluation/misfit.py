"""Whether levels scatter about their curve more than scatter of readings and stated term between levels explain."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.assembly import Assembly
from ubudget.bench.curve import CURVES, LEVELS
from ubudget.bench.readings import POINTS, flatten
from ubudget.quantity.graph import Array
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.operations import TABLE

LARGE_DOF = 1e9
"""Of a scatter that is known."""


def misfit_beyond_term(
    assembly: Assembly, numbers: Numbers, parameters: int, rows: Sequence[int]
) -> dict[int, tuple[float, float]]:
    """F and its probability, by row of the curves: the mean square of the levels about the curve, each by the variance
    that scatter within levels (or as known from the weights) and the stated term lead one to expect.

    The mean slope of the curve turns the term into readings: enough for a test, no part of any u."""
    structure = assembly.structure
    assert structure is not None
    items = structure.standard_readings
    level = np.array([item for item, _, _ in flatten(items)[0]])
    mark, W, residual, fitted = (numbers.column(POINTS, name) for name in ("mark", "W", "residual", "fitted"))
    term = next(name for name in assembly.graph.tables[LEVELS].by_name if name.endswith(".between levels)"))
    u, x = numbers.column(LEVELS, term), numbers.column(LEVELS, "x")
    known = "s within" not in assembly.graph.tables[CURVES].by_name
    within = numbers.column(CURVES, "s known" if known else "s within") ** 2
    dof_within = np.full(within.shape, LARGE_DOF) if known else numbers.column(CURVES, "dof within")
    weight, weighted_sum = (np.bincount(level, values, len(items)) for values in (mark * W, mark * W * residual))
    found = {}
    for row in rows:
        own = [
            number for number, item in enumerate(items) if item.curve == structure.curves[row] and weight[number] > 0
        ]
        points = np.isin(level, own) & (mark > 0)
        dof = len(own) - parameters
        if dof < 1 or within[row] == 0:
            continue
        slope = np.ptp(fitted[points]) / np.ptp(x[own])
        expected: Array = 1 + weight[own] * (slope * u[own]) ** 2 / within[row]
        F = float(np.sum(weighted_sum[own] ** 2 / weight[own] / expected) / dof / within[row])
        found[row] = F, float(TABLE["f_upper"].numbers(F, dof, dof_within[row]))
    return found
