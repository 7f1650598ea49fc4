"""Volume of ware filled once: calibration, filling or delivery, meniscus, and temperature of the liquid (QUAM A1).

V = V_ware + calibration + filling + meniscus - V_ware * expansion * temperature deviation

A part volume is read: its reading stands in place of V_ware, with the deviations of reading at start and end (QUAM A2).
Ware certified at several volumes adds its error at the volume taken.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder
from ubudget.bench.certified_points import VOLUMES, AtPoints, at_points
from ubudget.bench.context import COUNTED, Context
from ubudget.bench.limits import Limits, shape_of
from ubudget.bench.temperature import TemperatureRows as TemperatureRows
from ubudget.bench.temperature import temperature_part
from ubudget.bench.ware import WARE
from ubudget.quantity.expression import ONE, Expression, Number, Symbol
from ubudget.quantity.graph import DETAIL, MAIN, Trait

FILLING, DELIVERY = "filling repeatability", "delivery repeatability"


@dataclass(frozen=True)
class SmallDeviation:
    """A deviation within a half-width, new at each use: its name in the budget, and the column of its u."""

    name: str
    quantity: str
    u: Symbol
    sources: tuple[str, ...]


def add_volume(
    context: Context,
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
    uses: Sequence[Hashable] | None = None,
    covered: Sequence[bool] | None = None,
) -> Symbol:
    """Volume column `symbol`. `ware` and `rows` give the piece of ware of each row, `reading` a part volume in place
    of the ware's volume, `reading_deviations` what reading it adds. Rows with equal `uses` are one filling; each row is
    one of its own without it. A mark other than counted holds for the rows that are `covered`, for all without it."""
    held = [True] * len(ware) if covered is None else list(covered)
    base = reading or table.pick(f"volume of {symbol}", WARE, "volume", rows)
    points = at_points(context, table, VOLUMES, ware)
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
    if points is not None:
        error = _at_point(points, table, symbol, "error", unit, base)
        total = base + error + deviation * _at_point(points, table, symbol, "u", "1", base, u_calibration)
    names = _uses(table, symbol, uses)
    if any(limits.repeatability for limits in ware):
        total = total + _repeatability(table, symbol, unit, ware, rows, mark, word, group, names, held)
    if any(limits.meniscus for limits in ware):
        u_meniscus = table.pick(f"u of {symbol}.meniscus", WARE, "u meniscus", rows)
        sources = tuple(f"{'' if limits.meniscus else 'none stated, '}meniscus of {limits.key}" for limits in ware)
        setting = SmallDeviation("meniscus", "setting of the meniscus", u_meniscus, sources)
        total = total + _small(table, symbol, unit, setting, mark, group, names, held)
    for small in reading_deviations:
        total = total + _small(table, symbol, unit, small, mark, group, names, held)
    if temperature is not None:
        total = total - temperature_part(table, symbol, base, temperature, group)
    return table.formula(symbol, symbol, unit, total, "QUAM A1")


def _at_point(
    points: AtPoints, table: TableBuilder, symbol: str, column: str, unit: str, base: Expression, over: Expression = ONE
) -> Symbol:
    """`error` at the volume taken, or its u over that of the last point, which is the u of the one deviation of the
    item: so that its uses at several volumes stay one deviation. 0 and 1 for ware without points."""
    found = points.value(column, symbol, base)
    if column == "error":
        name, words, neutral, rank = f"{symbol}.error", "error at this volume, by certificate", Number(0), MAIN
    else:
        name, words = f"{symbol}.relative u", "u at this volume over u at the last one"
        neutral, rank = Number(1), DETAIL
    clause = "linear between certified volumes"
    return table.formula(name, words, unit, neutral, clause, [found / over], points.way, rank)


def _uses(table: TableBuilder, symbol: str, uses: Sequence[Hashable] | None) -> list[tuple[Hashable, ...]]:
    """Identity of the filling of each row."""
    if uses is None:
        return [(table.name, symbol, row) for row in range(table.size)]
    return [("filling", use) for use in uses]


def _calibration_trait(name: str, limits: Limits, group: str) -> Trait:
    words = "calibration of the ware"
    if limits.points:
        distribution = shape_of(limits.points[-1][1])
        words = "calibration of the ware, at its last volume"
    elif limits.certified is not None:
        distribution = shape_of(limits.certified)
    elif limits.tolerance_distribution == "normal 95 %":
        distribution = "normal"
    else:
        distribution = limits.tolerance_distribution
    source = f"{limits.key}: {limits.source}"
    return Trait(name, words, group, "B", distribution, source, items=limits.items)


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
            _source_of_repeatability(limits, word) if here else mark,
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


def _source_of_repeatability(limits: Limits, word: str) -> str:
    standard = f", {limits.repeatability_source}" if limits.repeatability_source else ""
    return f"{word} repeatability of {limits.key}{standard}"


def _small(
    table: TableBuilder,
    symbol: str,
    unit: str,
    small: SmallDeviation,
    mark: str,
    group: str,
    uses: Sequence[tuple[Hashable, ...]],
    held: Sequence[bool],
) -> Symbol:
    """Rectangular (GUM 4.3.7); zero where the effect is covered."""
    name = f"{symbol}.{small.name}"
    counts = [mark == COUNTED or not covered for covered in held]
    traits = [
        Trait(name, small.quantity, group, "B", "rectangular", source if here else mark)
        for source, here in zip(small.sources, counts, strict=True)
    ]
    u: Expression = small.u if any(counts) else Number(0)
    return table.deviation(
        name,
        name,
        unit,
        u,
        traits,
        members=[(*use, small.name) for use in uses],
        counts=counts if any(counts) else None,
    )
