"""Volume of ware filled once: calibration, filling or delivery, meniscus, and temperature of the liquid (QUAM A1).

V = V_ware + calibration + filling + meniscus - V_ware * expansion * temperature deviation

A part volume is read: its reading stands in place of V_ware, with the deviations of reading at start and end (QUAM A2).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import COUNTED
from ubudget.bench.limits import Limits
from ubudget.bench.temperature import TemperatureRows as TemperatureRows
from ubudget.bench.temperature import temperature_part
from ubudget.bench.ware import WARE
from ubudget.quantity.expression import Expression, Number, Symbol
from ubudget.quantity.graph import DETAIL, Trait

FILLING, DELIVERY = "filling repeatability", "delivery repeatability"


@dataclass(frozen=True)
class SmallDeviation:
    """A deviation within a half-width, new at each use: its name in the budget, and the column of its u."""

    name: str
    quantity: str
    u: Symbol
    sources: tuple[str, ...]


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
    reading_deviations: Sequence[SmallDeviation] = (),
    temperature: TemperatureRows | None = None,
    own_calibration_mark: str = COUNTED,
) -> Symbol:
    """Volume column `symbol`. `ware` and `rows` give the piece of ware of each row, `reading` a part volume in place
    of the ware's volume, `reading_deviations` what reading it adds."""
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
    if any(limits.meniscus for limits in ware):
        u_meniscus = table.pick(f"u of {symbol}.meniscus", WARE, "u meniscus", rows)
        sources = tuple(f"{'' if limits.meniscus else 'none stated, '}meniscus of {limits.key}" for limits in ware)
        setting = SmallDeviation("meniscus", "setting of the meniscus", u_meniscus, sources)
        total = total + _small(table, symbol, unit, setting, mark, group)
    for small in reading_deviations:
        total = total + _small(table, symbol, unit, small, mark, group)
    if temperature is not None:
        total = total - temperature_part(table, symbol, base, temperature, group)
    return table.formula(symbol, symbol, unit, total, "QUAM A1")


def _member(limits: Limits, table: str, symbol: str, row: int) -> Hashable:
    return ("calibration", limits.key) if limits.shared else (table, symbol, "calibration", row)


def _calibration_trait(name: str, limits: Limits, group: str) -> Trait:
    certified = limits.certified is not None
    if certified or limits.tolerance_distribution == "normal 95 %":
        distribution = "normal"
    else:
        distribution = limits.tolerance_distribution
    return Trait(name, "calibration of the ware", group, "B", distribution, f"{limits.key}: {limits.source}")


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
            _source_of_repeatability(limits, word) if counted else mark,
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


def _source_of_repeatability(limits: Limits, word: str) -> str:
    standard = f", {limits.repeatability_source}" if limits.repeatability_source else ""
    return f"{word} repeatability of {limits.key}{standard}"


def _small(table: TableBuilder, symbol: str, unit: str, small: SmallDeviation, mark: str, group: str) -> Symbol:
    """Rectangular (GUM 4.3.7); zero where the effect is covered."""
    name = f"{symbol}.{small.name}"
    counted = mark == COUNTED
    traits = [
        Trait(name, small.quantity, group, "B", "rectangular", source if counted else mark) for source in small.sources
    ]
    return table.deviation(name, name, unit, small.u if counted else Number(0), traits)
