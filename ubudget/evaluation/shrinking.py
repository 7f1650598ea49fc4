"""How far one input quantity, or one group of them, would have to shrink for a target to be met.

All else and k stay as they are. Where f multiplies u of the part, u² becomes u²(s f² + b f + 1 - s - b): s is its
share, b that of its covariances with others. f solves this for the target.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ubudget.evaluation.coverage import EXPANDED, STANDARD
from ubudget.evaluation.evaluate import Evaluation


@dataclass(frozen=True)
class Part:
    """An input quantity, or a group. `factor` on its u meets the target: 1 where it is met, None where no factor does:
    the rest alone exceeds the target."""

    name: str
    group: str
    share: float
    factor: float | None
    quantity: str = ""


def parts_of(evaluation: Evaluation, row: int, target: float) -> tuple[list[Part], list[Part]]:
    """Groups, and single input quantities, of a result by falling share; `target` is a U in the unit of the result."""
    U, u = float(evaluation.column(EXPANDED)[row]), float(evaluation.column(STANDARD)[row])
    q = (target / U) ** 2 if U > 0 else math.inf
    slots = evaluation.slots
    present = [number for number, slot in enumerate(slots) if slot.rows[row] >= 0]
    squares = {n: _share(evaluation, slots[n].contribution, row, u, squared=True) for n in present}
    covariances = [
        (c.a, c.b, _share(evaluation, c.contribution, row, u, squared=False))
        for c in evaluation.propagated.covariances
        if c.rows[row] >= 0
    ]

    def part(name: str, group: str, members: Sequence[int], quantity: str = "") -> Part:
        own = set(members)
        s = sum(squares[n] for n in own) + sum(v for a, b, v in covariances if {a, b} <= own)
        b = sum(v for a, b, v in covariances if len({a, b} & own) == 1)
        return Part(name, group, s, shrink_factor(s, b, q), quantity)

    names = dict.fromkeys(slots[n].group for n in present)
    groups = [part(name, name, [n for n in present if slots[n].group == name]) for name in names]
    inputs = []
    for n in present:
        leaf = evaluation.graph.tables[slots[n].table].leaf_of[slots[n].column]
        quantity = leaf.traits[int(slots[n].rows[row])].quantity
        inputs.append(part(slots[n].symbol, slots[n].group, [n], quantity))
    return _ranked(groups), _ranked(inputs)


def shrink_factor(share: float, crossing: float, q: float) -> float | None:
    """f from 0 to 1 with share f² + crossing f + 1 - share - crossing = q; 1 where q is 1 or more, None without one."""
    if q >= 1:
        return 1.0
    rest = 1 - share - crossing
    root = crossing**2 + 4 * share * (q - rest)
    if share <= 0 or root < 0:
        return None
    factor = (math.sqrt(root) - crossing) / (2 * share)
    return factor if 0 < factor < 1 else None


def _ranked(parts: Sequence[Part]) -> list[Part]:
    return sorted((part for part in parts if part.share != 0), key=lambda part: -part.share)


def _share(evaluation: Evaluation, column: str, row: int, u: float, *, squared: bool) -> float:
    value = float(evaluation.column(column)[row])
    return 0.0 if u == 0 else (value**2 if squared else value) / u**2
