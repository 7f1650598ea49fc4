"""One control chart over its history: points, limits, and the patterns that they show."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ubudget.errors import UbudgetError
from ubudget.evaluation.control_limits import (
    FEWEST_FOR_LIMITS,
    Limits,
    given_limits,
    individual_limits,
    limits_of_ranges,
    mean_limits,
    range_constants,
    range_limits,
    target_limits,
)
from ubudget.evaluation.control_rules import Signal, signals
from ubudget.records.amount import Amount
from ubudget.records.control_charts import ControlChart, Entry
from ubudget.records.unit_comparison import in_unit


@dataclass(frozen=True)
class Charted:
    """A chart with what it shows; `signals` point at `entries` by position."""

    chart: ControlChart
    entries: tuple[Entry, ...]
    points: tuple[float, ...]
    limits: Limits
    zones: tuple[float, ...]
    signals: tuple[Signal, ...]
    base: tuple[int, ...]
    """Positions of the entries that the limits come from; none where they are given."""

    @property
    def told(self) -> tuple[str, ...]:
        """What a person must look at besides the signals."""
        if 0 < len(self.base) < FEWEST_FOR_LIMITS:
            return (f"limits from {len(self.base)} values are preliminary: {FEWEST_FOR_LIMITS} or more are usual",)
        return ()


def point_of(chart: ControlChart, entry: Entry) -> float:
    """What is drawn of a row of the history."""
    if chart.chart == "mean":
        return math.fsum(entry.values) / len(entry.values)
    return max(entry.values) - min(entry.values) if chart.chart == "range" else entry.values[0]


def charted(chart: ControlChart, entries: Sequence[Entry]) -> Charted:
    """The chart over the rows of its history, in their order. Raises `UbudgetError` where they do not suffice."""
    if not entries:
        raise UbudgetError(f"chart {chart.id}: found no row of the history; accepted: two or more")
    points = tuple(point_of(chart, entry) for entry in entries)
    base = tuple(
        at
        for at, entry in enumerate(entries)
        if chart.limits == "history" and (chart.until is None or entry.date <= chart.until)
    )
    try:
        limits = _limits(chart, [entries[at] for at in base], entries)
    except UbudgetError as fault:
        raise UbudgetError(f"chart {chart.id}: {fault}") from None
    zones = tuple(limits.zone(point) for point in points)
    return Charted(chart, tuple(entries), points, limits, zones, signals(zones, chart.rules), base)


def _limits(chart: ControlChart, base: Sequence[Entry], entries: Sequence[Entry]) -> Limits:
    centre = None if chart.centre is None else _figure(chart, chart.centre)
    if chart.limits == "target":
        assert centre is not None and chart.required_U is not None
        return target_limits(centre, _figure(chart, chart.required_U))
    if chart.limits == "fixed":
        assert chart.s is not None
        s = _figure(chart, chart.s)
        if chart.chart == "range":
            n = len(entries[0].values)
            return limits_of_ranges(range_constants(n).d2 * s, n, "fixed s of one result")
        assert centre is not None
        return given_limits(centre, s, "fixed")
    groups = [entry.values for entry in base]
    if chart.chart == "range":
        return range_limits(groups)
    if chart.chart == "mean":
        return mean_limits(groups)
    return individual_limits([values[0] for values in groups], moving_range=chart.moving_range, centre=centre)


def _figure(chart: ControlChart, amount: Amount) -> float:
    value = in_unit(amount.value, amount.unit, chart.unit)
    assert value is not None
    return value
