"""The method's own precision as a deviation of the result: s^2 = constant^2 + (relative * level)^2 (QUAM E.5).

Constant and relative part are two input quantities, so that a deviation shared by a whole run (between runs) is one and
the same deviation at every level. Both rest on one variance estimate.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context, method_place
from ubudget.quantity.expression import Expression, Operand, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Place, Trait
from ubudget.records.amount import Amount
from ubudget.records.method import Precision, PrecisionCase

PRECISION = "precision"
GROUP = "precision"


@dataclass(frozen=True)
class Parameters:
    """One row: standard deviations of a precision symbol for one case."""

    symbol: str
    case: PrecisionCase
    path: tuple[str | int, ...]


def parameters_of(symbol: str, precision: Precision) -> list[Parameters]:
    """The base case first (when it states anything), then the cases as listed."""
    rows = []
    if precision.constant or precision.relative:
        base = PrecisionCase(
            constant=precision.constant,
            relative=precision.relative,
            dof=precision.dof,
            source=precision.source,
        )
        rows.append(Parameters(symbol, base, ("symbols", symbol)))
    return rows + [
        Parameters(symbol, case, ("symbols", symbol, "for", number)) for number, case in enumerate(precision.cases)
    ]


def build_precision(context: Context, rows: Sequence[Parameters], unit: str) -> None:
    """Table `precision`: constant and relative standard deviation of each case."""
    table = TableBuilder(PRECISION, "Precision of the method", len(rows), context.shared)
    table.label("symbol", "symbol", [row.symbol for row in rows])
    table.label("applies", "applies to", [case_words(row.case) for row in rows])

    def place(row: Parameters, key: str, amount: Amount | None, shown: str) -> Place | None:
        return method_place(*row.path, key, unit=shown) if amount else None

    constants = [context.in_unit(row.case.constant, unit, "method", f"symbol {row.symbol}, constant") for row in rows]
    relatives = [context.in_unit(row.case.relative, "%", "method", f"symbol {row.symbol}, relative") for row in rows]
    has_constant = any(value is not None for value in constants)
    has_relative = any(value is not None for value in relatives)
    if has_constant:
        table.given(
            "constant",
            "constant part",
            unit,
            nan_where_none(constants),
            [place(row, "constant", row.case.constant, unit) for row in rows],
        )
    if has_relative:
        table.given(
            "relative",
            "relative part",
            "%",
            nan_where_none(relatives),
            [place(row, "relative", row.case.relative, "%") for row in rows],
        )
    present = np.array([value is not None for value in constants]).astype(np.int64)
    table.formula(
        "u constant",
        "u of the constant part",
        unit,
        0,
        "",
        [Symbol("constant")] if has_constant else [],
        present,
    )
    present = np.array([value is not None for value in relatives]).astype(np.int64)
    table.formula(
        "u relative",
        "u of the relative part",
        "",
        0,
        "",
        [Symbol("relative") / 100] if has_relative else [],
        present,
    )
    table.given(
        "dof",
        "degrees of freedom",
        "",
        [row.case.dof or INFINITE_DOF for row in rows],
        [method_place(*row.path, "dof") if row.case.dof else None for row in rows],
    )
    table.label("source", "source", [row.case.source for row in rows])
    context.tables[PRECISION] = table.build()


def case_words(case: object) -> str:
    """Where a case applies, in words."""
    parts = [getattr(case, "analyte", ""), getattr(case, "line", ""), getattr(case, "matrix", "")]
    low, high = getattr(case, "level_from", None), getattr(case, "level_to", None)
    if low is not None:
        parts.append(f"from {low.text}")
    if high is not None:
        parts.append(f"below {high.text}")
    return ", ".join(part for part in parts if part) or "all"


@dataclass(frozen=True)
class Bands:
    """Rows of parameters for one result, by rising level: row and upper end (None = no end)."""

    rows: tuple[int, ...]
    ends: tuple[float | None, ...]


def add_precision(
    table: TableBuilder,
    symbol: str,
    precision: Precision,
    bands: Sequence[Bands],
    all_rows: Sequence[Parameters],
    level: Symbol,
    unit: str,
    run_members: Sequence[Hashable] | None,
) -> Symbol:
    """Column `symbol`, estimate zero. `run_members` (between runs) names the deviation that rows share."""
    most = max(len(band.rows) for band in bands)
    parts: list[Expression] = []
    chosen_first = [band.rows[0] for band in bands]
    dof_stated = any(all_rows[row].case.dof for band in bands for row in band.rows)
    dof = None
    if dof_stated:
        dof = f"ν of {symbol}"
        table.formula(dof, dof, "", _by_level(table, symbol, "dof", bands, most, level))
    for part in ("constant", "relative"):
        if all(getattr(all_rows[row].case, part) is None for band in bands for row in band.rows):
            continue
        name = f"{symbol}.{part}"
        u = _by_level(table, symbol, f"u {part}", bands, most, level)
        trait_of = {
            row: Trait(
                name,
                f"{precision.quantity}, {part} part",
                GROUP,
                "A",
                "t" if all_rows[row].case.dof else "normal",
                all_rows[row].case.source,
            )
            for row in set(chosen_first)
        }
        traits = [trait_of[row] for row in chosen_first]
        members = None if run_members is None else [(member, part) for member in run_members]
        deviation = table.deviation(
            name,
            name,
            unit if part == "constant" else "",
            u,
            traits,
            dof=dof,
            members=members,
            estimates=[("precision", symbol, row) for row in chosen_first],
        )
        parts.append(deviation if part == "constant" else deviation * level)
    total = parts[0]
    for further in parts[1:]:
        total = total + further
    return table.formula(symbol, symbol, unit, total, "QUAM E.5")


def _by_level(
    table: TableBuilder, symbol: str, column: str, bands: Sequence[Bands], most: int, level: Symbol
) -> Operand:
    """The parameter of the band that holds the level; bands that a row lacks repeat its last."""

    def pick(place: int) -> Symbol:
        rows = [band.rows[min(place, len(band.rows) - 1)] for band in bands]
        return table.pick(
            f"{column} of {symbol}" + (f", band {place + 1}" if most > 1 else ""), PRECISION, column, rows
        )

    result: Expression = pick(most - 1)
    for place in reversed(range(most - 1)):
        ends = [band.ends[place] if place < len(band.ends) else None for band in bands]
        end = table.given(
            f"end of band {place + 1} of {symbol}, {column}",
            f"upper end of band {place + 1}",
            "",
            [1e99 if value is None else value for value in ends],
        )
        result = apply("if_less", level, end, pick(place), result)
    return result
