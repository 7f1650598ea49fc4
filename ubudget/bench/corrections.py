"""Corrections of readings, in this order: first the internal standard, then the drift.

Single readings are corrected by numbers alone (`signal`), so that means and scatter are those of corrected readings. A
factor of exactly 1 beside each mean carries the corrections' own uncertainty, once for a solution and line: to the
unknown's mean reading and, through the fit, to the standards' readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.drift import CHECKS, DriftRows, build_drift
from ubudget.bench.drift import GROUP as DRIFT_GROUP
from ubudget.bench.drift import STATED as RESIDUAL
from ubudget.bench.internal_standard import SOLUTIONS, InternalRows, build_internal_standard, read_at
from ubudget.bench.readings import add_single_readings
from ubudget.bench.structure import Curve, Measured, Structure
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Trait
from ubudget.records.calibration import Calibration

CORRECTIONS = "signal corrections"


@dataclass(frozen=True, eq=False)
class Corrections:
    """What corrects the readings of a run; without internal standard and drift it leaves them as they are."""

    internal: InternalRows | None = None
    drift: DriftRows | None = None
    row: dict[tuple[str, Curve], int] = field(default_factory=dict)
    """Row of each solution and curve in the table `signal corrections`."""

    def __bool__(self) -> bool:
        return self.internal is not None or self.drift is not None

    def add_readings(
        self,
        context: Context,
        table: TableBuilder,
        items: Sequence[Measured],
        flat: Sequence[tuple[int, int, float]],
        unit: str,
    ) -> tuple[Symbol, Symbol]:
        """Columns of single readings; gives the corrected reading and the mark by which it counts."""
        keys = [(read_at(items[item]), replicate) for item, replicate, _ in flat]
        struck = self.internal.left_out if self.internal else frozenset()
        reading, include = add_single_readings(context, table, items, flat, unit, [key in struck for key in keys])
        if not self:
            return reading, include
        signal: Expression = reading
        mark: Expression = include
        if self.internal is not None:
            ratio, used = self.internal.ratio(table, keys)
            signal, mark = signal * ratio, mark * used
        if self.drift is not None:
            D = table.pick("drift D", CORRECTIONS, "D taken", self._rows([items[item] for item, _, _ in flat]))
            signal, mark = apply("ratio_or_zero", signal, D), mark * apply("if_less", 0, D, 1, 0)
        clause = "internal standard first, then drift"
        return (
            table.formula("signal", "reading, corrected", unit, signal, clause),
            table.formula("counts", "counts (1 = yes)", "", mark),
        )

    def factor(self, table: TableBuilder, items: Sequence[Measured]) -> Symbol | None:
        """The factor of exactly 1 with the corrections' uncertainty; None where nothing is corrected."""
        return table.pick("correction", CORRECTIONS, "factor", self._rows(items)) if self else None

    def drift_factor(self, table: TableBuilder, items: Sequence[Measured]) -> Symbol | None:
        """The part of the factor that solutions between the same checks share."""
        if self.drift is None:
            return None
        return table.pick("correction for drift", CORRECTIONS, "drift factor", self._rows(items))

    def _rows(self, items: Sequence[Measured]) -> list[int]:
        return [self.row[item.solution, item.curve] for item in items]


def build_corrections(
    context: Context, structure: Structure, symbol: str, calibration: Calibration, unit: str
) -> Corrections:
    """Tables of internal standard and drift, and `signal corrections`: one row for each solution and line."""
    internal = drift = None
    if calibration.internal_standard is not None:
        internal = build_internal_standard(context, structure, symbol, calibration.internal_standard, unit)
    if calibration.drift is not None:
        drift = build_drift(context, structure, symbol, calibration.drift, internal, unit)
    items = [*structure.standard_readings, *structure.measured]
    found = Corrections(internal, drift, {(item.solution, item.curve): row for row, item in enumerate(items)})
    if not found:
        return found
    title = "Corrections of each solution: first the internal standard, then the drift"
    table = TableBuilder(CORRECTIONS, title, len(items), context.shared)
    table.label("solution", "solution", [item.solution for item in items])
    table.label("analyte", "analyte", [item.line[0] for item in items])
    table.label("line", "line", [item.line[1] for item in items])
    factor: Expression = Number(1)
    if internal is not None:
        rows = [internal.solution[read_at(item)] for item in items]
        table.formula(
            "recovery", "recovery of the internal standard", "%", table.pick("IS", SOLUTIONS, "recovery", rows)
        )
        if internal.per_solution:
            factor = 1 + table.pick("amount added", SOLUTIONS, "added", rows)
    if drift is not None:
        factor = factor * _add_drift(table, structure, items, symbol, drift, calibration)
    table.formula("factor", "factor with the corrections' uncertainty", "", factor)
    context.tables[CORRECTIONS] = table.build()
    return found


def _add_drift(
    table: TableBuilder,
    structure: Structure,
    items: Sequence[Measured],
    symbol: str,
    drift: DriftRows,
    calibration: Calibration,
) -> Symbol:
    at = [structure.positions[item.solution, item.reading.block] for item in items]
    places = [drift.between(item.line, position) for item, position in zip(items, at, strict=True)]
    table.given("position", "position", "", [float(position) for position in at])
    share = table.given("share", "share of the way to the next check", "", [place.share for place in places])
    left = table.pick("check before", CHECKS, "check", [place.left for place in places])
    right = table.pick("check after", CHECKS, "check", [place.right for place in places])
    first = table.pick("first check", CHECKS, "check", [place.first for place in places])
    # A check of which no reading is left has the mean 0: then there is no D, and what it would correct is not counted.
    lowest = table.formula(
        "lowest check", "lowest of these checks", "", apply("smaller", apply("smaller", left, right), first)
    )
    present = apply("if_less", 0, lowest, left + share * (right - left), 0)
    D = table.formula("D", "drift D", "", apply("ratio_or_zero", present, first))
    taken = table.formula("D taken", "D as divided by", "", D)
    table.freeze("D taken", "lowest check")
    table.hold("D taken", "lowest check")
    factor: Expression = apply("ratio_or_zero", taken, D)
    if drift.residual:
        assert calibration.drift is not None
        name = f"{symbol}.residual drift"
        u = table.pick("u% of the residual drift", RESIDUAL, "residual", [0] * len(items))
        source = calibration.drift.source or "stated by the method"
        deviation = table.deviation(
            "residual drift",
            "residual drift, relative",
            "",
            u / 100,
            [Trait(name, "drift that the straight line leaves", DRIFT_GROUP, "B", "normal", source) for _ in items],
            members=[("residual drift", item.line, place.bracket) for item, place in zip(items, places, strict=True)],
        )
        factor = factor * (1 + deviation)
    return table.formula("drift factor", "factor with the drift's uncertainty", "", factor)
