"""Certificates with values at several points: volumes of a burette or pipette, loads of a balance.

Between two points error and U are linear: error(x) = error at the first + sum of slope · (part of the step to the next
point that lies below x), over all points of an item, so that an edit of x may pass from one pair to the next. Where
the error vanishes at zero, a row at zero comes first, with the U of the first point: U does not vanish, since the
readings of the calibration do not. Beyond the ends both stay as they are there; a finding says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.bench.limits import Limits, factor_of
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Place
from ubudget.records.register import CertifiedValue

VOLUMES, LOADS = "certified volumes", "errors of indication"


@dataclass(frozen=True)
class _Point:
    """One row: a value of the certificate, or the row at zero."""

    limits: Limits
    number: int
    """Place in the certificate; of the row at zero, that of the value whose U it takes."""
    prop: CertifiedValue
    zero: bool = False


def build_points(context: Context, name: str, used: Sequence[Limits], unit: str) -> None:
    """Table `certified volumes` or `errors of indication`, in the order of the items; none where no item has points.

    Columns `error` and `u` of each point, and their change to the next one."""
    flat = [point for limits in used for point in _points_of(limits)]
    if not flat:
        return
    of_ware = name == VOLUMES
    title = "Ware certified at several volumes" if of_ware else "Errors of indication by load"
    table = TableBuilder(name, title, len(flat), context.shared)
    table.label("item", "item", [point.limits.key for point in flat])

    def given(key: str, heading: str) -> Symbol:
        none_at_zero = key != "at"
        amounts = [None if point.zero else getattr(point.prop, key) for point in flat]
        values = [
            context.in_unit(amount, unit, "register", f"{point.limits.key}, property {point.number + 1}, {key}")
            for point, amount in zip(flat, amounts, strict=True)
        ]
        places = [
            None if point.zero else Place("register", (*point.limits.property_path, point.number, key), unit)
            for point in flat
        ]
        stands = [value if none_at_zero or not point.zero else 0.0 for point, value in zip(flat, values, strict=True)]
        return table.given(key, heading, unit, nan_where_none(stands), places)

    at = given("at", "volume set or read" if of_ware else "load")
    value = given("value", "certified volume" if of_ware else "certified error of indication")
    U = given("U", "certificate U")
    k = table.given(
        "k",
        "k of the certificate",
        "",
        nan_where_none([None if point.zero else factor_of(point.prop) for point in flat]),
        [
            Place("register", (*point.limits.property_path, point.number, "k")) if point.prop.k else None
            for point in flat
        ],
    )
    here = np.array([0 if point.zero else 1 for point in flat])
    words = "certified − set or read" if of_ware else "error of indication"
    error = table.formula("error", words, unit, Number(0), "", [value - at if of_ware else value], here)
    keys = [point.limits.key for point in flat]
    last = np.array([key != after for key, after in zip(keys, [*keys[1:], ""], strict=True)])
    next_row = np.where(last, -1, np.arange(len(flat)) + 1)

    def following(column: str) -> Symbol:
        return table.pick(f"{column} of the next", name, column, next_row)

    at_zero = following("U") / following("k")
    u = table.formula("u", "u of it", unit, at_zero, "U/k, GUM 4.3.3; at zero that of the next", [U / k], here)
    way = np.where(last, 0, 1)
    step = table.formula("step", "step to the next", unit, Number(0), "", [following("at") - at], way)
    for column, own in (("error", error), ("u", u)):
        slope: Expression = (following(column) - own) / step
        heading = f"change of {column} for each {unit}"
        table.formula(f"slope of {column}", heading, "1", Number(0), "linear between two points", [slope], way)
    if not of_ware:
        table.formula("size", "size of the error", unit, apply("abs", error))
    context.tables[name] = table.build()


def _points_of(limits: Limits) -> list[_Point]:
    points = [_Point(limits, number, prop) for number, prop in limits.points]
    first = limits.points[0][1].at if limits.points else None
    if limits.from_zero and first is not None and first.value > 0:
        points.insert(0, _Point(limits, points[0].number, points[0].prop, zero=True))
    return points


@dataclass(frozen=True)
class AtPoints:
    """Rows of `table` whose items have points, and their spans in the table of points."""

    table: TableBuilder
    points: str
    start: np.ndarray
    stop: np.ndarray

    @property
    def way(self) -> np.ndarray:
        """1 where a row's item has points."""
        return np.where(self.stop > self.start, 1, 0)

    def value(self, column: str, name: str, x: Expression) -> Expression:
        """`error` or `u` at x, in the unit of the points, as x is; for rows with points. `name` tells this use's
        references from others."""
        table = self.table
        first = np.where(self.way == 1, self.start, -1)
        lowest = table.pick(f"{column} at the first point, {name}", self.points, column, first)
        at, step, slope = (
            table.span(f"{each} of points, {name}", self.points, each, self.start, self.stop)
            for each in ("at", "step", f"slope of {column}")
        )
        return lowest + apply("rise", x, at, step, slope)

    def largest_error(self, name: str) -> Expression:
        """The largest size of the error over all points."""
        return apply(
            "largest", self.table.span(f"errors of points, {name}", self.points, "size", self.start, self.stop)
        )


def at_points(context: Context, table: TableBuilder, points: str, items: Sequence[Limits]) -> AtPoints | None:
    """The points of the item of each row; None where no item has any."""
    if not any(limits.points for limits in items):
        return None
    keys = context.tables[points].texts("item")
    start = np.array([keys.index(limits.key) if limits.points else 0 for limits in items], dtype=np.int64)
    count = [keys.count(limits.key) if limits.points else 0 for limits in items]
    return AtPoints(table, points, start, start + np.array(count, dtype=np.int64))
