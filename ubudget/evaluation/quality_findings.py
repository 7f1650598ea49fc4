"""Findings on the checks of a run: each that lies outside the limits which the method sets."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.bench.assembly import Assembly
from ubudget.bench.quality import CHECKS, COUNT, OF_LINES, OUTSIDE
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding


def rows_of_checks(assembly: Assembly, row: int) -> list[int]:
    """Rows of the table `quality of lines` for a result: that of its line, or of the lines that it is made from."""
    table = assembly.graph.tables.get(OF_LINES)
    if table is None:
        return []
    key = assembly.keys[row]
    own = [(key.analyte, line) for line in assembly.lines_of(row)] or [(key.analyte, key.line or "")]
    lines = assembly.derived[row].components if row in assembly.derived else own
    known = list(zip(table.texts("analyte"), table.texts("line"), strict=True))
    return [known.index(line) for line in lines if line in known]


def outside_words(count: int) -> str:
    return f"{count} of the line's checks outside the limits of the method"


def line_flag(assembly: Assembly, numbers: Numbers, row: int) -> str | None:
    """What a result says of the checks of its line."""
    count = sum(int(numbers.column(OF_LINES, COUNT)[line]) for line in rows_of_checks(assembly, row))
    return outside_words(count) if count else None


def quality_number_findings(assembly: Assembly, numbers: Numbers) -> Iterator[Finding]:
    table = assembly.graph.tables.get(CHECKS)
    if table is None:
        return
    figure, low, high, outside = (numbers.column(CHECKS, name) for name in ("figure", "low", "high", OUTSIDE))
    texts = [table.texts(name) for name in ("kind", "check", "analyte", "line", "of")]
    for row, (kind, words, analyte, line, unit) in enumerate(zip(*texts, strict=True)):
        if outside[row] > 0:
            name = "%" if unit == "%" else f" {unit}"
            limits = f"{low[row]:.6g} to {high[row]:.6g}{name}" if low[row] else f"at most {high[row]:.6g}{name}"
            yield Finding(
                "attend",
                assembly.records.file("run"),
                f"{kind} {words}, {' '.join(part for part in (analyte, line) if part)}",
                f"{figure[row]:.4g}{name}",
                limits,
                "find the cause; measure the line again, or report its results with the flag",
            )
