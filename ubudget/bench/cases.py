"""Which set of parameters of the method applies to a result: by analyte, line, matrix and level band."""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.records.case import Case, Selector


def specificity(case: Selector) -> int:
    """How narrowly a case is drawn; the narrowest that fits applies."""
    return 4 * bool(case.line) + 2 * bool(case.matrix) + bool(case.analyte)


def fits(case: Selector, analyte: str, line: str, matrix: str) -> bool:
    return (
        case.analyte in ("", analyte) and case.line in ("", line, f"{analyte} {line}") and case.matrix in ("", matrix)
    )


def best_rows(cases: Sequence[Selector], analyte: str, line: str, matrix: str) -> list[int]:
    """Rows of the cases that apply: one without bands, or all bands of the narrowest selector by rising level."""
    fitting = [row for row, case in enumerate(cases) if fits(case, analyte, line, matrix)]
    if not fitting:
        return []
    narrowest = max(specificity(cases[row]) for row in fitting)
    chosen = [row for row in fitting if specificity(cases[row]) == narrowest]
    banded = [row for row in chosen if cases[row].banded]
    if not banded:
        return chosen[-1:]
    return sorted(banded, key=lambda row: lower_end(cases[row]))


def lower_end(case: Selector) -> float:
    return case.level_from.value if isinstance(case, Case) and case.level_from else 0.0
