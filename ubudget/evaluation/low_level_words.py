"""What is reported of results below a limit, in words, and what stands behind it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.evaluation.low_level_derived import BOUNDS_FORM, BY_RULE, BY_RULE_FORM, DERIVED_LOW, HIGHEST, LOWEST
from ubudget.evaluation.low_levels import (
    ABSENT,
    CLASS,
    CLASSES,
    FORM,
    HIGH_END,
    LESS,
    LESS_THAN_DETECTION,
    LOW_END,
    LOW_LEVELS,
    PLACES,
    SHOWN,
)
from ubudget.quantity.graph import Graph, Pick
from ubudget.quantity.numbers import Numbers
from ubudget.records.crosscheck_low_levels import LIMITS

LESS_SIGN, NOT_DETECTED_AT, TO = "< ", "not detected at ", " to "


@dataclass(frozen=True)
class LowLevel:
    """What is known of a result near zero, in its own unit; None where the method states no such limit."""

    decision: float | None
    detection: float | None
    quantification: float | None
    class_: str
    """Below which limit the value lies; empty for derived results."""
    interval: tuple[float, float] | None
    """The interval value ± U cut at zero, of a measurand that cannot be negative."""
    by_rule: float | None
    """Of a derived result: its value with results below a limit counted by the method's rule."""
    bounds: tuple[float, float] | None
    below: int
    """Of a derived result: how many results beneath it are below a limit."""


def low_level_place(assembly: Assembly, graph: Graph, row: int) -> tuple[str, int] | None:
    """Table and row of what is known of a result near zero; None where nothing is."""
    derived = assembly.derived.get(row)
    if derived is not None:
        number = derived.table.rpartition(" ")[2]
        table = f"{DERIVED_LOW}{number}"
        if table not in graph.tables:
            return None
        picks = [pick for pick in graph.tables[RESULTS].references.values() if isinstance(pick, Pick)]
        return table, next(int(pick.rows[row]) for pick in picks if pick.table == derived.table)
    low = graph.tables.get(LOW_LEVELS)
    if low is None:
        return None
    value = low.references["value reported"]
    assert isinstance(value, Pick)
    # The rows rise.
    own = int(np.searchsorted(value.rows, row))
    return (LOW_LEVELS, own) if own < value.rows.size and value.rows[own] == row else None


def reported_text(assembly: Assembly, graph: Graph, numbers: Numbers, row: int, decimals: int) -> str:
    """What is reported in place of value ± U; empty where that is reported. `decimals` are those of value and U."""
    place = low_level_place(assembly, graph, row)
    if place is None or FORM not in graph.tables[place[0]].by_name:
        return ""
    table, own = place

    def number(column: str, places: int) -> str:
        text = f"{float(numbers.column(table, column)[own]):.{max(places, 0)}f}"
        return text[1:] if text.startswith("-") and not any(digit in text for digit in "123456789") else text

    form = int(numbers.column(table, FORM)[own])
    if form in (LESS, LESS_THAN_DETECTION, ABSENT):
        sign = NOT_DETECTED_AT if form == ABSENT else LESS_SIGN
        return sign + number(SHOWN, int(numbers.column(table, PLACES)[own]))
    if form == BY_RULE_FORM:
        return number(BY_RULE, decimals)
    if form == BOUNDS_FORM:
        return number(LOWEST, decimals) + TO + number(HIGHEST, decimals)
    return ""


def low_level(assembly: Assembly, graph: Graph, numbers: Numbers, row: int) -> LowLevel | None:
    """Limits, class and interval of a result; None where nothing is known."""
    place = low_level_place(assembly, graph, row)
    if place is None:
        return None
    table, own = place
    home = graph.tables[table]

    def number(name: str) -> float | None:
        return float(numbers.column(table, name)[own]) if name in home.by_name else None

    def pair(low: str, high: str) -> tuple[float, float] | None:
        ends = number(low), number(high)
        return None if ends[0] is None or ends[1] is None else (ends[0], ends[1])

    def limit(name: str) -> float | None:
        picked = [
            pick.rows[own] >= 0
            for symbol, pick in home.references.items()
            if isinstance(pick, Pick) and symbol.startswith(f"{name} ")
        ]
        return number(name) if any(picked) else None

    stated = [limit(name) for name in LIMITS]
    code = number(CLASS)
    return LowLevel(
        stated[0],
        stated[1],
        stated[2],
        "" if code is None else CLASSES[int(code)],
        pair(LOW_END, HIGH_END),
        number(BY_RULE) if home.name != LOW_LEVELS else None,
        pair(LOWEST, HIGHEST),
        int(number("results below") or 0),
    )
