"""Covariance matrix across results, on demand (GUM 5.2.2).

Results that share input quantities are correlated (GUM F.1.2.3). Each physical deviation enters results by
its contribution c·u. Two results covary by the product of their contributions of the same deviation, summed
over deviations, and by declared correlations between deviations.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.evaluation.propagation import Propagated
from ubudget.quantity.graph import Array, Graph, Joint, Rows
from ubudget.quantity.numbers import Numbers

AT_ONCE = 2_000
"""Deviations worked on at once: limits the memory to (results, AT_ONCE)."""


def covariance_matrix(propagated: Propagated, numbers: Numbers) -> Array:
    """Covariances of all results, shape (results, results), in the squared unit of the results.

    NaN in the row and column of a result that has no finite contribution."""
    size = propagated.graph.tables[propagated.table].size
    result, member, contribution = contributions(propagated, numbers)
    declared = declared_correlations(propagated.graph, numbers)
    members, place, uses = np.unique(member, return_inverse=True, return_counts=True)
    joint = np.isin(members, [side for pair in declared for side in pair])
    shared = np.flatnonzero((uses > 1) | joint)
    covariance = np.zeros((size, size))
    own = ~np.isin(place, shared)
    np.add.at(covariance, (result[own], result[own]), contribution[own] ** 2)
    for start in range(0, shared.size, AT_ONCE):
        part = _by_member(size, result, place, contribution, shared[start : start + AT_ONCE])
        covariance += part @ part.T
    for pair, r in declared.items():
        both = np.flatnonzero(np.isin(members, pair))
        if both.size == 2:
            part = _by_member(size, result, place, contribution, both)
            product = r * np.outer(part[:, 0], part[:, 1])
            covariance += product + product.T
    return covariance


def covariance_of(propagated: Propagated, numbers: Numbers, rows: Sequence[int]) -> Array:
    """Covariances of some results alone, shape (len(rows), len(rows)), without the matrix of all."""
    result, member, contribution = contributions(propagated, numbers, rows)
    members, place = np.unique(member, return_inverse=True)
    part = _by_member(len(rows), result, place, contribution, np.arange(members.size))
    covariance: Array = part @ part.T
    for pair, r in declared_correlations(propagated.graph, numbers).items():
        both = np.flatnonzero(np.isin(members, pair))
        if both.size == 2:
            product = r * np.outer(part[:, both[0]], part[:, both[1]])
            covariance += product + product.T
    return covariance


def correlation_of(covariance: Array) -> Array:
    """Correlation coefficients of a covariance matrix (GUM 5.2.2 eq. 14); NaN beside a result with u = 0 or NaN."""
    u = np.sqrt(np.diag(covariance))
    with np.errstate(divide="ignore", invalid="ignore"):
        coefficients: Array = covariance / np.outer(u, u)
    sound = np.isfinite(u) & (u > 0)
    coefficients[sound, sound] = 1.0
    # Rounding may leave a coefficient a little beyond one.
    return np.clip(coefficients, -1.0, 1.0)


def contributions(
    propagated: Propagated, numbers: Numbers, wanted: Sequence[int] | None = None
) -> tuple[Rows, Rows, Array]:
    """All contributions of all results, or of those wanted: number of the result (among them), of the deviation, c·u;
    shape (n,) each."""
    results: list[Rows] = [np.empty(0, dtype=np.int64)]
    members: list[Rows] = [np.empty(0, dtype=np.int64)]
    values: list[Array] = [np.empty(0)]
    size = propagated.graph.tables[propagated.table].size
    chosen = np.arange(size) if wanted is None else np.asarray(wanted, dtype=np.int64)
    for slot in propagated.slots:
        here = np.flatnonzero(slot.members[chosen] >= 0)
        rows = chosen[here]
        results.append(here)
        members.append(slot.members[rows])
        values.append(numbers.column(propagated.table, slot.contribution)[rows])
    return np.concatenate(results), np.concatenate(members), np.concatenate(values)


def declared_correlations(graph: Graph, numbers: Numbers) -> dict[tuple[int, int], float]:
    """Declared correlation coefficient by pair of physical deviations, smaller number first."""
    declared = {}
    for joint in graph.joints:
        low, high = sorted(_members_of(graph, joint))
        if 0 <= low < high:
            declared[low, high] = float(numbers.column(joint.table, joint.column)[joint.row])
    return declared


def _members_of(graph: Graph, joint: Joint) -> list[int]:
    return [int(graph.tables[table].leaf_of[column].members[row]) for table, column, row in (joint.a, joint.b)]


def _by_member(size: int, result: Rows, place: Rows, contribution: Array, wanted: Rows) -> Array:
    """Contributions of the deviations at the wanted places, shape (results, wanted)."""
    table = np.zeros((size, wanted.size))
    column = np.full(int(place.max(initial=-1)) + 1, -1)
    column[wanted] = np.arange(wanted.size)
    kept = column[place] >= 0
    np.add.at(table, (result[kept], column[place[kept]]), contribution[kept])
    return table
