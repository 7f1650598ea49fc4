"""Part volumes of graduated ware and piston pipettes: what the method states of them as rows of the inputs.

V = V_end - V_start + deviations of both readings + deviation of the last drop (QUAM A2 for the idea of the sum).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ubudget.bench.building import TableBuilder
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.stated import Entry
from ubudget.bench.volume import SmallDeviation
from ubudget.quantity.expression import Symbol
from ubudget.records.amount import Amount
from ubudget.records.stated import Stated
from ubudget.records.volume import Volume

VALUE, READING, DROP = "value", "reading_half_width", "drop_half_width"
_PARTS = {
    READING: (
        ("reading at start", "reading of the ware at the start"),
        ("reading at end", "reading of the ware at the end"),
    ),
    DROP: (("last drop", "last drop of the delivery"),),
}
_QUANTITIES = {READING: "reading of the ware, at start and at end each", DROP: "last drop of the delivery"}


def enter_part_volume(symbol: str, operation: Volume, unit: str, enter: Callable[[Entry], int]) -> dict[str, int]:
    """Rows of the stated inputs by key of the method: a `value` read from register ware, and limits of reading."""
    path = ("symbols", symbol)
    rows = {}
    if operation.value is not None and (operation.ware or operation.ware_column):
        stated = Stated(exact=True, source=operation.source)
        value = Entry(
            f"{symbol}.reading", "all", "volume read", "volume", unit, stated, operation.value, path, VALUE, exact=True
        )
        rows[VALUE] = enter(value)
    for key, half_width in ((READING, operation.reading_half_width), (DROP, operation.drop_half_width)):
        if half_width is not None:
            stated = Stated(half_width=half_width, distribution="rectangular", source=operation.source)
            name, zero = f"{symbol}.{key.removesuffix('_half_width')}", Amount(0.0, unit, "0")
            rows[key] = enter(
                Entry(name, "all", _QUANTITIES[key], "volume", unit, stated, zero, path, "", figure_key=key)
            )
    return rows


def value_read(table: TableBuilder, symbol: str, rows: Mapping[str, int]) -> Symbol:
    """The `value` of the method, for every row."""
    return table.pick(f"{symbol}.reading", INPUTS, "estimate", [rows[VALUE]] * table.size)


def reading_deviations(table: TableBuilder, symbol: str, rows: Mapping[str, int], source: str) -> list[SmallDeviation]:
    """Deviations of reading, new at each delivery."""
    found = []
    for key, parts in _PARTS.items():
        if key in rows:
            u = table.pick(f"u of {symbol}.{key}", INPUTS, "u", [rows[key]] * table.size)
            words = f"{_QUANTITIES[key]}: {source}" if source else _QUANTITIES[key]
            found += [SmallDeviation(name, quantity, u, (words,) * table.size) for name, quantity in parts]
    return found
