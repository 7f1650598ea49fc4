"""Results near zero as a table of the graph: their own limits, the class, and what is reported of them.

In a mean of portions the limits are averaged, since averaging earns no lower limit that was not validated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.bench.building import Shared, TableBuilder
from ubudget.bench.folding import fold
from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE
from ubudget.bench.several_lines import REPORTED_VALUES
from ubudget.evaluation.coverage import EXPANDED
from ubudget.evaluation.scaled_limits import SCALED, Limits, add_scaled_limits
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import DETAIL, Graph, Pick, Rows
from ubudget.records.crosscheck_low_levels import LIMITS
from ubudget.records.low_levels import (
    LESS_DETECTION,
    LESS_QUANTIFICATION,
    MEASURED,
)

LOW_LEVELS = "low levels"
QUANTIFICATION = "quantification"
"""Column of the quantification limits, scaled to each result."""
CLASS, FORM, SHOWN, PLACES, COUNTED = "class", "form", "limit shown", "decimals of the limit", "limit counted"
LOW_END, HIGH_END = "lower end", "upper end"
VALUE_U, LESS, LESS_THAN_DETECTION, ABSENT = 0, 1, 2, 3
"""Forms: value with U; less than quantification or detection limit; not detected."""
CLASSES = ("not below", "below the quantification limit", "below the detection limit", "below the decision limit")


def add_low_levels(assembly: Assembly, graph: Graph) -> Graph:
    """Tables `detection limits`, `scaled limits` and `low levels`, where the method states limits."""
    method = assembly.records.method
    if not method.detection_limits and not (method.low_levels and method.low_levels.non_negative):
        return graph
    limits = Limits(assembly, graph)
    graph = add_scaled_limits(limits, graph)
    return _with_results(limits, graph) if limits.rows else graph


def _with_results(limits: Limits, graph: Graph) -> Graph:
    assembly, rows = limits.assembly, limits.rows
    keys = [assembly.keys[row] for row in rows]
    table = TableBuilder(LOW_LEVELS, "Results and their limits", len(rows), Shared())
    table.label(SAMPLE, "sample", [key.sample for key in keys])
    table.label(ANALYTE, "analyte", [key.analyte for key in keys])
    table.label(LINE, "line", [key.line or "" for key in keys])
    x = table.formula("x", "value", limits.unit, table.pick("value reported", RESULTS, assembly.value, rows))
    behind = [limits.lines_of(row) for row in rows]
    present = [_present(limits, lines) for lines in behind]
    if any(present):
        _add_limits(limits, table, rows, behind, present)
        _add_class(limits, table, x, present)
    if limits.rule.non_negative:
        U = table.pick("U of the result", RESULTS, EXPANDED, rows)
        clause = "cut at zero, QUAM:2012 appendix F"
        table.formula(LOW_END, "interval from", limits.unit, apply("larger", x - U, 0), clause)
        table.formula(HIGH_END, "interval to", limits.unit, apply("larger", x + U, 0), clause)
    return graph.with_table(table.build())


def _present(limits: Limits, lines: list[list[int]]) -> tuple[str, ...]:
    """The limits that every portion and line behind a result has."""
    own = [limits.has(row) for line in lines for row in line]
    return tuple(name for name in LIMITS if own and all(name in names for names in own))


def _add_limits(
    limits: Limits,
    table: TableBuilder,
    rows: Sequence[int],
    behind: Sequence[list[list[int]]],
    present: Sequence[tuple[str, ...]],
) -> None:
    """Limits of each result: mean over its portions; of a value from several lines, by the weights of the lines."""
    assembly = limits.assembly
    most_lines = max(len(lines) for lines in behind)
    most = max(len(line) for lines in behind for line in lines)
    first_joined = sum(assembly.keys[row].line is not None or not assembly.lines_of(row) for row in rows)
    joined = {row: at for at, row in enumerate(row for row in range(len(assembly.keys)) if assembly.lines_of(row))}
    numbers: list[Symbol | Number] = []
    weights: list[Symbol | Number] = []
    for i in range(most_lines):
        counts = [max(1, len(lines[i])) if i < len(lines) else 1 for lines in behind]
        word = f" of line {i + 1}" if most_lines > 1 else ""
        several = most > 1
        numbers.append(table.given(f"portions{word}", f"portions averaged{word}", "", counts) if several else Number(1))
        own = [joined.get(row, -1) for row in rows]
        if first_joined < len(rows):
            weights.append(table.pick(f"weight{word}", REPORTED_VALUES, f"weight {i + 1}", own, absent=1.0))
        else:
            weights.append(Number(1))
    for name in LIMITS:
        if not any(name in names for names in present):
            continue
        lines_total: list[Expression] = []
        for i in range(most_lines):
            parts: list[Expression] = []
            for j in range(most):
                chosen = [
                    lines[i][j] if name in names and i < len(lines) and j < len(lines[i]) else -1
                    for lines, names in zip(behind, present, strict=True)
                ]
                if max(chosen) >= 0:
                    which = f"line {i + 1}, portion {j + 1}" if most_lines > 1 else f"portion {j + 1}"
                    parts.append(table.pick(f"{name} of {which}", SCALED, name, chosen))
            if parts:
                total = fold("add", parts)
                lines_total.append(weights[i] * total / numbers[i])
        table.formula(name, f"{name} limit", limits.unit, fold("add", lines_total))


def form_below(rule: str, present: tuple[str, ...]) -> int:
    """The form that a rule gives where these limits are known; the next lower limit stands in for a missing one."""
    if rule == MEASURED:
        return VALUE_U
    if rule == LESS_QUANTIFICATION and "quantification" in present:
        return LESS
    if rule in (LESS_QUANTIFICATION, LESS_DETECTION) and "detection" in present:
        return LESS_THAN_DETECTION
    return ABSENT if "detection" in present or "decision" in present else VALUE_U


def _add_class(limits: Limits, table: TableBuilder, x: Symbol, present: Sequence[tuple[str, ...]]) -> None:
    patterns = list(dict.fromkeys(present))
    way = np.array([patterns.index(names) for names in present], dtype=np.int64)
    upward = tuple(reversed(LIMITS))
    rules = dict(zip(upward, limits.rule.rules, strict=True))

    def nested(number: Callable[[str, tuple[str, ...]], int]) -> list[Expression]:
        """The number of the lowest limit that the value is below, for each set of limits."""
        found = []
        for names in patterns:
            expression: Expression = Number(0)
            for name in reversed(names):
                expression = apply("if_less", x, Symbol(name), number(name, names), expression)
            found.append(expression)
        return found

    by_class = nested(lambda name, names: upward.index(name) + 1)
    by_form = nested(lambda name, names: form_below(rules[name], names))
    table.formula(CLASS, "class", "", by_class[0], "", by_class[1:], way)
    form = table.formula(FORM, "form", "", by_form[0], "", by_form[1:], way)
    shown: list[Expression] = []
    counted: list[Expression] = []
    for names in patterns:
        counted.append(Symbol(names[-1]) if names else Number(0))
        expression = counted[-1]
        for number, wanted in ((ABSENT, ("detection", "decision")), (LESS_THAN_DETECTION, ("detection",))):
            known = [name for name in wanted if name in names]
            if known:
                expression = apply("if_equal", form, number, Symbol(known[0]), expression)
        if "quantification" in names:
            expression = apply("if_equal", form, LESS, Symbol("quantification"), expression)
        shown.append(expression)
    heading = "limit that is reported, else the highest"
    table.formula("limit reported", heading, limits.unit, shown[0], "", shown[1:], way, rank=DETAIL)
    table.formula(COUNTED, "highest limit", limits.unit, counted[0], "", counted[1:], way, rank=DETAIL)
    add_shown_limit(table, Symbol("limit reported"), limits.unit)


def add_shown_limit(table: TableBuilder, limit: Symbol, unit: str) -> None:
    """A limit as it is written: three significant digits by ordinary rounding, without zeros at its end."""
    decade = apply("whole", apply("log10", limit) + 1e-12)
    three = apply("if_less", 0, limit, 2 - decade, 0)
    digits = table.formula("places of the limit", "places for three digits", "", three, rank=DETAIL)
    shown = table.formula(SHOWN, "limit as written", unit, apply("round", limit, digits))
    places: Expression = digits
    for fewer in (1, 2, 3):
        change = apply("abs", apply("round", shown, digits - fewer) - shown)
        places = apply("if_less", change, 1e-9 * apply("larger", shown, 1e-300), digits - fewer, places)
    table.formula(PLACES, "decimals of the limit", "", apply("if_less", 0, limit, places, 0), rank=DETAIL)


def quantification_limit_rows(graph: Graph) -> Rows:
    """Row of the table `low levels` for each result (-1 = it has no quantification limit): there the column
    `quantification` holds the limit scaled to the sample, in the unit of the result."""
    found = np.full(graph.tables[RESULTS].size, -1, dtype=np.int64)
    table = graph.tables.get(LOW_LEVELS)
    if table is None or QUANTIFICATION not in table.by_name:
        return found
    value = table.references["value reported"]
    picks = [ref for name, ref in table.references.items() if name.startswith(f"{QUANTIFICATION} ")]
    assert isinstance(value, Pick)
    known = np.zeros(table.size, dtype=np.bool_)
    for pick in picks:
        assert isinstance(pick, Pick)
        known |= pick.rows >= 0
    found[value.rows[known]] = np.flatnonzero(known)
    return found
