"""Agreement of an analyte's lines: uncertainties of their differences, the variances they do not share, findings."""

from __future__ import annotations

from collections import Counter

import numpy as np

from ubudget.bench.assembly import Assembly
from ubudget.bench.folding import APART
from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE
from ubudget.bench.results import LINE_RESULTS
from ubudget.bench.several_lines import (
    DIFFERENCE,
    LINE_PAIRS,
    RATIO,
    REPORTED_VALUES,
    U_DIFFERENCE,
    UNSHARED,
)
from ubudget.evaluation.paths import Draft
from ubudget.evaluation.propagation import Beforehand, CovarianceSlot, Slot
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Formula, Graph, Pick
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding
from ubudget.records.several_lines import WIDENED

NAMED = 5
"""Differences that a finding names before the others are only counted."""


def propagated_beforehand(graph: Graph, column: str) -> tuple[Beforehand, ...]:
    """What the reported values need before they are propagated themselves; `column` holds the results of the lines."""
    if REPORTED_VALUES not in graph.tables:
        return ()
    lines = Beforehand(LINE_RESULTS, column, _add_unshared)
    pairs = (Beforehand(LINE_PAIRS, DIFFERENCE, _add_u),) if LINE_PAIRS in graph.tables else ()
    return (lines, *pairs)


def _add_u(draft: Draft, table: str, slots: list[Slot], covariances: list[CovarianceSlot]) -> None:
    """u(d): what both lines share has met in one contribution already (GUM 5.2.2)."""
    variance: Expression = apply("sum_squares", *(Symbol(slot.contribution) for slot in slots)) if slots else Number(0)
    if covariances:
        terms = [Symbol(covariance.contribution) for covariance in covariances]
        variance = apply("larger", variance + apply("add_all", *terms), 0)
    column = Formula(U_DIFFERENCE, "u(d)", "", apply("sqrt", variance), "GUM 5.1.2 eq. 10, 5.2.2 eq. 16")
    draft.add_column(table, column)


def _add_unshared(draft: Draft, table: str, slots: list[Slot], covariances: list[CovarianceSlot]) -> None:
    home = draft.graph.tables[table]
    groups = list(zip(home.texts(SAMPLE), home.texts(ANALYTE), strict=True))
    uses = Counter(
        (groups[row], int(member)) for slot in slots for row, member in enumerate(slot.members) if member >= 0
    )
    parts: list[Expression] = []
    for slot in slots:
        own = [member >= 0 and uses[groups[row], int(member)] == 1 for row, member in enumerate(slot.members)]
        if any(own):
            rows = np.where(own, np.arange(home.size), -1)
            name = f"{slot.contribution} unshared"
            parts.append(draft.add_reference(table, name, Pick(table, slot.contribution, rows, 0.0)))
    variance: Expression = apply("sum_squares", *parts) if parts else Number(0)
    clause = "(c·u)² of what no other line of the analyte has"
    draft.add_column(table, Formula(UNSHARED, "unshared variance", "", variance, clause))


def agreement_findings(assembly: Assembly, numbers: Numbers) -> list[Finding]:
    """Lines that differ beyond what their uncertainties, correlations included, explain: told once."""
    rule, graph = assembly.records.method.several_lines, assembly.graph
    if rule is None or LINE_PAIRS not in graph.tables:
        return []
    home, pairs = graph.tables[REPORTED_VALUES], graph.tables[LINE_PAIRS]
    apart = {
        key
        for key, count in zip(
            zip(home.texts(SAMPLE), home.texts(ANALYTE), strict=True),
            numbers.column(REPORTED_VALUES, APART),
            strict=True,
        )
        if count > 0
    }
    ratio = numbers.column(LINE_PAIRS, RATIO)
    told = [
        f"{sample} {analyte} {lines} ({ratio[row]:.2g})"
        for row, (sample, analyte, lines) in enumerate(
            zip(pairs.texts(SAMPLE), pairs.texts(ANALYTE), pairs.texts(LINE), strict=True)
        )
        if (sample, analyte) in apart and ratio[row] > rule.limit
    ]
    if not told:
        return []
    more = f" and {len(told) - NAMED} more" if len(told) > NAMED else ""
    widened = rule.disagreement == WIDENED
    return [
        Finding(
            "note" if widened else "attend",
            assembly.records.file("readings"),
            "agreement of lines",
            f"lines that differ, with |d|/u(d): {', '.join(told[:NAMED])}{more}",
            f"|d|/u(d) of {rule.limit:g} or less, correlations included",
            "the difference is in U by the method's rule; look for an overlap or a blank of one line"
            if widened
            else "look for an overlap or a blank of one line; the value is that of the lines that agree with the first",
        )
    ]
