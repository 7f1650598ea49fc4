"""The record of a laboratory's control charts: what is charted, with which limits and rules, and from which checks."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass as plain_dataclass
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, PositiveAmount
from ubudget.records.finding import Finding
from ubudget.records.strict import STRICT
from ubudget.records.unit_comparison import in_unit

Tuple = Field(strict=False)
KIND = "control charts"


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ChartSource:
    """What of a run is charted: a result, two results of one material, or the recovery of a spike."""

    kind: Literal["result", "duplicate", "spike"]
    samples: Annotated[tuple[str, ...], Field(strict=False, min_length=1, max_length=2)]
    """The sample; both of a duplicate; the spiked sample and then the same as it is."""
    analyte: str
    line: str = ""

    @model_validator(mode="after")
    def _as_many_samples(self) -> ChartSource:
        wanted = 1 if self.kind == "result" else 2
        if len(self.samples) != wanted:
            raise ValueError(f"{len(self.samples)} samples for a {self.kind}; accepted: {wanted}")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ControlChart:
    """One chart: `individual` values, the `mean` or the `range` of the results of one day.

    Limits come from the history (its values up to `until`, all of them without), are fixed (`centre` and `s`), or
    follow from a required expanded uncertainty (`centre` and `required_U`)."""

    id: Annotated[str, Field(min_length=1)]
    title: str = ""
    chart: Literal["individual", "mean", "range"] = "individual"
    unit: str
    limits: Literal["history", "fixed", "target"] = "history"
    until: dt.date | None = None
    moving_range: bool = False
    """Individual values: s from the mean moving range."""
    centre: AnyAmount | None = None
    s: PositiveAmount | None = None
    required_U: PositiveAmount | None = None
    rules: Annotated[tuple[int, ...], Tuple] = (1, 5, 9, 10, 11)
    source: ChartSource | None = None

    @model_validator(mode="after")
    def _fits_its_limits(self) -> ControlChart:
        given = {name for name in ("s", "required_U") if getattr(self, name) is not None}
        wanted = {"history": set[str](), "fixed": {"s"}, "target": {"required_U"}}[self.limits]
        if given != wanted or (self.limits != "history" and self.centre is None and self.chart != "range"):
            needs = " and ".join(["centre", *wanted]) if wanted else "neither s nor required_U"
            raise ValueError(f"limits {self.limits} with {', '.join(sorted(given)) or 'no figure'}; accepted: {needs}")
        if self.limits == "target" and self.chart != "individual":
            raise ValueError(f"limits target of a {self.chart} chart; accepted: with individual values")
        if self.until is not None and self.limits != "history":
            raise ValueError("until beside limits that are given; accepted: until with limits from the history")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ControlCharts:
    """The charts of a laboratory over one history, a CSV file that the laboratory owns."""

    kind: Literal["control charts"]
    title: str = ""
    history: Annotated[str, Field(min_length=1)]
    charts: Annotated[tuple[ControlChart, ...], Field(strict=False, min_length=1, alias="chart")]


@plain_dataclass(frozen=True)
class Entry:
    """One row of the history: the results of a chart on one day."""

    row: int
    chart: str
    date: dt.date
    values: tuple[float, ...]
    run: str = ""
    who: str = ""
    remark: str = ""


def chart_findings(charts: ControlCharts, file: str) -> Iterator[Finding]:
    """What the record alone shows: a chart twice, figures in other units."""
    seen: set[str] = set()
    for number, chart in enumerate(charts.charts, start=1):
        place = f"chart {number} ({chart.id})"
        if chart.id in seen:
            yield Finding("stop", file, place, "this id a second time", "each id once", "rename one of them")
        seen.add(chart.id)
        for name in ("centre", "s", "required_U"):
            amount = getattr(chart, name)
            if amount is not None and in_unit(amount.value, amount.unit, chart.unit) is None:
                accepted = f"a unit that converts to {chart.unit}"
                yield Finding("stop", file, f"{place}, {name}", amount.text, accepted, "correct the unit")


def history_findings(charts: ControlCharts, entries: tuple[Entry, ...], file: str) -> Iterator[Finding]:
    """What the history shows: charts that the record has not, a day or run twice, days that do not rise."""
    known = {chart.id: chart for chart in charts.charts}
    last: dict[str, Entry] = {}
    for entry in entries:
        place = f"row {entry.row + 1} ({entry.chart}, {entry.date})"
        chart = known.get(entry.chart)
        if chart is None:
            yield Finding("stop", file, place, entry.chart, ", ".join(known), "correct the chart, or describe it")
            continue
        wanted = 1 if chart.chart == "individual" else 2
        if (len(entry.values) > 1) != (wanted > 1):
            accepted = "one result" if wanted == 1 else "two results or more"
            found = f"{len(entry.values)} result(s)"
            yield Finding("stop", file, place, found, f"{accepted} on a chart of kind {chart.chart}", "correct the row")
        before = last.get(entry.chart)
        if before is not None and entry.date == before.date and entry.run == before.run:
            found = f"the day and run of row {before.row + 1} again"
            yield Finding("stop", file, place, found, "each day or run once", "delete one, or name the run of each")
        elif before is not None and entry.date < before.date:
            found = f"a day before that of row {before.row + 1} ({before.date})"
            yield Finding("stop", file, place, found, "days that rise down the table", "put the rows in order")
        last[entry.chart] = entry
