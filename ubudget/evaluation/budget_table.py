"""A budget as a table for a screen or a notebook: the columns of EA-4/02 Table 4.1, and shares."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.evaluate import Result

HEADINGS = ("quantity", "estimate", "unit", "u", "distribution", "ν", "c", "c·u", "share")
TEXTS = {0, 2, 4}
"""Columns that hold text; the others are numbers, set to the right."""


def text_table(equation: str, conversion_factor: float, result: Result) -> str:
    """Equation, table and reported result as lines of text."""
    table = [HEADINGS, *(_cells(row) for row in result.budget)]
    widths = [max(len(line[place]) for line in table) for place in range(len(HEADINGS))]
    lines = [
        "  ".join(
            cell.ljust(width) if place in TEXTS else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in table
    ]
    rule = "-" * max(len(line) for line in lines)
    return "\n".join(
        [
            *_above(equation, conversion_factor, result),
            rule,
            lines[0],
            rule,
            *lines[1:],
            rule,
            *_below(result),
        ]
    )


def html_table(equation: str, conversion_factor: float, result: Result) -> str:
    """The same as a small table of HTML; every text is escaped."""
    head = "".join(f"<th>{escape(heading)}</th>" for heading in HEADINGS)
    body = "".join(_html_row(_cells(row)) for row in result.budget)
    above = "<br>".join(escape(line) for line in _above(equation, conversion_factor, result))
    below = "<br>".join(escape(line) for line in _below(result))
    return f"<p>{above}</p><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table><p>{below}</p>"


def _html_row(cells: Sequence[str]) -> str:
    aligned = (
        f'<td style="text-align:{"left" if place in TEXTS else "right"}">{escape(cell)}</td>'
        for place, cell in enumerate(cells)
    )
    return f"<tr>{''.join(aligned)}</tr>"


def _cells(row: BudgetRow) -> tuple[str, ...]:
    return (
        row.symbol,
        _number(row.estimate, 8),
        row.unit,
        _number(row.standard_uncertainty, 3),
        row.distribution,
        "∞" if row.degrees_of_freedom is None and row.estimate is not None else _number(row.degrees_of_freedom, 4),
        _number(row.sensitivity_coefficient, 4),
        _number(row.contribution, 3),
        f"{100 * row.share:.1f} %",
    )


def _number(value: float | None, digits: int) -> str:
    return "" if value is None else f"{value:.{digits}g}"


def _above(equation: str, conversion_factor: float, result: Result) -> list[str]:
    if conversion_factor == 1:
        return [equation]
    return [equation, f"conversion factor to {result.unit}: {conversion_factor:.15g}"]


def _below(result: Result) -> list[str]:
    assert result.reported_value is not None and result.reported_expanded_uncertainty is not None
    places = max(result.decimals, 0)
    unit = "" if result.unit == "1" else f" {result.unit}"
    nu = result.effective_degrees_of_freedom
    u, k = _number(result.standard_uncertainty, 3), _number(result.coverage_factor, 3)
    reported = f"({result.reported_value:.{places}f} ± {result.reported_expanded_uncertainty:.{places}f}){unit}"
    return [
        f"u = {u}{unit}, effective degrees of freedom {'∞' if nu is None else _number(nu, 3)}, "
        f"k = {k} ({100 * result.coverage_probability:g} %)",
        reported,
        *result.flags,
    ]
