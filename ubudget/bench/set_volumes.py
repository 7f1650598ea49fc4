"""Volumes to which pipettes were set, beside those that deliver their nominal or certified volume."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.bench.ware import WARE
from ubudget.quantity.expression import Symbol
from ubudget.quantity.graph import Place
from ubudget.records.amount import Amount
from ubudget.records.records import Role


def set_volumes(
    context: Context,
    table: TableBuilder,
    symbol: str,
    unit: str,
    amounts: Sequence[Amount | None],
    fields: Sequence[tuple[Role, tuple[str | int, ...]]],
    ware: Sequence[int],
) -> Symbol | None:
    """The volume of each row, as set or else that of the ware; None where nothing was set.

    `fields` say where each set volume stands in the records, `ware` gives the row of each pipette."""
    if all(amount is None for amount in amounts):
        return None
    values = [
        context.in_unit(amount, unit, document, " ".join(str(step) for step in path))
        for amount, (document, path) in zip(amounts, fields, strict=True)
    ]
    places = [
        Place(document, path, unit) if amount is not None else None
        for amount, (document, path) in zip(amounts, fields, strict=True)
    ]
    set_to = table.given(f"{symbol} set to", "volume set", unit, nan_where_none(values), places)
    fixed = [row if amount is None else -1 for row, amount in zip(ware, amounts, strict=True)]
    whole = table.pick(f"volume of {symbol}", WARE, "volume", fixed)
    way = np.array([0 if amount is None else 1 for amount in amounts], dtype=np.int64)
    return table.formula(f"{symbol} taken", "volume taken", unit, whole, "", [set_to], way)
