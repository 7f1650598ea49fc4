"""Internal standard: every reading times reference over the internal standard's reading beside it.

Beside it means in the same solution and replicate; leaving out either reading leaves out the pair, and all scatter is
that of the ratio. The reference is the mean in the standards, one number for the run: it cancels between curve and
samples. What does not cancel is the amount added to one solution, exactly the same for all lines read in it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context, method_place
from ubudget.bench.readings import add_single_readings, flatten
from ubudget.bench.structure import Measured, Structure
from ubudget.quantity.expression import Number, Operand, Symbol, apply
from ubudget.quantity.graph import Trait
from ubudget.records.corrections import InternalStandard

STATED, SINGLE, SOLUTIONS = "internal standard", "internal standard readings", "internal standard by solution"
GROUP = "internal standard"
ReadAt = tuple[str, int | None, str]
"""A solution, the position where it was read several times, and its calibration block."""


@dataclass(frozen=True, eq=False)
class InternalRows:
    """Where the internal standard's readings stand."""

    reading: dict[tuple[ReadAt, int], int]
    """Row of each solution's replicate."""
    solution: dict[ReadAt, int]
    left_out: frozenset[tuple[ReadAt, int]]
    per_solution: bool
    """Whether the amount added to a solution is an input quantity of its own."""
    limited: bool

    def ratio(self, table: TableBuilder, keys: Sequence[tuple[ReadAt, int]]) -> tuple[Symbol, Symbol]:
        """Reference over the internal standard's reading, and 1 where that reading can be used."""
        rows = [self.reading[key] for key in keys]
        beside = table.pick("internal standard", SINGLE, "reading", rows)
        include = table.pick("include of the internal standard", SINGLE, "include", rows)
        reference = table.pick("reference", STATED, "reference", [0] * table.size)
        ratio = table.formula("ratio", "reference / internal standard", "", apply("ratio_or_zero", reference, beside))
        mark = include * apply("if_less", 0, beside, 1, 0)
        return ratio, table.formula("internal standard used", "internal standard used", "", mark)


def read_at(item: Measured) -> ReadAt:
    return item.solution, item.position, item.reading.block


def build_internal_standard(
    context: Context, structure: Structure, symbol: str, standard: InternalStandard, reading_unit: str
) -> InternalRows:
    """Tables `internal standard` (one row), `internal standard readings` and `internal standard by solution`."""
    items = structure.internal_standard
    flat, segments = flatten(items)
    single = TableBuilder(SINGLE, "Readings of the internal standard", len(flat), context.shared)
    reading, include = add_single_readings(context, single, items, flat, reading_unit)
    single.formula("used", "reading used", reading_unit, include * reading)
    context.tables[SINGLE] = single.build()
    of_standards = {item.solution for item in structure.standard_readings}
    in_standards = sum(items[item].solution in of_standards for item, _, _ in flat)
    _build_stated(context, symbol, standard, reading_unit, in_standards)
    table = TableBuilder(SOLUTIONS, "Internal standard, each solution", len(items), context.shared)
    table.label("solution", "solution", [item.solution for item in items])
    n = table.formula(
        "n", "readings used", "", apply("total", table.span("marks", SINGLE, "include", segments.start, segments.stop))
    )
    used = table.span("all used", SINGLE, "used", segments.start, segments.stop)
    table.formula("mean", "mean", reading_unit, apply("ratio_or_zero", apply("total", used), n))
    _add_recovery(table, standard)
    # Where the amount cancels, the solution itself says so; the standards need not say it again.
    silent = of_standards if standard.online else frozenset()
    _add_amount(table, items, symbol, standard, silent)
    context.tables[SOLUTIONS] = table.build()
    excluded = context.records.run.file.exclusions if context.records.run else ()
    marks = {(m.solution, m.position, m.block, m.replicate) for m in excluded if (m.analyte, m.line) == items[0].line}
    keys = {(read_at(items[item]), replicate): row for row, (item, replicate, _) in enumerate(flat)}
    return InternalRows(
        keys,
        {read_at(item): row for row, item in enumerate(items)},
        frozenset(key for key in keys if (*key[0], key[1]) in marks),
        standard.added is not None or standard.online,
        standard.limits is not None,
    )


def _build_stated(context: Context, symbol: str, standard: InternalStandard, unit: str, in_standards: int) -> None:
    """One row: reference, and what the method states."""
    table = TableBuilder(STATED, "Internal standard", 1, context.shared)
    table.label("analyte", "analyte", [standard.analyte])
    table.label("line", "line", [standard.line])
    path = ("symbols", symbol, "internal_standard")
    start, stop = np.array([0]), np.array([in_standards])
    used, marks = (table.span(f"standards' {c}", SINGLE, c, start, stop) for c in ("used", "include"))
    reference = apply("ratio_or_zero", apply("total", used), apply("total", marks))
    table.formula("reference", "reference: mean in the standards", unit, reference)
    if standard.added is not None:
        added = context.in_unit(standard.added, "%", "method", f"symbol {symbol}, internal_standard, added")
        table.given(
            "added", "u of the amount added, relative", "%", [added or 0.0], [method_place(*path, "added", unit="%")]
        )
    for number, (name, limit) in enumerate(zip(("lower limit", "upper limit"), standard.limits or (), strict=False)):
        table.given(name, f"{name} of recovery", "%", [limit], [method_place(*path, "limits", number)])
    context.tables[STATED] = table.build()


def _add_recovery(table: TableBuilder, standard: InternalStandard) -> None:
    one_row = [0] * table.size
    reference = table.pick("reference", STATED, "reference", one_row)
    recovery = table.formula("recovery", "recovery", "%", apply("ratio_or_zero", 100 * Symbol("mean"), reference))
    if standard.limits is not None:
        low = table.pick("lower limit", STATED, "lower limit", one_row)
        high = table.pick("upper limit", STATED, "upper limit", one_row)
        above = apply("if_less", high, recovery, 1, 0)
        outside = apply("if_less", recovery, low, -1, above)
        table.formula("outside", "outside its limits (-1 below, 1 above)", "", outside)


def _add_amount(
    table: TableBuilder,
    items: Sequence[Measured],
    symbol: str,
    standard: InternalStandard,
    silent: Collection[str],
) -> None:
    """The amount added to each solution, relative: a deviation of that solution's own, whatever line is read.

    The drift check is one solution, and its deviation cancels between its readings."""
    if standard.added is None and not standard.online:
        return
    u: Operand = Number(0)
    source = standard.source or "added to each solution"
    if standard.added is not None:
        u = table.pick("u% of the amount", STATED, "added", [0] * table.size) / 100
    else:
        source = f"mixed in online at one ratio: cancels{f' ({standard.source})' if standard.source else ''}"
    name = f"{symbol}.internal standard"
    table.deviation(
        "added",
        "deviation of the amount added, relative",
        "",
        u,
        [Trait(name, "internal standard added", GROUP, "B", "normal", f"{source}; {item.solution}") for item in items],
        members=[
            None if item.position is not None or item.solution in silent else ("internal standard", item.solution)
            for item in items
        ],
    )
