"""Masses of solutions made on a balance that was set to zero with the empty vessel.

Each reading, empty, after the aliquot and filled, has deviations of its own; aliquot and total share that of the empty
vessel.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from ubudget.bench.balances import BALANCES
from ubudget.bench.building import TableBuilder
from ubudget.bench.context import MASS_SHOWN
from ubudget.bench.limits import Limits
from ubudget.quantity.expression import Expression
from ubudget.quantity.graph import Trait
from ubudget.quantity.units import convert
from ubudget.records.preparation_chains import MASS


@dataclass(frozen=True)
class Scales:
    """The balance of each row, its row in the table `balances`, and what is said of its repeatability."""

    balances: Sequence[Limits]
    rows: Sequence[int]
    covered: Sequence[bool]
    mark: str
    """Of the rows that are covered."""
    vessels: Sequence[Hashable]
    solutions: Sequence[str]
    group: str


def add_reading_deviations(table: TableBuilder, symbol: str, reading: str, scales: Scales) -> list[Expression]:
    """Deviations of one reading: calibration or linearity, resolution, repeatability (QUAM A2)."""
    factor = convert(1.0, MASS_SHOWN, MASS)
    found: list[Expression] = []
    for part, column, stated in (
        ("indication", "u calibration", [b.certified or b.tolerance for b in scales.balances]),
        ("resolution", "u resolution", [b.resolution for b in scales.balances]),
        ("repeatability", "u repeatability", [b.repeatability for b in scales.balances]),
    ):
        if not any(stated):
            continue
        name = f"{symbol}.{reading} {part}"
        u: Expression = table.pick(f"{column} of {name}", BALANCES, column, scales.rows) * factor
        dof = estimates = counts = None
        if part == "repeatability":
            counts = [not covered for covered in scales.covered]
            dof = table.dof_where(f"ν of {name}", table.pick(f"dof of {name}", BALANCES, "dof", scales.rows), counts)
            estimates = [("balance repeatability", balance.key) for balance in scales.balances]
        found.append(
            table.deviation(
                name,
                name,
                MASS,
                u,
                [_trait(part, reading, scales, row) for row in range(table.size)],
                dof=dof,
                members=[("solution weighed", vessel, reading, part) for vessel in scales.vessels],
                estimates=estimates,
                counts=counts,
            )
        )
    return found


def _trait(part: str, reading: str, scales: Scales, row: int) -> Trait:
    balance, solution = scales.balances[row], scales.solutions[row]
    name, words = f"{solution}.{reading} {part}", f"{part} of the balance, {reading} reading of {solution}"
    if part == "repeatability":
        source = scales.mark if scales.covered[row] else f"repeatability of {balance.key}"
        return Trait(name, words, scales.group, "A", "normal", source)
    if part == "resolution":
        return Trait(name, words, scales.group, "B", "rectangular", f"resolution of {balance.key}")
    return Trait(name, words, scales.group, "B", "normal" if balance.certified else "rectangular", balance.source)
