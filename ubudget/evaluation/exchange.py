"""Results as numbers of the package `uncertainties`: one independent variable for each physical deviation.

Results are linear combinations of the same variables, so that further arithmetic on them keeps every
correlation exactly. The linear combinations are built directly: arithmetic of that package would take a
thousand times as long.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from uncertainties import ufloat
from uncertainties.core import (
    AffineScalarFunc,
    LinearCombination,
    Variable,
)

from ubudget.bench.result_table import STATUS
from ubudget.evaluation.covariance import contributions, declared_correlations
from ubudget.evaluation.propagation import Propagated
from ubudget.quantity.graph import Array
from ubudget.quantity.numbers import Numbers


def results_as_ufloats(
    propagated: Propagated, numbers: Numbers, variables: Mapping[int, Variable] | None = None
) -> list[AffineScalarFunc]:
    """One number a result: value + sum of c_i (x_i - estimate_i), in the unit of the results.

    `variables` gives those of deviations that other calculations use too, by number of the deviation. Where
    correlations are declared, a variable stands for what its deviation does not share with earlier ones. A
    result that cannot be calculated is nan ± nan."""
    known = dict(variables or {}) | _new_variables(propagated, numbers, set(variables or {}))
    values = numbers.column(propagated.table, propagated.column)
    by_result: list[dict[int, float]] = [{} for _ in values]
    for result, member, contribution in zip(
        *(part.tolist() for part in contributions(propagated, numbers)), strict=True
    ):
        if contribution != 0:
            by_result[result][member] = by_result[result].get(member, 0.0) + contribution
    roots = _roots(declared_correlations(propagated.graph, numbers), set(known))
    usable = _usable(propagated, numbers)
    return [
        _number(value, _independent(parts, roots), known) if sound else ufloat(np.nan, np.nan)
        for value, parts, sound in zip(values.tolist(), by_result, usable.tolist(), strict=True)
    ]


def _number(value: float, parts: Mapping[int, float], known: Mapping[int, Variable]) -> AffineScalarFunc:
    derivatives = {known[member]: part / known[member].std_dev for member, part in parts.items()}
    return AffineScalarFunc(value, LinearCombination(derivatives))


def _new_variables(propagated: Propagated, numbers: Numbers, known: set[int]) -> dict[int, Variable]:
    """Variables of the deviations with an uncertainty."""
    found: dict[int, Variable] = {}
    for slot in propagated.slots:
        leaf = propagated.graph.tables[slot.table].leaf_of[slot.column]
        estimates = numbers.column(slot.table, slot.column)
        uncertainties = numbers.column(slot.table, leaf.u)
        for row in np.unique(slot.rows[slot.members >= 0]).tolist():
            member = int(leaf.members[row])
            u = float(uncertainties[row])
            if member not in known and member not in found and u > 0:
                found[member] = ufloat(float(estimates[row]), u, tag=slot.symbol)
    return found


def _usable(propagated: Propagated, numbers: Numbers) -> np.ndarray:
    values = numbers.column(propagated.table, propagated.column)
    usable = np.isfinite(values)
    if STATUS in propagated.graph.tables[propagated.table].by_name:
        usable = usable & (numbers.column(propagated.table, STATUS) == 0)
    for slot in propagated.slots:
        contribution = numbers.column(propagated.table, slot.contribution)
        usable = usable & (np.isfinite(contribution) | (slot.members < 0))
    return usable


# --- Declared correlations ---


def _roots(declared: Mapping[tuple[int, int], float], known: set[int]) -> dict[int, dict[int, float]]:
    """For each correlated deviation its parts in independent ones of unit variance."""
    pairs = {pair: r for pair, r in declared.items() if r != 0 and set(pair) <= known}
    members = sorted({member for pair in pairs for member in pair})
    matrix = np.eye(len(members))
    for (a, b), r in pairs.items():
        i, j = members.index(a), members.index(b)
        matrix[i, j] = matrix[j, i] = r
    root = lower_root(matrix)
    return {
        member: {other: float(part) for other, part in zip(members, row, strict=True) if part != 0}
        for member, row in zip(members, root, strict=True)
    }


def lower_root(matrix: Array) -> Array:
    """Lower triangular L with L Lᵀ = `matrix`, which may be singular (coefficients of ±1)."""
    root = np.zeros_like(matrix)
    for column in range(len(matrix)):
        rest = matrix[column:, column] - root[column:, :column] @ root[column, :column]
        # What rounding leaves of an exact zero must not become a divisor.
        if rest[0] > 1e-12:
            root[column:, column] = rest / np.sqrt(rest[0])
    return root


def _independent(parts: Mapping[int, float], roots: Mapping[int, Mapping[int, float]]) -> Mapping[int, float]:
    if not any(member in roots for member in parts):
        return parts
    independent: dict[int, float] = {}
    for member, part in parts.items():
        for other, share in roots.get(member, {member: 1.0}).items():
            independent[other] = independent.get(other, 0.0) + part * share
    return independent
