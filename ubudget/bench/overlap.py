"""Spectral overlap: concentrations less what interferents of the same solution add to the line.

The interferent's concentration is the one on its own line in the same solution, with all its input quantities; where it
is itself corrected, its corrected one is taken, step by step. The factor k is one deviation for the whole run. What
reading, curve and stock contribute on both ways to a result meets in one row of the budget.
"""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.bench.blank import BLANKS
from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.curve import label_curves
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.stated import Entry
from ubudget.bench.structure import Curve, ResultRow, Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.expression import ZERO, Expression, Operand, Symbol, apply
from ubudget.records.calibration import Calibration
from ubudget.records.method import Method
from ubudget.records.overlap import Line, Overlap, SpectralOverlap

OVERLAPS, BLANK_OVERLAPS = "spectral overlaps", "spectral overlaps of blanks"
GROUP = "spectral overlap"
LOST = 1000
"""Added to the status of a result whose interferent has no concentration."""


def enter_overlaps(operations: SymbolRows) -> None:
    """The factors k become stated inputs, like any other."""
    if not operations.each(SpectralOverlap):
        return
    for number, overlap in enumerate(operations.context.records.method.overlaps):
        path = ("overlap", number)
        quantity = f"overlap of {overlap.words}, for each unit of concentration"
        entry = Entry("k_overlap", overlap.words, quantity, GROUP, "", overlap, overlap.factor, path, "factor")
        operations.overlap_rows.append(len(operations.entries))
        operations.entries.append(entry)


def build_overlaps(operations: SymbolRows, structure: Structure) -> None:
    """Table `spectral overlaps` over the measured lines, and one over the mean blanks where they are corrected."""
    method = operations.context.records.method
    of = {operation.of for _, operation in operations.each(SpectralOverlap)}
    if not of:
        return
    if any(isinstance(method.symbols[name], Calibration) for name in of):
        keys = [(item.solution, item.curve) for item in structure.measured]
        needed = {row.measured for row in structure.results}
        _build(operations, OVERLAPS, "Spectral overlap in each solution", SIGNALS, keys, needed)
    if any(not isinstance(method.symbols[name], Calibration) for name in of):
        keys = [("", curve) for curve in structure.blank_curves]
        needed = set(structure.blank_rows)
        _build(operations, BLANK_OVERLAPS, "Spectral overlap in the mean blank", BLANKS, keys, needed)


def subtract_overlap(
    table: TableBuilder,
    method: Method,
    symbol: str,
    operation: SpectralOverlap,
    rows: Sequence[ResultRow],
    structure: Structure,
) -> None:
    """Column `symbol` of the results: its concentration less the overlaps."""
    measured = isinstance(method.symbols[operation.of], Calibration)
    home = OVERLAPS if measured else BLANK_OVERLAPS
    own = [row.measured for row in rows] if measured else structure.blank_rows
    overlap = table.pick(f"overlap of {symbol}", home, "overlap", own)
    table.formula(symbol, symbol, operation.unit, Symbol(operation.of) - overlap, "common practice, no source")


def status_of_overlap(
    table: TableBuilder, context: Context, rows: Sequence[ResultRow], structure: Structure
) -> Operand:
    """What an interferent without concentration adds to the status of a result."""
    status: Expression = ZERO
    for home, own in (
        (OVERLAPS, [row.measured for row in rows]),
        (BLANK_OVERLAPS, structure.blank_rows),
    ):
        if home in context.tables:
            status = status + table.pick(f"interferents lost, {home}", home, "lost", own)
    return status if status == ZERO else LOST * apply("if_less", status, 0.5, 0, 1)


def _build(
    operations: SymbolRows,
    name: str,
    title: str,
    source: str,
    keys: Sequence[tuple[str, Curve]],
    needed: set[int],
) -> None:
    """`keys` are solution and curve of each row of `source`."""
    context = operations.context
    method = context.records.method
    table = TableBuilder(name, title, len(keys), context.shared)
    if source == SIGNALS:
        table.label("solution", "solution", [solution for solution, _ in keys])
    label_curves(table, [curve for _, curve in keys])
    unit = next(operation.unit for _, operation in operations.each(SpectralOverlap))
    own = range(len(keys))
    c = table.formula("c", "concentration as read", unit, table.pick("c of the line", source, "c", own))
    onto = [[number for number, one in enumerate(method.overlaps) if one.on == curve[:2]] for _, curve in keys]
    most = max(len(numbers) for numbers in onto)
    interferents = [_interferents(context, method.overlaps, keys, onto, turn, needed) for turn in range(most)]
    lost: Expression = ZERO
    factors = []
    for turn, rows in enumerate(interferents):
        words = [method.overlaps[onto[row][turn]].words if at >= 0 else "" for row, at in enumerate(rows)]
        table.label(f"overlap of {turn + 1}", f"overlap {turn + 1}", words)
        k_rows = [operations.overlap_rows[onto[row][turn]] if at >= 0 else -1 for row, at in enumerate(rows)]
        factors.append(table.pick(f"k of {turn + 1}", INPUTS, "estimate", k_rows))
        if source == SIGNALS:
            lost = lost + table.pick(f"status of interferent {turn + 1}", source, "status", rows)
        else:
            used = table.pick(f"blanks of interferent {turn + 1}", source, "n", rows, absent=1.0)
            lost = lost + apply("if_less", used, 0.5, 1, 0)
    previous, steps = c.name, _steps(method.overlaps)
    for step in range(1, steps + 1):
        suffix = "" if step == steps else f", step {step}"
        total: Expression = ZERO
        for turn, rows in enumerate(interferents):
            of = table.pick(f"interferent {turn + 1}{suffix}", name, previous, rows)
            heading = f"k·c of overlap {turn + 1}{suffix}"
            total = total + table.formula(f"overlap {turn + 1}{suffix}", heading, unit, factors[turn] * of)
        overlap = table.formula(f"overlap{suffix}", f"overlap in all{suffix}", unit, total)
        previous = table.formula(f"corrected{suffix}", f"corrected{suffix}", unit, c - overlap).name
    table.formula("lost", "interferent without concentration", "", apply("if_less", lost, 0.5, 0, 1))
    context.tables[name] = table.build()


def _interferents(
    context: Context,
    overlaps: Sequence[Overlap],
    keys: Sequence[tuple[str, Curve]],
    onto: Sequence[Sequence[int]],
    turn: int,
    needed: set[int],
) -> list[int]:
    """Row of the interferent of one overlap for each row; -1 where there is none. Tells of interferents not read."""
    place = {key: row for row, key in enumerate(keys)}
    rows = []
    for row, (solution, curve) in enumerate(keys):
        if turn >= len(onto[row]):
            rows.append(-1)
            continue
        overlap = overlaps[onto[row][turn]]
        at = place.get((solution, Curve(*overlap.of, curve.block)), -1)
        rows.append(at)
        if at < 0 and row in needed:
            line = " ".join(overlap.of).strip()
            context.find(
                "stop",
                "readings",
                f"{solution or 'blanks'}, {' '.join(overlap.on).strip()}",
                f"no reading of the interferent {line} in the same solution",
                f"a reading on {line} beside the line that it disturbs",
                "add the reading, or report another line",
            )
    return rows


def _steps(overlaps: Sequence[Overlap]) -> int:
    """Longest chain of interferents that are themselves corrected; at least one."""
    onto: dict[Line, list[Line]] = {}
    for overlap in overlaps:
        onto.setdefault(overlap.on, []).append(overlap.of)

    def depth(line: Line) -> int:
        return 1 + max((depth(other) for other in onto[line]), default=0) if line in onto else 0

    return max((depth(line) for line in onto), default=1)
