"""Weighing by difference: two readings of one balance, each with its own deviations (QUAM A2; EURACHEM practice).

Linearity (or the certificate's deviation), resolution and repeatability are new at tare and at gross: only an error
proportional to load would be shared, and cancel in part.
"""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.bench.balances import BALANCES
from ubudget.bench.building import TableBuilder
from ubudget.bench.context import COUNTED
from ubudget.bench.limits import Limits, shape_of
from ubudget.quantity.expression import Expression, Number, Symbol
from ubudget.quantity.graph import Trait

EFFECT = "weighing repeatability"


def add_weighing(
    table: TableBuilder,
    symbol: str,
    unit: str,
    tare: Symbol,
    gross: Symbol,
    balance: Limits,
    rows: Sequence[int],
    mark: str,
    factor: float,
) -> Symbol:
    """Net mass `symbol` = gross - tare with the deviations of both readings; `rows` picks the balance's row, `factor`
    converts from the unit in which its limits are shown."""
    deviations: list[Expression] = []
    u_calibration = table.pick(f"u calibration of {symbol}", BALANCES, "u calibration", rows)
    u_resolution = table.pick(f"u resolution of {symbol}", BALANCES, "u resolution", rows)
    u_repeatability = table.pick(f"u repeatability of {symbol}", BALANCES, "u repeatability", rows)
    table.pick(f"dof of {symbol}", BALANCES, "dof", rows)
    for reading in ("gross", "tare"):
        sign = 1 if reading == "gross" else -1

        def trait(part: str, distribution: str, source: str, evaluation: str = "B", reading: str = reading) -> Trait:
            return Trait(
                f"{symbol}.{reading} {part}",
                f"{part} of the balance, {reading} reading",
                "weighing",
                evaluation,
                distribution,
                source,
                items=balance.items,
            )

        if balance.certified or balance.tolerance:
            part = "indication" if balance.certified else "linearity"
            distribution = shape_of(balance.certified) if balance.certified else "rectangular"
            name = f"{symbol}.{reading} {part}"
            deviation = table.deviation(
                name,
                name,
                unit,
                u_calibration * factor,
                [trait(part, distribution, balance.source)] * table.size,
            )
            deviations.append(sign * deviation)
        if balance.resolution:
            name = f"{symbol}.{reading} resolution"
            source = f"resolution of {balance.key}"
            deviation = table.deviation(
                name,
                name,
                unit,
                u_resolution * factor,
                [trait("resolution", "rectangular", source)] * table.size,
            )
            deviations.append(sign * deviation)
        if balance.repeatability:
            name = f"{symbol}.{reading} repeatability"
            counted = mark == COUNTED
            source = f"repeatability of {balance.key}" if counted else mark
            deviation = table.deviation(
                name,
                name,
                unit,
                u_repeatability * factor if counted else Number(0),
                [trait("repeatability", "normal", source, "A")] * table.size,
                dof=_dof(table, symbol) if counted and balance.repeatability_dof else None,
                estimates=[("balance repeatability", balance.key)] * table.size if counted else None,
            )
            deviations.append(sign * deviation)
    net: Expression = gross - tare
    for term in deviations:
        net = net + term
    return table.formula(symbol, symbol, unit, net, "weighing by difference, QUAM A2")


def _dof(table: TableBuilder, symbol: str) -> str:
    name = f"ν of {symbol} repeatability"
    if not table.has(name):
        table.formula(name, name, "", Symbol(f"dof of {symbol}"))
    return name
