"""Balances as the run uses them, one row each: linearity or certificate, resolution, repeatability."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.context import Context
from ubudget.bench.limits import ItemTable, Limits
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import Number

BALANCES = "balances"


def build_balances(context: Context, used: Sequence[Limits], unit: str) -> None:
    """Table `balances`: u of every component in the unit of mass."""
    items = ItemTable(context, used, BALANCES, "Balances", unit)
    items.tolerance("linearity, half-width")
    items.certified("certified deviation")
    items.u_calibration()
    amounts = [limits.resolution for limits in used]
    resolution = items.own("resolution", "resolution", amounts, ["resolution"] * len(used))
    items.table.formula(
        "u resolution",
        "u of the resolution",
        unit,
        Number(0),
        "d/(2·√3), GUM F.2.2.1",
        [resolution / 2 / divisor("rectangular")],
        np.array([1 if amount else 0 for amount in amounts]),
    )
    items.repeatability()
    items.build()
