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
from ubudget.quantity.graph import DETAIL, Trait

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
) -> Symbol:
    """Volume column `symbol`. `ware` and `rows` give the piece of ware of each row, `reading` a burette's reading in
    place of the ware's volume."""
    base = reading or table.pick(f"volume of {symbol}", WARE, "volume", rows)
    calibration = f"{symbol}.calibration"
    u_calibration: Expression = table.pick(f"u of {calibration}", WARE, "u calibration", rows)
    if own_calibration_mark != COUNTED:
        # Ware of a set is new at each use; where such scatter is covered elsewhere only numbered ware counts here.
        numbered = table.given(
            f"numbered {symbol}", "numbered (1 = yes)", "", [float(item.shared) for item in ware], rank=DETAIL
        )
        u_calibration = numbered * u_calibration
    deviation = table.deviation(
        calibration,
        calibration,
        unit,
        u_calibration,
        [_calibration_trait(calibration, limits, group) for limits in ware],
        members=[_member(limits, table.name, symbol, row) for row, limits in enumerate(ware)],
    )
    total: Expression = base + deviation
    if any(limits.repeatability for limits in ware):
        total = total + _repeatability(table, symbol, unit, ware, rows, mark, word, group)
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


def _member(limits: Limits, table: str, symbol: str, row: int) -> Hashable:
    return ("calibration", limits.key) if limits.shared else (table, symbol, "calibration", row)


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
) -> Symbol:
    name = f"{symbol}.{word}"
    counted = mark == COUNTED
    table.pick(f"u of {name}", WARE, "u repeatability", rows)
    table.pick(f"dof of {name}", WARE, "dof", rows)
    dof = None
    if counted and any(limits.repeatability_dof for limits in ware):
        dof = f"ν of {name}"
        table.formula(dof, dof, "", Symbol(f"dof of {name}"))
    traits = [
        Trait(
            name,
            f"repeatability of {word}",
            group,
            "A",
            "normal",
            f"{word} repeatability of {limits.key}" if counted else mark,
            items=limits.items,
        )
        for limits in ware
    ]
    return table.deviation(
        name,
        name,
        unit,
        Symbol(f"u of {name}") if counted else Number(0),
        traits,
        dof=dof,
        estimates=[("repeatability", limits.key) for limits in ware] if counted else None,
    )
