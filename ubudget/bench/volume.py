"""Volume of ware filled once: calibration, filling or delivery, and temperature of the liquid (QUAM A1).

V = V_ware + calibration + filling + V_ware * expansion * temperature deviation
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import COUNTED
from ubudget.bench.limits import Limits, shape_of
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.ware import WARE
from ubudget.quantity.expression import Expression, Number, Symbol
from ubudget.quantity.graph import Trait

FILLING, DELIVERY = "filling repeatability", "delivery repeatability"


@dataclass(frozen=True)
class TemperatureRows:
    """Rows of the stated inputs that hold deviation and expansion, and whether the run shares one deviation."""

    deviation: int
    expansion: int
    shared: bool
    distribution: str
    source: str
    items: tuple[str, ...] = ()


def add_volume(
    table: TableBuilder,
    symbol: str,
    unit: str,
    ware: Sequence[Limits],
    rows: Sequence[int],
    mark: str,
    *,
    word: str,
    group: str,
    reading: Symbol | None = None,
    temperature: TemperatureRows | None = None,
    own_calibration_mark: str = COUNTED,
    uses: Sequence[Hashable] | None = None,
    covered: Sequence[bool] | None = None,
) -> Symbol:
    """Volume column `symbol`. `ware` and `rows` give the piece of ware of each row, `reading` a burette's reading in
    place of the ware's volume. Rows with equal `uses` are one filling; each row is one of its own without it. A mark
    other than counted holds for the rows that are `covered`, for all without it."""
    held = [True] * len(ware) if covered is None else list(covered)
    base = reading or table.pick(f"volume of {symbol}", WARE, "volume", rows)
    calibration = f"{symbol}.calibration"
    u_calibration: Expression = table.pick(f"u of {calibration}", WARE, "u calibration", rows)
    counts = None
    if own_calibration_mark != COUNTED:
        # Ware of a set is new at each use; where such scatter is covered elsewhere only numbered ware counts here.
        counts = [item.shared or not covered for item, covered in zip(ware, held, strict=True)]
    deviation = table.deviation(
        calibration,
        calibration,
        unit,
        u_calibration,
        [_calibration_trait(calibration, limits, group) for limits in ware],
        members=[
            ("calibration", limits.key) if limits.shared else (*use, "calibration")
            for limits, use in zip(ware, _uses(table, symbol, uses), strict=True)
        ],
        counts=counts,
    )
    total: Expression = base + deviation
    if any(limits.repeatability for limits in ware):
        names = _uses(table, symbol, uses)
        total = total + _repeatability(table, symbol, unit, ware, rows, mark, word, group, names, held)
    if temperature is not None:
        rows = [temperature.deviation] * table.size
        expansion = table.pick(f"expansion of {symbol}", INPUTS, "estimate", [temperature.expansion] * table.size)
        if temperature.shared:
            kelvin = table.pick(f"{symbol}.temperature", INPUTS, "estimate", rows)
        else:
            name = f"{symbol}.temperature"
            u = table.pick(f"u of {name}", INPUTS, "u", rows)
            words = "temperature of the liquid"
            distribution, source = temperature.distribution, temperature.source
            trait = Trait(name, words, group, "B", distribution, source, items=temperature.items)
            kelvin = table.deviation(name, name, "K", u, [trait] * table.size)
        total = total + base * expansion * kelvin
    return table.formula(symbol, symbol, unit, total, "QUAM A1")


def _uses(table: TableBuilder, symbol: str, uses: Sequence[Hashable] | None) -> list[tuple[Hashable, ...]]:
    """Identity of the filling of each row."""
    if uses is None:
        return [(table.name, symbol, row) for row in range(table.size)]
    return [("filling", use) for use in uses]


def _calibration_trait(name: str, limits: Limits, group: str) -> Trait:
    if limits.certified is not None:
        distribution = shape_of(limits.certified)
    elif limits.tolerance_distribution == "normal 95 %":
        distribution = "normal"
    else:
        distribution = limits.tolerance_distribution
    source = f"{limits.key}: {limits.source}"
    return Trait(name, "calibration of the ware", group, "B", distribution, source, items=limits.items)


def _repeatability(
    table: TableBuilder,
    symbol: str,
    unit: str,
    ware: Sequence[Limits],
    rows: Sequence[int],
    mark: str,
    word: str,
    group: str,
    uses: Sequence[tuple[Hashable, ...]],
    held: Sequence[bool],
) -> Symbol:
    name = f"{symbol}.{word}"
    counts = [mark == COUNTED or not covered for covered in held]
    counted = any(counts)
    table.pick(f"u of {name}", WARE, "u repeatability", rows)
    table.pick(f"dof of {name}", WARE, "dof", rows)
    dof = None
    if counted and any(limits.repeatability_dof for limits in ware):
        dof = table.dof_where(f"ν of {name}", Symbol(f"dof of {name}"), counts)
    traits = [
        Trait(
            name,
            f"repeatability of {word}",
            group,
            "A",
            "normal",
            f"{word} repeatability of {limits.key}" if here else mark,
            items=limits.items,
        )
        for limits, here in zip(ware, counts, strict=True)
    ]
    u: Expression = Symbol(f"u of {name}") if counted else Number(0)
    return table.deviation(
        name,
        name,
        unit,
        u,
        traits,
        dof=dof,
        members=[(*use, word) for use in uses],
        counts=counts if counted else None,
        estimates=[("repeatability", limits.key) for limits in ware] if counted else None,
    )
