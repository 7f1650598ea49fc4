"""Components of variance of nested data: readings within digests within days, balanced or not.

Analysis of variance with sums of squares from the outermost factor inwards; components by setting mean squares equal to
their expectations (Henderson's method I for nested classifications; ISO 5725-2:1994 7.4 for one factor, GUM H.5 for
balanced days). Sums are exact, see `quantity.exact`.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from ubudget.errors import UbudgetError
from ubudget.quantity.exact import decimals

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Stratum:
    """One line of the analysis of variance, and the component of variance that it adds."""

    name: str
    degrees_of_freedom: int
    sum_of_squares: float
    mean_square: float
    component: float
    """Variance as it comes out, in unit²; may be negative."""
    s: float
    """Its root; 0 where the component is negative (ISO 5725-2:1994, 7.4.5.4)."""
    component_degrees_of_freedom: float
    """Effective degrees of freedom of the component (Satterthwaite); 0 where it is not above zero."""
    variance_ratio: float | None
    """F, the mean square over what it would be without the component; None for the innermost."""
    probability: float | None
    """Of such a ratio or a larger one without the component."""


@dataclass(frozen=True)
class Components:
    """Components of variance, outermost first; the last is that of repetitions within the innermost group."""

    mean: float
    size: int
    strata: tuple[Stratum, ...]
    s_total: float
    """Root of the sum of all components, none of them below zero: one result of another day, digest and reading."""
    total_degrees_of_freedom: float
    s_inner: float
    """The same without the outermost component: one result of the same day, another digest and reading."""
    inner_degrees_of_freedom: float
    u_mean: float
    """Standard uncertainty of the mean of all data from the components (GUM H.5.2.5 for balanced data)."""
    mean_degrees_of_freedom: float

    def stratum(self, name: str) -> Stratum:
        """The stratum of a factor, or of the repetitions, `within`. Raises `KeyError`."""
        return {stratum.name: stratum for stratum in self.strata}[name]


WITHIN = "within"


def variance_components(values: Sequence[float], **factors: Sequence[Hashable]) -> Components:
    """Components of variance of values, shape (n,), in one unit, by nested factors, each of shape (n,).

    Factors are named outermost first: `variance_components(c, day=days, digest=digests)`; a level of an inner factor
    belongs to that of the outer one, so that digest 1 of Monday is another than digest 1 of Tuesday. The innermost
    stratum, repetitions, is named `within`.

    Raises `UbudgetError` for values that are no finite numbers, factors of another length, a factor with one level or
    without repetition inside the levels of the next."""
    n = len(values)
    if not factors:
        raise UbudgetError("found no factor; accepted: one at least, such as day=…")
    for name, levels in factors.items():
        if len(levels) != n:
            raise UbudgetError(f"factor {name}: found {len(levels)} levels for {n} values; accepted: one each")
    if WITHIN in factors:
        raise UbudgetError(f"factor {WITHIN}: this is the name of the repetitions; accepted: another name")
    try:
        data = decimals(values)
    except ValueError as fault:
        raise UbudgetError(f"found a value that is no finite number ({fault}); accepted: finite numbers") from None
    names = (*factors, WITHIN)
    cells = _cells(n, list(factors.values()))
    counts = [[len(members) for members in depth] for depth in cells]
    freedom = [len(counts[at + 1]) - len(counts[at]) for at in range(len(counts) - 1)]
    for name, degrees in zip(names, freedom, strict=True):
        if degrees < 1:
            raise UbudgetError(
                f"{'repetitions' if name == WITHIN else f'factor {name}'}: no degree of freedom left; accepted: at "
                "least two levels, or repetitions, within a level of the factor outside"
            )
    squares = _sums_of_squares(data.whole, cells, data.unit)
    mean_squares = np.array([float(s / f) for s, f in zip(squares, freedom, strict=True)], dtype=np.float64)
    expected = _expectations(n, cells, freedom)
    weights: Array = np.asarray(np.linalg.inv(expected), dtype=np.float64)
    strata = tuple(
        _stratum(name, at, squares[at], mean_squares, freedom, expected, weights) for at, name in enumerate(names)
    )
    kept = np.array([stratum.component > 0 for stratum in strata])
    of_mean = _shares_in_mean(n, cells)
    s_total, total_dof = _combined(weights[kept].sum(axis=0), mean_squares, freedom)
    inner = kept & (np.arange(len(names)) > 0)
    s_inner, inner_dof = _combined(weights[inner].sum(axis=0), mean_squares, freedom)
    u_mean, mean_dof = _combined((of_mean[kept, None] * weights[kept]).sum(axis=0), mean_squares, freedom)
    mean = float(sum(data.whole) * data.unit / n)
    return Components(mean, n, strata, s_total, total_dof, s_inner, inner_dof, u_mean, mean_dof)


def _cells(n: int, factors: Sequence[Sequence[Hashable]]) -> list[list[list[int]]]:
    """Members of each cell by depth: 0 all data, then one factor after another, at last each value alone."""
    depths: list[list[list[int]]] = [[list(range(n))]]
    for at in range(len(factors)):
        groups: dict[tuple[Hashable, ...], list[int]] = {}
        for i in range(n):
            groups.setdefault(tuple(levels[i] for levels in factors[: at + 1]), []).append(i)
        depths.append(list(groups.values()))
    depths.append([[i] for i in range(n)])
    return depths


def _sums_of_squares(whole: Sequence[int], cells: list[list[list[int]]], unit: Fraction) -> list[Fraction]:
    """Between the cells of each depth within those of the depth before, exact."""
    levels = [
        sum((Fraction(sum(whole[i] for i in members) ** 2, len(members)) for members in depth), Fraction())
        for depth in cells
    ]
    return [(inner - outer) * unit**2 for outer, inner in pairwise(levels)]


def _expectations(n: int, cells: list[list[list[int]]], freedom: Sequence[int]) -> Array:
    """E(mean square of stratum l) = sum over m of entry (l, m) times component m; upper triangular."""
    owners = []
    for depth in cells:
        owner = np.empty(n, dtype=np.int64)
        for number, members in enumerate(depth):
            owner[members] = number
        owners.append(owner)
    sizes = [np.array([len(members) for members in depth], dtype=np.float64) for depth in cells]
    strata = len(freedom)

    def held(depth: int, stratum: int) -> float:
        """Sum over the cells of a depth of the squared sizes of the stratum's cells within, over the cell's size."""
        inner, outer = max(depth, stratum + 1), min(depth, stratum + 1)
        if depth >= stratum + 1:
            return float(n)
        first = np.array([members[0] for members in cells[inner]])
        return float((sizes[inner] ** 2 / sizes[outer][owners[outer][first]]).sum())

    return np.array(
        [
            [(held(at + 1, m) - held(at, m)) / freedom[at] if m >= at else 0.0 for m in range(strata)]
            for at in range(strata)
        ]
    )


def _shares_in_mean(n: int, cells: list[list[list[int]]]) -> Array:
    """Part of each component in the variance of the mean of all data."""
    return np.array([sum(len(members) ** 2 for members in depth) / n**2 for depth in cells[1:]])


def _stratum(
    name: str,
    at: int,
    squares: Fraction,
    mean_squares: Array,
    freedom: Sequence[int],
    expected: Array,
    weights: Array,
) -> Stratum:
    component = float(weights[at] @ mean_squares)
    s, dof = _combined(weights[at], mean_squares, freedom)
    ratio = probability = None
    if at < len(freedom) - 1:
        # What the mean square would be without the component: the others at their estimates.
        own = np.zeros(len(freedom))
        own[at] = 1
        rest = own - expected[at, at] * weights[at]
        below, rest_dof = _combined(rest, mean_squares, freedom)
        if below > 0:
            ratio = float(mean_squares[at]) / below**2
            probability = float(fdtrc(freedom[at], rest_dof, ratio))
    return Stratum(
        name,
        freedom[at],
        float(squares),
        float(mean_squares[at]),
        component,
        s if component > 0 else 0.0,
        dof if component > 0 else 0.0,
        ratio,
        probability,
    )


def _combined(weights: Array, mean_squares: Array, freedom: Sequence[int]) -> tuple[float, float]:
    """Root of a weighted sum of mean squares, and its effective degrees of freedom (Satterthwaite, GUM G.4.1)."""
    parts = weights * mean_squares
    variance = float(parts.sum())
    if variance <= 0:
        return 0.0, 0.0
    return math.sqrt(variance), variance**2 / float((parts**2 / np.array(freedom)).sum())
