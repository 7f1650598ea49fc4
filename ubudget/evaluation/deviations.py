"""Draws of input quantities: what is one stream of numbers, and what is shared by several.

A physical deviation (`members` of a leaf) is one stream wherever it occurs, over all tables. Deviations that rest on
one variance estimate (`estimates`) share the factor sqrt(nu/chi-squared) of that estimate in each trial, so that they
are multivariate t together (JCGM 101 6.4.9 for one of them). Declared correlations are those of jointly normal
deviations (JCGM 101 6.4.8), by the eigenvectors of their matrix, so that coefficients of 1 and -1 are exact; one with
finite degrees of freedom is then a normal one times the factor of its own estimate, which keeps its own t distribution.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ubudget.evaluation.covariance import declared_correlations
from ubudget.quantity.distributions import DISTRIBUTIONS
from ubudget.quantity.graph import INFINITE_DOF, Array, Graph, Leaf, Trait
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.operations import LARGE_DOF
from ubudget.quantity.program import Node, Nodes, Source

OF_ESTIMATE, OF_MEMBER, OF_JOINT = 0, 1, 2
"""First number of the key of a stream: factor of a variance estimate, a deviation, the parts of correlated ones."""
T_FACTOR = "t factor"
NEGATIVE = 1e-9
"""Eigenvalues of a correlation matrix down to minus this are rounding."""


@dataclass
class Deviations:
    """Standard deviations of the leaves of a graph, as nodes."""

    graph: Graph
    numbers: Numbers
    nodes: Nodes
    _correlated: Mapping[int, tuple[tuple[int, ...], Array]] = field(init=False)

    def __post_init__(self) -> None:
        self._correlated = _roots(declared_correlations(self.graph, self.numbers))

    def of(self, table: str, leaf: Leaf, row: int) -> Node:
        """Deviation of one row of a leaf from its estimate: u times a standard draw; 0 where it is exact."""
        member = int(leaf.members[row])
        u = float(self.numbers.column(table, leaf.u)[row])
        if member < 0 or u == 0:
            return 0.0
        trait = leaf.traits[row]
        drawn = self._standard(trait, member)
        dof = self.dof_of(table, leaf, row)
        if has_t(trait) and dof < LARGE_DOF:
            estimate = int(leaf.estimates[row])
            key = (OF_ESTIMATE, estimate) if estimate >= 0 else (OF_ESTIMATE, 0, member)
            drawn = self.nodes.apply("multiply", drawn, self.nodes.draw(Source(T_FACTOR, key, dof)))
        return self.nodes.apply("multiply", u, drawn)

    def dof_of(self, table: str, leaf: Leaf, row: int) -> float:
        """Degrees of freedom of one row, at the estimates."""
        return INFINITE_DOF if leaf.dof is None else float(self.numbers.column(table, leaf.dof)[row])

    def _standard(self, trait: Trait, member: int) -> Node:
        if member in self._correlated:
            group, parts = self._correlated[member]
            streams = [self.nodes.draw(Source("normal", (OF_JOINT, *group[:1], part))) for part in range(len(group))]
            return self.nodes.sum([(float(part), stream) for part, stream in zip(parts, streams, strict=True)])
        kind = "normal" if has_t(trait) else trait.distribution
        return self.nodes.draw(Source(kind, (OF_MEMBER, member), 0.0 if kind == "normal" else trait.shape))


def has_t(trait: Trait) -> bool:
    """Whether finite degrees of freedom make a t distribution: what is normal otherwise (JCGM 101 6.4.9). Limits stay
    the limits that were stated."""
    return trait.distribution in ("normal", "t") or trait.distribution not in DISTRIBUTIONS


def _roots(declared: Mapping[tuple[int, int], float]) -> dict[int, tuple[tuple[int, ...], Array]]:
    """For each correlated deviation the group it belongs to, and its parts in independent ones of unit variance."""
    found: dict[int, tuple[tuple[int, ...], Array]] = {}
    for group in correlated_groups(declared):
        values, vectors = np.linalg.eigh(matrix_of(group, declared))
        root = vectors * np.sqrt(np.clip(values, 0.0, None))
        root[np.abs(root) < NEGATIVE] = 0.0
        found |= {member: (group, root[place]) for place, member in enumerate(group)}
    return found


def correlated_groups(declared: Mapping[tuple[int, int], float]) -> list[tuple[int, ...]]:
    """Deviations that declared coefficients other than zero connect, in groups."""
    group_of: dict[int, set[int]] = {}
    for (a, b), r in declared.items():
        if r != 0:
            joined = group_of.get(a, {a}) | group_of.get(b, {b})
            for member in joined:
                group_of[member] = joined
    return sorted({tuple(sorted(group)) for group in group_of.values()})


def matrix_of(group: tuple[int, ...], declared: Mapping[tuple[int, int], float]) -> Array:
    """Correlation matrix of a group."""
    place = {member: number for number, member in enumerate(group)}
    matrix = np.eye(len(group))
    for (a, b), r in declared.items():
        if a in place and b in place:
            matrix[place[a], place[b]] = matrix[place[b], place[a]] = r
    return matrix
