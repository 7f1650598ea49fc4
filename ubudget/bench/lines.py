"""Straight lines fitted to data of the method itself: intercept at a chosen origin, and slope (GUM H.3)."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context, method_place
from ubudget.bench.fitting import Fit, add_common
from ubudget.bench.kinds import KINDS
from ubudget.quantity.expression import Symbol, apply
from ubudget.records.method import LineData

LINES, LINE_POINTS = "lines", "line points"


def build_lines(context: Context, data: Mapping[str, LineData]) -> dict[str, int]:
    """Tables `line points` and `lines` (columns `intercept at origin`, `slope`); gives the row of each data set."""
    names = list(data)
    unit_x, unit_y = (_common([getattr(item, axis) for item in data.values()]) for axis in ("unit_x", "unit_y"))
    counts = np.array([len(data[name].x) for name in names], dtype=np.int64)
    owner = np.repeat(np.arange(len(names)), counts)
    stop = np.cumsum(counts)
    flat = [(name, number) for name in names for number in range(len(data[name].x))]
    points = TableBuilder(LINE_POINTS, "Data of fitted lines", len(flat), context.shared)
    points.label("data", "data", [name for name, _ in flat])
    x = points.given(
        "x",
        "x",
        unit_x,
        [data[name].x[number] for name, number in flat],
        [method_place("data", name, "x", number) for name, number in flat],
    )
    y = points.given(
        "y",
        "y",
        unit_y,
        [data[name].y[number] for name, number in flat],
        [method_place("data", name, "y", number) for name, number in flat],
    )
    include = points.given("include", "include", "", 1.0)
    lines = TableBuilder(LINES, "Fitted lines", len(names), context.shared)
    lines.label("data", "data", names)
    fit = Fit(context, points, lines, list(owner), stop - counts, stop, unit_x, unit_y, names, "line", "line")
    add_common(fit, x, y, include, None)
    KINDS["line"].build(fit)
    context.tables[LINE_POINTS] = points.build()
    origin = lines.given(
        "origin",
        "origin",
        unit_x,
        [data[name].origin for name in names],
        [method_place("data", name, "origin") if data[name].origin else None for name in names],
    )
    value = Symbol("y_mean") + Symbol("slope") * (origin - Symbol("mean of x"))
    lines.formula("intercept at origin", "intercept at the origin", unit_y, value, "GUM H.3.2")
    distance, u_slope = origin - Symbol("mean of x"), Symbol("u(slope)")
    u_origin = apply("sqrt", Symbol("u(y_mean)") ** 2 + distance**2 * u_slope**2)
    lines.formula("u(intercept at origin)", "u(intercept at the origin)", unit_y, u_origin, "GUM H.3.3")
    r = apply("ratio_or_zero", distance * u_slope, Symbol("u(intercept at origin)"))
    lines.formula("r", "r(intercept, slope)", "", r, "GUM H.3.3")
    context.tables[LINES] = lines.build()
    return {name: row for row, name in enumerate(names)}


def _common(units: list[str]) -> str:
    """The unit of a column; none where the data sets differ."""
    return units[0] if len(set(units)) == 1 else ""
