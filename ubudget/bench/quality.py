"""Checks carried in the run, judged in cells: check solutions, blanks, duplicates, spikes and reference materials.

Table `quality checks` has one row for each check and line, `quality of lines` counts those outside their limits, which
flags every result of the line. No uncertainty rests on them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.blank import BLANK_VALUES
from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context, method_place
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.result_keys import ResultKey
from ubudget.bench.result_table import RESULTS, STATUS
from ubudget.bench.stocks import stock_of
from ubudget.bench.structure import Curve, Line, Structure
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Place
from ubudget.records.amount import Amount
from ubudget.records.device_concentration import check_of
from ubudget.records.method import Blank
from ubudget.records.quality import RECOVERIES, QualityLimit, limit_for
from ubudget.records.read_order import READ_AS
from ubudget.records.run import Run
from ubudget.records.unit_comparison import in_unit

LIMITS, CHECKS, OF_LINES = "quality limits", "quality checks", "quality of lines"
OUTSIDE, COUNT = "outside", "outside of line"
"""Column of the checks: 1 = outside its limits; column of the lines: how many are."""


@dataclass(frozen=True)
class Check:
    """One check on one line: rows of what it compares (-1 = not of its kind), and the known figure."""

    kind: str
    words: str
    curve: Curve
    limit: int
    signal: int = -1
    blank: int = -1
    first: int = -1
    second: int = -1
    known: float | None = None
    place: Place | None = None

    @property
    def line(self) -> Line:
        return (self.curve.analyte, self.curve.line)


def build_quality(context: Context, structure: Structure | None, keys: Sequence[ResultKey], value: str) -> None:
    """Tables `quality limits`, `quality checks` and `quality of lines`, where the method sets limits."""
    run, limits = context.records.run, context.records.method.quality_limits
    if structure is None or run is None or not limits:
        return
    found = [*_check_solutions(context, run, structure), *_blanks(context, structure)]
    found += [*_between_results(context, run, structure, keys), *_materials(context, structure, keys)]
    if not found:
        return
    order = {line: number for number, line in enumerate(structure.lines)}
    checks = sorted(found, key=lambda check: order[check.line])
    _build_limits(context)
    _build_checks(context, checks, value)
    _build_lines(context, checks)


def _check_solutions(context: Context, run: Run, structure: Structure) -> Iterator[Check]:
    unit = next((s.unit for s in context.records.method.symbols.values() if isinstance(s, READ_AS)), "")
    for row, item in enumerate(structure.measured):
        number, analyte = check_of(item.solution, run.file.checks), item.line[0]
        if number is None:
            continue
        known = run.file.checks[number].concentration.get(analyte)
        limit = limit_for(context.records.method.quality_limits, "check solution", analyte)
        if known is not None and limit is not None:
            figure = context.in_unit(known, unit, "run", f"check_solution {number + 1}, {analyte}")
            place = Place("run", ("check_solution", number, "concentration", analyte), unit)
            yield Check("check solution", item.solution, item.curve, limit, row, known=figure, place=place)


def _blanks(context: Context, structure: Structure) -> Iterator[Check]:
    if BLANK_VALUES not in context.tables:
        return
    read = [item for item in structure.measured if item.solution in structure.blank_solutions]
    for row, item in enumerate(read):
        limit = limit_for(context.records.method.quality_limits, "blank", item.line[0])
        if limit is not None:
            yield Check("blank", item.solution, item.curve, limit, blank=row)


def _between_results(context: Context, run: Run, structure: Structure, keys: Sequence[ResultKey]) -> Iterator[Check]:
    method = context.records.method
    row_of = {(key.sample, (key.analyte, key.line or "")): row for row, key in enumerate(keys)}

    def limit(kind: str, line: Line) -> int | None:
        return limit_for(method.quality_limits, kind, line[0])

    for line in structure.lines:
        for number, spike in enumerate(run.file.spikes):
            first, second = (row_of.get((sample, line), -1) for sample in (spike.sample, spike.of))
            added, at = spike.added.get(line[0]), limit("spike", line)
            if min(first, second) >= 0 and added is not None and at is not None:
                place = Place("run", ("spike", number, "added", line[0]), method.document.unit)
                known = context.in_unit(added, method.document.unit, "run", f"spike {number + 1}, {line[0]}")
                words = f"{spike.sample} less {spike.of}"
                yield Check("spike", words, Curve(*line), at, first=first, second=second, known=known, place=place)
        for pair in run.file.duplicates:
            first, second = (row_of.get((sample, line), -1) for sample in pair.samples)
            at = limit("duplicate", line)
            if min(first, second) >= 0 and at is not None:
                yield Check("duplicate", " and ".join(pair.samples), Curve(*line), at, first=first, second=second)


def _materials(context: Context, structure: Structure, keys: Sequence[ResultKey]) -> Iterator[Check]:
    """Reference materials taken through the procedure, on each line, beside the certificate of the day."""
    method = context.records.method
    unit = method.document.unit
    for row, key in enumerate(keys):
        line = (key.analyte, key.line or "")
        limit = limit_for(method.quality_limits, "reference material", key.analyte)
        item = structure.portions[key.portions[0]].reference_material if key.portions else ""
        found = stock_of(context, item, key.analyte) if item and limit is not None and line in structure.lines else None
        known = in_unit(found.property.value.value, found.property.value.unit, unit) if found else None
        if found is not None and known is not None and limit is not None:
            place = Place("register", (*found.path, "value"), unit)
            yield Check("reference material", key.sample, Curve(*line), limit, first=row, known=known, place=place)


def _build_limits(context: Context) -> None:
    limits = context.records.method.quality_limits
    table = TableBuilder(LIMITS, "Limits of the checks in a run", len(limits), context.shared)
    table.label("kind", "kind of check", [limit.kind for limit in limits])
    table.label("analytes", "analytes", [", ".join(limit.analytes) or "all others" for limit in limits])
    table.label("of", "of", [_unit_of(context, limit) for limit in limits])
    for name, number in (("low", 0), ("high", 1)):
        values: list[float | None] = []
        places: list[Place | None] = []
        for at, limit in enumerate(limits):
            amount: Amount | None
            if limit.recovery is not None:
                unit, amount = "%", limit.recovery[number]
                path: tuple[str | int, ...] = ("quality_limit", at, "recovery", number)
            else:
                unit, amount = _unit_of(context, limit), limit.at_most if number else None
                path = ("quality_limit", at, "at_most")
            place = f"quality_limit {at + 1} ({limit.kind})"
            values.append(None if amount is None else context.in_unit(amount, unit, "method", place))
            places.append(None if amount is None else method_place(*path, unit=unit))
        table.given(name, "lower limit" if name == "low" else "upper limit", "", nan_where_none(values), places)
    table.label("source", "source", [limit.source for limit in limits])
    context.tables[LIMITS] = table.build()


def _unit_of(context: Context, limit: QualityLimit) -> str:
    """Unit in which a limit is compared: % of what is known or of the mean, else that of solution or result."""
    if limit.at_most is None or limit.at_most.unit == "%":
        return "%"
    if limit.kind == "duplicate":
        return context.records.method.document.unit
    blank = next(symbol for symbol in context.records.method.symbols.values() if isinstance(symbol, Blank))
    return blank.unit


def _build_checks(context: Context, checks: Sequence[Check], value: str) -> None:
    limits = context.records.method.quality_limits
    table = TableBuilder(CHECKS, "Checks in the run against the limits of the method", len(checks), context.shared)
    table.label("kind", "kind of check", [check.kind for check in checks])
    table.label("check", "check", [check.words for check in checks])
    table.label("analyte", "analyte", [check.curve.analyte for check in checks])
    table.label("line", "line", [check.curve.line for check in checks])
    if any(check.curve.block for check in checks):
        table.label("block", "calibration block", [check.curve.block for check in checks])
    signals, blanks = [check.signal for check in checks], [check.blank for check in checks]
    firsts, seconds = [check.first for check in checks], [check.second for check in checks]
    first = table.pick("first result", RESULTS, value, firsts)
    second = table.pick("second result", RESULTS, value, seconds)
    found: Expression = first - second
    if max(signals) >= 0:
        found = found + table.pick("c read", SIGNALS, "c", signals)
    if max(blanks) >= 0:
        found = found + table.pick("c of the blank", BLANK_VALUES, "c", blanks)
    table.formula("found", "found, or difference", "", found)
    places = [check.place for check in checks]
    table.given("known", "known", "", nan_where_none([check.known for check in checks]), places)
    relative = [
        limits[check.limit].at_most is not None and _unit_of(context, limits[check.limit]) == "%" for check in checks
    ]
    way = np.array([1 if check.kind in RECOVERIES else 2 * part for check, part in zip(checks, relative, strict=True)])
    size = apply("abs", Symbol("found"))
    mean = apply("abs", first + second) / 2
    ways = [100 * apply("ratio_or_zero", Symbol("found"), Symbol("known")), 100 * apply("ratio_or_zero", size, mean)]
    table.formula("figure", "recovery, relative difference, or size", "", size, "", ways, way)
    table.label("of", "of", [_unit_of(context, limits[check.limit]) for check in checks])
    rows = [check.limit for check in checks]
    low = table.pick("lower limit", LIMITS, "low", rows)
    high = table.pick("upper limit", LIMITS, "high", rows)
    table.formula(
        "low",
        "lower limit",
        "",
        Number(0),
        "",
        [low],
        np.array([check.kind in RECOVERIES for check in checks], dtype=np.int64),
    )
    table.formula("high", "upper limit", "", high)
    over = apply("if_less", Symbol("high"), Symbol("figure"), 1, 0)
    outside = apply("if_less", Symbol("figure"), Symbol("low"), 1, over)
    status: Expression = table.pick("status of the first", RESULTS, STATUS, firsts)
    status = status + table.pick("status of the second", RESULTS, STATUS, seconds)
    if max(signals) >= 0:
        status = status + table.pick("status of c", SIGNALS, "status", signals)
    # What cannot be calculated is told as such, and is not outside.
    table.formula(OUTSIDE, "outside the limits (1 = yes)", "", apply("if_less", status, 0.5, outside, 0))
    context.tables[CHECKS] = table.build()


def _build_lines(context: Context, checks: Sequence[Check]) -> None:
    lines = list(dict.fromkeys(check.line for check in checks))
    counts = np.array([sum(check.line == line for check in checks) for line in lines], dtype=np.int64)
    stop = np.cumsum(counts)
    table = TableBuilder(OF_LINES, "Checks outside their limits, each line", len(lines), context.shared)
    table.label("analyte", "analyte", [analyte for analyte, _ in lines])
    table.label("line", "line", [line for _, line in lines])
    table.given("checks", "checks with a limit", "", counts)
    marks = table.span("marks", CHECKS, OUTSIDE, stop - counts, stop)
    table.formula(COUNT, "outside their limits", "", apply("total", marks))
    context.tables[OF_LINES] = table.build()
