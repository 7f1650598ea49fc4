"""Findings on recovery that only numbers can show: a significant one taken as 1, and studies that disagree."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ubudget.bench.assembly import Assembly
from ubudget.bench.recovery import RECOVERIES
from ubudget.bench.recovery_studies import STUDIES
from ubudget.quantity.graph import Pick
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding
from ubudget.records.recovery import NOT_SIGNIFICANT, Recovery

FURTHEST = 2.0
"""Differences of two means above this many combined standard uncertainties are significant (ERM Application Note 1)."""


def recovery_numbers_findings(assembly: Assembly, numbers: Numbers) -> Iterator[Finding]:
    if RECOVERIES in assembly.graph.tables:
        yield from _significant(assembly, numbers)
        yield from _disagreeing(assembly, numbers)


def _significant(assembly: Assembly, numbers: Numbers) -> Iterator[Finding]:
    table = assembly.graph.tables[RECOVERIES]
    marks, R, t = (numbers.column(RECOVERIES, name) for name in ("significant", "R", "t"))
    rows = zip(table.texts("symbol"), table.texts("applies"), table.texts("treatment"), strict=True)
    for row, (symbol, applies, treatment) in enumerate(rows):
        if treatment == NOT_SIGNIFICANT and marks[row] > 0:
            yield Finding(
                "attend",
                assembly.records.file("method"),
                f"symbol {symbol} ({applies})",
                f'"{NOT_SIGNIFICANT}", although R = {R[row]:.4g} differs from 1 by {t[row]:.3g} u(R)',
                "a recovery that does not differ significantly from 1",
                'use "corrected", or "uncorrected, widened"',
            )


def _disagreeing(assembly: Assembly, numbers: Numbers) -> Iterator[Finding]:
    """Studies averaged as if they told of the same recovery."""
    table = assembly.graph.tables[RECOVERIES]
    if STUDIES not in assembly.graph.tables:
        return
    R, u = numbers.column(STUDIES, "R"), numbers.column(STUDIES, "u(R)")
    told: set[tuple[int, int]] = set()
    for row, symbol in enumerate(table.texts("symbol")):
        operation = assembly.records.method.symbols[symbol]
        if not isinstance(operation, Recovery) or operation.combine != "weighted mean":
            continue
        picks = [pick for name, pick in table.references.items() if name.startswith("R of study")]
        own = [int(pick.rows[row]) for pick in picks if isinstance(pick, Pick) and pick.rows[row] >= 0]
        for place, first in enumerate(own):
            for second in own[place + 1 :]:
                apart = abs(R[first] - R[second]) / math.hypot(u[first], u[second])
                if apart > FURTHEST and (first, second) not in told:
                    told.add((first, second))
                    yield Finding(
                        "attend",
                        assembly.records.file("method"),
                        f"symbol {symbol}",
                        f"recoveries of {R[first]:.4g} and {R[second]:.4g} averaged, {apart:.3g} u apart",
                        f"studies that agree within {FURTHEST:g} u of their difference",
                        "find out why they differ, or use one of them",
                    )
