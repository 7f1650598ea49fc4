"""Drift: D of a check solution's mean readings over the first of them, linear in position between neighbouring checks.

Before the first check D is that of the first, 1. Each check's mean is an input quantity with the scatter of one
reading pooled over the line's checks; solutions between the same checks share it exactly. What the straight line
between two checks leaves is one deviation for all solutions of a line between them.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context, method_place
from ubudget.bench.internal_standard import InternalRows, read_at
from ubudget.bench.readings import add_single_readings, flatten
from ubudget.bench.structure import Line, Structure
from ubudget.quantity.expression import Expression, Symbol, apply
from ubudget.quantity.graph import Trait
from ubudget.records.corrections import Drift

SINGLE, CHECKS, LINES, STATED = "check readings", "drift checks", "drift", "residual drift"
GROUP = "drift"


@dataclass(frozen=True)
class Between:
    """Rows of the checks before and after a solution and of the line's first, how far it stands between them, and
    which bracket that is (0 = before the first check)."""

    left: int
    right: int
    first: int
    share: float
    bracket: int


@dataclass(frozen=True, eq=False)
class DriftRows:
    """Checks of each line: their positions, and the row of the first in the table `drift checks`."""

    positions: dict[Line, list[int]]
    first: dict[Line, int]
    residual: bool

    def between(self, line: Line, position: int) -> Between:
        at, first = self.positions[line], self.first[line]
        after = bisect_right(at, position)
        if after == 0:
            return Between(first, first, first, 0.0, 0)
        left, right = at[after - 1], at[min(after, len(at) - 1)]
        share = (position - left) / (right - left) if right > left else 0.0
        return Between(first + after - 1, first + min(after, len(at) - 1), first, share, after)


def build_drift(
    context: Context, structure: Structure, symbol: str, drift: Drift, internal: InternalRows | None, unit: str
) -> DriftRows:
    """Tables `check readings`, `drift checks`, `drift` (one row a line), and `residual drift` where it is stated."""
    items = structure.checks
    flat, segments = flatten(items)
    single = TableBuilder(SINGLE, "Readings of the drift check", len(flat), context.shared)
    keys = [(read_at(items[item]), replicate) for item, replicate, _ in flat]
    struck = internal.left_out if internal else frozenset()
    include: Expression
    reading: Expression
    reading, include = add_single_readings(context, single, items, flat, unit, [key in struck for key in keys])
    if internal is not None:
        ratio, both = internal.ratio(single, keys)
        reading, include = reading * ratio, include * both
    signal = single.formula("signal", "reading, by internal standard" if internal else "reading", unit, reading)
    mark = single.formula("counts", "counts (1 = yes)", "", include)
    mean = single.pick("mean of the check", CHECKS, "mean", [item for item, _, _ in flat])
    single.formula("used", "reading used", unit, mark * signal)
    single.formula("deviation", "deviation from the mean", unit, mark * (signal - mean))
    context.tables[SINGLE] = single.build()

    table = TableBuilder(CHECKS, f"Drift check {drift.check}", len(items), context.shared)
    table.label("analyte", "analyte", [item.line[0] for item in items])
    table.label("line", "line", [item.line[1] for item in items])
    table.label("position", "position", [str(item.position) for item in items])

    def span(column: str) -> Symbol:
        return table.span(f"all {column}", SINGLE, column, segments.start, segments.stop)

    n = table.formula("n", "readings used", "", apply("total", span("counts")))
    table.formula("mean", "mean", unit, apply("ratio_or_zero", apply("total", span("used")), n), "GUM 4.2.1 eq. 3")
    table.formula("squares", "sum of squares", "", apply("total_product", span("deviation"), span("deviation")))
    table.formula("n - 1", "n - 1", "", apply("larger", n - 1, 0))
    line_rows = [structure.lines.index(item.line) for item in items]
    s = table.pick("s of the line", LINES, "s", line_rows)
    table.formula("dof", "degrees of freedom", "", table.pick("dof of the line", LINES, "dof", line_rows))
    table.formula("check", "mean of the check", unit, Symbol("mean"))
    table.formula("u(check)", "u of the mean", unit, apply("ratio_or_zero", s, apply("sqrt", n)))
    table.leaf(
        "check",
        "u(check)",
        [
            Trait(
                f"{symbol}.drift check",
                "mean of the drift check",
                GROUP,
                "A",
                "t",
                f"{drift.check} at position {item.position}, s pooled over the checks",
            )
            for item in items
        ],
        dof="dof",
        estimates=[("drift", line) for line in line_rows],
    )
    context.tables[CHECKS] = table.build()
    _build_lines(context, structure, line_rows, unit)
    return _rows(structure, line_rows, _build_residual(context, symbol, drift))


def _build_lines(context: Context, structure: Structure, line_rows: list[int], unit: str) -> None:
    """Scatter of one check reading, pooled over the checks of each line (GUM H.3.6)."""
    table = TableBuilder(LINES, "Scatter of the drift check, each line", len(structure.lines), context.shared)
    table.label("analyte", "analyte", [analyte for analyte, _ in structure.lines])
    table.label("line", "line", [line for _, line in structure.lines])
    counts = np.bincount(np.array(line_rows, dtype=np.int64), minlength=len(structure.lines))
    stop = np.cumsum(counts)

    def total(column: str) -> Symbol:
        return table.span(f"all {column}", CHECKS, column, stop - counts, stop)

    dof = table.formula("dof", "degrees of freedom", "", apply("larger", apply("total", total("n - 1")), 1))
    table.formula("s", "s of one reading, pooled", unit, apply("sqrt", apply("total", total("squares")) / dof))
    context.tables[LINES] = table.build()


def _build_residual(context: Context, symbol: str, drift: Drift) -> bool:
    if drift.residual is None:
        return False
    u = context.in_unit(drift.residual, "%", "method", f"symbol {symbol}, drift, residual")
    table = TableBuilder(STATED, "Residual drift", 1, context.shared)
    table.label("check", "check solution", [drift.check])
    place = method_place("symbols", symbol, "drift", "residual", unit="%")
    table.given("residual", "u of what the straight line leaves, relative", "%", [u or 0.0], [place])
    context.tables[STATED] = table.build()
    return True


def _rows(structure: Structure, line_rows: list[int], residual: bool) -> DriftRows:
    positions: dict[Line, list[int]] = {}
    first: dict[Line, int] = {}
    for row, (item, number) in enumerate(zip(structure.checks, line_rows, strict=True)):
        line = structure.lines[number]
        first.setdefault(line, row)
        positions.setdefault(line, []).append(item.position or 0)
    return DriftRows(positions, first, residual)
