"""Scatter of one reading at several levels, as the method states it from its validation data.

Linear in the concentration between the stated levels, constant below the first and above the last. As weights 1/s² such
deviations are constants of propagation.
"""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context, method_place
from ubudget.bench.structure import Line
from ubudget.quantity.expression import Expression, Operand, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF
from ubudget.records.calibration import Calibration, levels_for

LEVEL_S = "scatter by level"
S_HERE, DOF = "s of one reading", "dof known"


def build_level_scatter(context: Context, symbol: str, calibration: Calibration, reading_unit: str) -> None:
    """Table `scatter by level`, one row for each statement of the method."""
    stated = calibration.level_s
    table = TableBuilder(LEVEL_S, "Scatter of one reading by level", len(stated), context.shared)
    table.label("analyte", "analyte", [level.analyte for level in stated])
    table.label("line", "line", [level.line for level in stated])
    for key, heading, unit in (
        ("concentration", "concentration", calibration.unit),
        ("s", "s of one reading", reading_unit),
    ):
        values = [
            context.in_unit(getattr(level, key), unit, "method", f"symbol {symbol}, level_s {number}, {key}")
            for number, level in enumerate(stated, start=1)
        ]
        places = [method_place("symbols", symbol, "level_s", row, key, unit=unit) for row in range(len(stated))]
        table.given(key, heading, unit, [value or 0.0 for value in values], places)
    table.given(
        "dof",
        "degrees of freedom of s",
        "",
        [INFINITE_DOF if level.dof is None else level.dof for level in stated],
        [
            None if level.dof is None else method_place("symbols", symbol, "level_s", row, "dof")
            for row, level in enumerate(stated)
        ],
    )
    context.tables[LEVEL_S] = table.build()


def add_s_at(table: TableBuilder, calibration: Calibration, lines: Sequence[Line], x: Symbol, unit: str) -> Symbol:
    """Column `s of one reading` at the concentration `x` of each row, by the levels of the row's line."""

    def level(key: str, turn: int) -> Symbol:
        name = f"{key} of level {turn + 1}"
        return table.pick(name, LEVEL_S, key, _turn(calibration, lines, turn))

    s: Expression = level("s", 0)
    for turn in range(_most(calibration, lines) - 1):
        low, high = level("concentration", turn), level("concentration", turn + 1)
        # Levels of a line with fewer of them end in one of no width, which adds nothing.
        share = apply("smaller", apply("larger", apply("ratio_or_zero", x - low, high - low), 0), 1)
        s = s + (level("s", turn + 1) - level("s", turn)) * share
    table.formula(S_HERE, "s of one reading, as stated", unit, s, "linear between the stated levels")
    table.freeze(S_HERE)
    table.hold(S_HERE)
    return Symbol(S_HERE)


def add_dof(fits: TableBuilder, calibration: Calibration, lines: Sequence[Line]) -> None:
    """Column `dof known` of the fits: the smallest of the levels', as of estimates that are correlated."""
    smallest: Operand = INFINITE_DOF
    for turn in range(_most(calibration, lines)):
        dof = fits.pick(f"dof of level {turn + 1}", LEVEL_S, "dof", _turn(calibration, lines, turn))
        smallest = dof if turn == 0 else apply("smaller", smallest, dof)
    fits.formula(DOF, "degrees of freedom of the stated s", "", smallest)


def _most(calibration: Calibration, lines: Sequence[Line]) -> int:
    return max(len(levels_for(calibration, *line)) for line in set(lines))


def _turn(calibration: Calibration, lines: Sequence[Line], turn: int) -> list[int]:
    """Row of the level that is the next of each line; the last one again where there are no more."""
    rows = {line: levels_for(calibration, *line) for line in set(lines)}
    return [rows[line][min(turn, len(rows[line]) - 1)] for line in lines]
