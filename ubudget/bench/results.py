"""The results: the method's equation for each portion and line, and the mean where a sample has several portions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import USABLE, Context
from ubudget.bench.equation import Definition, Equations
from ubudget.bench.minimum import MINIMUM
from ubudget.bench.result_table import (
    ANALYTE,
    LINE,
    PORTION_RESULTS,
    RANGE,
    RECOVERY,
    RESULTS,
    SAMPLE,
    STATUS,
    ResultTable,
)
from ubudget.bench.structure import Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.expression import ZERO, Expression, apply


@dataclass(frozen=True)
class ResultKey:
    """What one row of the results table is the result of; `portions` are rows of the test portions."""

    sample: str
    analyte: str
    line: str | None
    portions: tuple[int, ...] = ()


def add_results(
    context: Context, operations: SymbolRows, equations: Equations, structure: Structure | None
) -> tuple[ResultKey, ...]:
    """Tables `portion results` (only where a sample has several portions) and `results`; gives the keys of the
    latter's rows."""
    if structure is None:
        builder = ResultTable(context, operations, equations, None, RESULTS)
        builder.build()
        document = context.records.method.document
        return (ResultKey(document.id, document.measurand, None),)
    groups = _groups(structure)
    several = any(len(rows) > 1 for rows in groups.values())
    ResultTable(context, operations, equations, structure, PORTION_RESULTS if several else RESULTS).build()
    if several:
        _build_means(context, equations.result, structure, groups)
    return tuple(
        ResultKey(sample, line[0], line[1] or None, tuple(structure.results[row].portion for row in rows))
        for (sample, line), rows in groups.items()
    )


def _groups(structure: Structure) -> dict[tuple[str, tuple[str, str]], list[int]]:
    """Rows of portion results by sample and line, in the order of the samples table."""
    groups: dict[tuple[str, tuple[str, str]], list[int]] = {}
    for row, result in enumerate(structure.results):
        sample = structure.portions[result.portion].sample
        groups.setdefault((sample, result.line), []).append(row)
    order = {sample: number for number, sample in enumerate(dict.fromkeys(p.sample for p in structure.portions))}
    lines = {line: number for number, line in enumerate(structure.lines)}
    return dict(sorted(groups.items(), key=lambda item: (order[item[0][0]], lines[item[0][1]])))


def _build_means(
    context: Context,
    result: Definition,
    structure: Structure,
    groups: dict[tuple[str, tuple[str, str]], list[int]],
) -> None:
    """Mean of n independent portions: what portions have of their own falls by the root of n, what they share does
    not (both follow from the law of propagation)."""
    keys = list(groups)
    table = TableBuilder(RESULTS, "Results", len(keys), context.shared)
    table.label(SAMPLE, "sample", [sample for sample, _ in keys])
    table.label(ANALYTE, "analyte", [line[0] for _, line in keys])
    table.label(LINE, "line", [line[1] for _, line in keys])
    most = max(len(rows) for rows in groups.values())
    n = table.given("portions averaged", "portions averaged", "", [len(rows) for rows in groups.values()])
    total: Expression = ZERO
    statuses: list[Expression] = []
    ranges: list[Expression] = []
    recoveries: list[Expression] = []
    limited = RECOVERY in context.tables[PORTION_RESULTS].by_name
    for number in range(most):
        rows = [row[number] if number < len(row) else -1 for row in groups.values()]
        total = total + table.pick(f"{result.name} of portion {number + 1}", PORTION_RESULTS, result.name, rows)
        statuses.append(table.pick(f"status of portion {number + 1}", PORTION_RESULTS, STATUS, rows))
        ranges.append(table.pick(f"range of portion {number + 1}", PORTION_RESULTS, RANGE, rows))
        if limited:
            recoveries.append(table.pick(f"internal standard of {number + 1}", PORTION_RESULTS, RECOVERY, rows))
    table.formula(result.name, result.name, result.unit, total / n, "mean of the portions")
    table.formula(STATUS, USABLE, "", _fold("larger", statuses))
    clause = "a portion below goes before one above"
    table.formula(RANGE, "outside the calibrated range (-1 below, 1 above)", "", _worst(ranges), clause)
    if limited:
        table.formula(RECOVERY, "internal standard (-1 below, 1 above its limits)", "", _worst(recoveries), clause)
    if MINIMUM in context.tables[PORTION_RESULTS].by_name:
        below: list[Expression] = []
        for number in range(most):
            rows = [row[number] if number < len(row) else -1 for row in groups.values()]
            below.append(table.pick(f"minimum of {number + 1}", PORTION_RESULTS, MINIMUM, rows))
        table.formula(MINIMUM, "portions below a minimum mass", "", _fold("add", below))
    context.tables[RESULTS] = table.build()


def _worst(places: Sequence[Expression]) -> Expression:
    return apply("if_less", _fold("smaller", places), 0, -1, _fold("larger", places))


def _fold(operation: str, parts: Sequence[Expression]) -> Expression:
    total = parts[0]
    for part in parts[1:]:
        total = apply(operation, total, part)
    return total
