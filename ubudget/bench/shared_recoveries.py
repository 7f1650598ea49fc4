"""Recovery factors that share a study, or the reference of two studies: what they share is one deviation in all.

R (1 + d), where d is the relative deviation of each study (mean found less reference), or its mean with the weights of
the studies: to first order the same value, u and degrees of freedom as those of the factor as a whole (GUM 5.1.2,
G.4.1), and the covariance between results beside them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.recovery_studies import DEVIATION, GROUP, SPLIT, STUDIES, StudyRow
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Trait

SHARED_FACTOR = "factor with what it shares"


@dataclass(frozen=True)
class SharedRow:
    """How the studies of a factor are combined, and how the factor is treated."""

    symbol: str
    studies: tuple[int, ...]
    mean: bool
    corrected: bool
    widened: bool


def sharing(of_rows: Sequence[Sequence[int]], studies: Sequence[StudyRow]) -> list[bool]:
    """Which factors share a study, or a reference that is uncertain, with another one; by the studies of each."""
    parts = [_parts(numbers, studies) for numbers in of_rows]
    return [
        any(own & other for place, other in enumerate(parts) if place != number) for number, own in enumerate(parts)
    ]


def _parts(numbers: Sequence[int], studies: Sequence[StudyRow]) -> set[object]:
    references = {studies[number].reference for number in numbers if studies[number].reference.u is not None}
    return {*numbers, *references}


def add_shared_factor(
    table: TableBuilder, rows: Sequence[SharedRow], shares: Sequence[bool], not_corrected: Expression
) -> None:
    """Column `SHARED_FACTOR` of the recoveries: that of `factor` in rows that share nothing.

    `not_corrected` is the part of u that widens a factor of 1, new for each row."""
    counts = [row.studies if here else () for row, here in zip(rows, shares, strict=True)]
    plain: Expression = Number(0)
    weighted: Expression = Number(0)
    weights: Expression = Number(0)
    for turn in range(max(map(len, counts))):
        own = [numbers[turn] if turn < len(numbers) else -1 for numbers in counts]
        off, R, weight = (
            table.pick(f"{column} of shared study {turn + 1}", STUDIES, column, own)
            for column in (DEVIATION, "R", "weight")
        )
        plain = plain + off
        weighted, weights = weighted + weight * R * off, weights + weight
    way = np.array([0 if not here else 2 if row.mean else 1 for row, here in zip(rows, shares, strict=True)])
    ways = [Symbol("R") * plain, apply("ratio_or_zero", weighted, weights)]
    words = "deviation of R by its studies"
    change = table.formula("deviation of R", words, "", Number(0), SPLIT, ways, way)
    wide = [here and row.widened for row, here in zip(rows, shares, strict=True)]
    left: Expression = Number(0)
    if any(wide):
        name = "R not corrected"
        trait = [
            Trait(f"{row.symbol}.{name}", "recovery left uncorrected", GROUP, "B", "normal", SPLIT) for row in rows
        ]
        members = [(table.name, name, number) if here else None for number, here in enumerate(wide)]
        left = table.deviation(name, name, "", not_corrected, trait, members=members, counts=wide)
    treated = [
        0 if not here else 1 if row.corrected else 3 if row.widened else 2
        for row, here in zip(rows, shares, strict=True)
    ]
    factors = [Symbol("R") + change, 1 + change, 1 + change + left]
    table.formula(SHARED_FACTOR, SHARED_FACTOR, "", Symbol("factor"), SPLIT, factors, np.array(treated))
