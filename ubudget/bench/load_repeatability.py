"""Repeatability of a balance by load: a table of points, linear between them and constant beyond.

s(L) = s at the lowest load + sum of slope · (part of the step to the next point that lies below L), where that part is
(|L - load| - |L - load - step| + step)/2: a formula that a cell can sum over all points of a balance.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.bench.limits import Limits
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Place
from ubudget.records.balance import RepeatabilityAt

POINTS = "repeatability by load"


def build_points(
    context: Context, balances: Sequence[Limits], points: Sequence[Sequence[RepeatabilityAt]], unit: str
) -> None:
    """Table of the points of all balances, in the order of the balances; none where no balance has any."""
    flat = [
        (limits, number, point)
        for limits, own in zip(balances, points, strict=True)
        for number, point in enumerate(own)
    ]
    if not flat:
        return
    table = TableBuilder(POINTS, "Repeatability by load", len(flat), context.shared)
    table.label("item", "item", [limits.key for limits, _, _ in flat])

    def given(key: str, heading: str) -> Symbol:
        values = [
            context.in_unit(getattr(point, key), unit, limits.document, f"{limits.key}, repeatability_at {number + 1}")
            for limits, number, point in flat
        ]
        places = [
            Place(limits.document, (*limits.path, "repeatability_at", number, key), unit) for limits, number, _ in flat
        ]
        return table.given(key, heading, unit, nan_where_none(values), places)

    load = given("load", "load")
    s = given("s", "repeatability s")
    table.given(
        "dof",
        "degrees of freedom of s",
        "",
        [point.dof or INFINITE_DOF for _, _, point in flat],
        [
            Place(limits.document, (*limits.path, "repeatability_at", number, "dof")) if point.dof else None
            for limits, number, point in flat
        ],
    )
    ends = np.cumsum([len(own) for own in points if own])
    last = np.isin(np.arange(len(flat)) + 1, ends)
    after = np.where(last, -1, np.arange(len(flat)) + 1)
    next_load = table.pick("load of the next", POINTS, "load", after)
    next_s = table.pick("s of the next", POINTS, "s", after)
    way = np.where(last, 0, 1)
    step = table.formula("step", "step to the next load", unit, Number(0), "", [next_load - load], way)
    slope: Expression = (next_s - s) / step
    table.formula("slope", "change of s per load", "1", Number(0), "linear between two loads", [slope], way)
    context.tables[POINTS] = table.build()


def s_at(table: TableBuilder, name: str, context: Context, balance: str, load: Expression) -> Expression:
    """s of a balance at the load of each row of `table`, in the unit of the points, as `load` is.

    `name` tells this reading's references from those of others."""
    own = [row for row, item in enumerate(context.tables[POINTS].texts("item")) if item == balance]
    start = np.full(table.size, own[0])
    stop = np.full(table.size, own[-1] + 1)
    lowest = table.pick(f"s at the lowest load of {name}", POINTS, "s", start)
    at, step, slope = (
        table.span(f"{column} of the points of {name}", POINTS, column, start, stop)
        for column in ("load", "step", "slope")
    )
    below = (apply("abs", load - at) - apply("abs", load - at - step) + step) / 2
    return lowest + apply("total_of", slope * below)
