"""The results: the method's equation for each portion and line, and the mean where a sample has several portions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import USABLE, Context
from ubudget.bench.derived import DerivedRow, Source, add_derived
from ubudget.bench.equation import Definition, Equations
from ubudget.bench.folding import WORST_CLAUSE, fold, worst
from ubudget.bench.minimum import MINIMUM
from ubudget.bench.reported import VALUE, add_reported
from ubudget.bench.result_keys import ResultKey
from ubudget.bench.result_table import (
    ANALYTE,
    LINE,
    LINES_TITLE,
    PORTION_RESULTS,
    RANGE,
    RECOVERY,
    RESULTS,
    SAMPLE,
    STATUS,
    ResultTable,
)
from ubudget.bench.several_lines import add_reported_values, lines_to_report
from ubudget.bench.structure import Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.bench.validation_values import add_validated, build_validation
from ubudget.quantity.expression import ZERO, Expression
from ubudget.records.finding import stops

LINE_RESULTS = "line results"
"""Results of the lines, where the reported ones are more than these."""


@dataclass(frozen=True)
class Reported:
    """The rows of the table `results`: their keys, the column of their values and, by row, what is derived."""

    keys: tuple[ResultKey, ...]
    column: str
    derived: Mapping[int, DerivedRow] = field(default_factory=dict)


def add_reported_results(
    context: Context, operations: SymbolRows, equations: Equations, structure: Structure | None
) -> Reported:
    """The table `results` with all beneath it: results of the lines, and derived results where the method has them."""
    column = equations.result.name
    method = context.records.method
    validated = method.validation is not None and method.validation.reported
    if structure is None or not (method.derived or method.several_lines or validated):
        keys = add_results(context, operations, equations, structure)
        build_validation(context)
        return Reported(keys, column)
    keys = add_results(context, operations, equations, structure, LINE_RESULTS)
    if stops(context.findings):
        return Reported(keys, column)
    sources: tuple[Source, ...]
    lines = Source(LINE_RESULTS, column, equations.result.unit, keys, (None,) * len(keys))
    quantities = PORTION_RESULTS if PORTION_RESULTS in context.tables else LINE_RESULTS
    sources = (add_validated(context, structure, lines),) if validated else (lines,)
    build_validation(context)
    if lines_to_report(context, lines):
        sources = (lines, add_reported_values(context, lines))
    sources = (*sources, *add_derived(context, structure, sources, quantities))
    add_reported(context, sources)
    rows = [row for source in sources for row in source.derived]
    derived = {number: row for number, row in enumerate(rows) if row is not None}
    return Reported(tuple(key for source in sources for key in source.keys), VALUE, derived)


def add_results(
    context: Context,
    operations: SymbolRows,
    equations: Equations,
    structure: Structure | None,
    name: str = RESULTS,
) -> tuple[ResultKey, ...]:
    """Tables `portion results` (only where a sample has several portions) and `name`; gives the keys of the latter's
    rows."""
    if structure is None:
        builder = ResultTable(context, operations, equations, None, RESULTS)
        builder.build()
        document = context.records.method.document
        return (ResultKey(document.id, document.measurand, None),)
    groups = _groups(structure)
    several = any(len(rows) > 1 for rows in groups.values())
    ResultTable(context, operations, equations, structure, PORTION_RESULTS if several else name).build()
    if several:
        _build_means(context, equations.result, structure, groups, name)
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
    name: str,
) -> None:
    """Mean of n independent portions: what portions have of their own falls by the root of n, what they share does
    not (both follow from the law of propagation)."""
    keys = list(groups)
    table = TableBuilder(name, "Results" if name == RESULTS else LINES_TITLE, len(keys), context.shared)
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
    table.formula(STATUS, USABLE, "", fold("larger", statuses))
    clause = WORST_CLAUSE
    table.formula(RANGE, "outside the calibrated range (-1 below, 1 above)", "", worst(ranges), clause)
    if limited:
        table.formula(RECOVERY, "internal standard (-1 below, 1 above its limits)", "", worst(recoveries), clause)
    if MINIMUM in context.tables[PORTION_RESULTS].by_name:
        below: list[Expression] = []
        for number in range(most):
            rows = [row[number] if number < len(row) else -1 for row in groups.values()]
            below.append(table.pick(f"minimum of {number + 1}", PORTION_RESULTS, MINIMUM, rows))
        table.formula(MINIMUM, "portions below a minimum mass", "", fold("add", below))
    context.tables[name] = table.build()
