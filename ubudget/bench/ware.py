"""Volumetric ware as the run uses it, one row a piece or set: volume, calibration, repeatability, meniscus."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.certified_points import VOLUMES, build_points
from ubudget.bench.context import Context
from ubudget.bench.limits import ItemTable, Limits
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import Number

WARE = "ware"


def build_ware(context: Context, used: Sequence[Limits], unit: str) -> None:
    """Table `ware`: volume, u of its calibration, repeatability of filling or delivery."""
    build_points(context, VOLUMES, used, unit)
    items = ItemTable(context, used, WARE, "Volumetric ware", unit)
    nominal = items.own(
        "nominal", "nominal volume", [limits.nominal for limits in used], [limits.nominal_key for limits in used]
    )
    items.tolerance("tolerance ±")
    certified = items.certified("certified volume")
    items.table.formula(
        "volume",
        "volume used",
        unit,
        nominal,
        "certified volume where there is one",
        [certified],
        np.array([1 if limits.certified else 0 for limits in used]),
    )
    items.u_calibration(VOLUMES)
    items.repeatability()
    if any(limits.meniscus for limits in used):
        amounts = [limits.meniscus for limits in used]
        half_width = items.own("meniscus", "setting the meniscus, half-width", amounts, ["meniscus"] * len(used))
        items.table.formula(
            "u meniscus",
            "u of the meniscus",
            unit,
            Number(0),
            "half-width/√3, GUM 4.3.7",
            [half_width / divisor("rectangular")],
            np.array([1 if amount else 0 for amount in amounts]),
        )
    items.build()
