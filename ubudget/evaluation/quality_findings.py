"""Findings on the checks of a run: each that lies outside the limits which the method sets."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.bench.assembly import Assembly
from ubudget.bench.quality import CHECKS, COUNT, OF_LINES, OUTSIDE
from ubudget.quantity.graph import Graph
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding


def row_of_line(graph: Graph, analyte: str, line: str | None) -> int | None:
    """Row of the table `quality of lines`; None where no check of the line has a limit."""
    table = graph.tables.get(OF_LINES)
    keys = list(zip(table.texts("analyte"), table.texts("line"), strict=True)) if table else []
    return keys.index((analyte, line or "")) if (analyte, line or "") in keys else None


def outside_words(count: int) -> str:
    return f"{count} of the line's checks outside the limits of the method"


def line_flag(graph: Graph, numbers: Numbers, analyte: str, line: str | None) -> str | None:
    """What a result says of the checks of its line."""
    row = row_of_line(graph, analyte, line)
    count = 0 if row is None else int(numbers.column(OF_LINES, COUNT)[row])
    return outside_words(count) if count else None


def quality_number_findings(assembly: Assembly, numbers: Numbers) -> Iterator[Finding]:
    table = assembly.graph.tables.get(CHECKS)
    if table is None:
        return
    figure, low, high, outside = (numbers.column(CHECKS, name) for name in ("figure", "low", "high", OUTSIDE))
    texts = [table.texts(name) for name in ("kind", "check", "analyte", "line", "of")]
    for row, (kind, words, analyte, line, unit) in enumerate(zip(*texts, strict=True)):
        if outside[row] > 0:
            name = {"%": "%"}.get(unit, f" {unit}")
            limits = f"{low[row]:.6g} to {high[row]:.6g}{name}" if low[row] else f"at most {high[row]:.6g}{name}"
            yield Finding(
                "attend",
                assembly.records.file("run"),
                f"{kind} {words}, {' '.join(part for part in (analyte, line) if part)}",
                f"{figure[row]:.4g}{name}",
                limits,
                "find the cause; measure the line again, or report its results with the flag",
            )
