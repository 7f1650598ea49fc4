"""Smallest net mass that a balance may weigh, by the rule that the method names, and which portions lie below it.

USP <41>, Balances: factor · s / requirement, with s at least 0.41 d. EURAMET cg-18, Appendix G: the mass at which
U(W) = alpha + beta W, times the safety factor SF, is the required part of W: alpha SF/(requirement - beta SF).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.balances import BALANCES, Balance
from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context, method_place
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.records.weighing import Minimum

MINIMUMS = "minimum masses"
MINIMUM = "portion below a minimum mass"
"""Column of the results: how many weighings of the portion lie below their minimum."""
FLOOR = 0.41
"""Least s in scale intervals d (USP <41>)."""


@dataclass(frozen=True)
class Ruled:
    """A weighing symbol with its rule and its balance (`row` of the table `balances`)."""

    symbol: str
    rule: Minimum
    balance: Balance
    row: int


def build_minimums(context: Context, ruled: Sequence[Ruled], unit: str) -> None:
    """Table `minimum masses`: one row a symbol, in the unit of the balances."""
    table = TableBuilder(MINIMUMS, "Minimum sample weight", len(ruled), context.shared)
    table.label("symbol", "symbol", [item.symbol for item in ruled])
    table.label("item", "balance", [item.balance.key for item in ruled])
    table.label("rule", "rule", [item.rule.rule for item in ruled])
    requirement = _given(context, table, ruled, "requirement", "requirement, relative", "1")
    usp = [item.rule.rule == "USP <41>" for item in ruled]
    ways: list[Expression] = []
    way = np.zeros(len(ruled), dtype=np.int64)
    rows = [item.row for item in ruled]
    if any(usp):
        factor = _given(context, table, ruled, "factor", "factor of s", "")
        s = table.pick("s of the balance", BALANCES, "u repeatability", rows)
        d = table.pick("d of the balance", BALANCES, "resolution", rows)
        taken = apply("larger", s, FLOOR * d)
        used = table.formula(
            "s", "s, at least 0.41 d", unit, Number(0), "USP <41>", [taken], np.array(usp, dtype=np.int64)
        )
        ways.append(factor * used / requirement)
        way = np.where(usp, len(ways), way)
    if not all(usp):
        safety = _given(context, table, ruled, "safety_factor", "safety factor", "")
        alpha, beta = (
            table.pick(f"{key} of the balance", BALANCES, f"in use {key}", rows) for key in ("alpha", "beta")
        )
        ways.append(alpha * safety / (requirement - beta * safety))
        way = np.where(usp, way, len(ways))
    table.formula("minimum", "minimum net mass", unit, Number(0), "USP <41>; EURAMET cg-18, Appendix G", ways, way)
    context.tables[MINIMUMS] = table.build()


def _given(context: Context, table: TableBuilder, ruled: Sequence[Ruled], key: str, heading: str, unit: str) -> Symbol:
    values: list[float | None] = []
    for item in ruled:
        stated = getattr(item.rule, key)
        if key == "requirement":
            stated = context.in_unit(stated, unit, "method", f"symbol {item.symbol}, minimum, requirement")
        values.append(stated)
    places = [
        None if value is None else method_place("symbols", item.symbol, "minimum", key, unit=unit)
        for item, value in zip(ruled, values, strict=True)
    ]
    return table.given(key, heading, unit, nan_where_none(values), places)


def below(symbol: str) -> str:
    """Column of the portions: 1 where the net mass lies below the minimum."""
    return f"{symbol} below minimum"


def add_comparison(table: TableBuilder, symbol: str, unit: str, row: int, factor: float) -> None:
    """Minimum and mark of each portion; `factor` converts from the unit of the balances."""
    least = table.pick(f"least {symbol}", MINIMUMS, "minimum", [row] * table.size) * factor
    minimum = table.formula(f"minimum {symbol}", f"minimum {symbol}", unit, least)
    mark = apply("if_less", Symbol(symbol), minimum, 1, 0)
    table.formula(below(symbol), f"{symbol} below the minimum (1 = yes)", "", mark)


def add_result_mark(table: TableBuilder, portions: str, symbols: Sequence[str], rows: Sequence[int]) -> None:
    """The marks of the portion behind each row of the results, added up."""
    marks: list[Expression] = [table.pick(below(symbol), portions, below(symbol), rows) for symbol in symbols]
    if marks:
        table.formula(MINIMUM, "weighings below a minimum mass", "", sum(marks[1:], start=marks[0]))
