"""The table of a statement: value and U in columns of their own, one line for each result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ubudget.evaluation.evaluate import Result
from ubudget.pages.figures import unit_text
from ubudget.pages.listing import TextColumn, table_lines, wrapped
from ubudget.pages.number_forms import at_place, digits_of, marked, relative, reported_pair, text
from ubudget.pages.wording import NOT_AVAILABLE
from ubudget.records.statement_form import StatementForm

NUMBER = 20
"""Characters of a text in place of a number, beyond which it goes on in the next line."""


@dataclass(frozen=True)
class Figures:
    """The cells of one result."""

    value: str
    uncertainty: str = ""
    power: str = ""


def statement_table(
    results: Sequence[Result], factors: Sequence[str], form: StatementForm, digits: int, width: int
) -> list[str]:
    """Heading, rule, a line for each result with its factor k, and the notes on them below."""
    figures = [figures_of(result, form, digits) for result in results]
    notes = list(dict.fromkeys(flag for result in results for flag in result.flags))
    columns = [
        TextColumn("sample", [result.sample for result in results]),
        TextColumn("analyte", [result.analyte for result in results]),
        TextColumn("line", [result.line or "" for result in results]),
        TextColumn("value", [each.value for each in figures], "right", NUMBER),
        TextColumn(
            "U" if form.uncertainty == "absolute" else "U, % of value",
            [each.uncertainty for each in figures],
            "right",
        ),
        TextColumn("power", [each.power for each in figures]),
        TextColumn("unit", ["" if result.unit == "1" else result.unit for result in results]),
        TextColumn(
            "k", [k if each.uncertainty else "" for each, k in zip(figures, factors, strict=True)], side="right"
        ),
        TextColumn("note", [", ".join(str(notes.index(flag) + 1) for flag in result.flags) for result in results]),
    ]
    always = ("sample", "analyte", "value")
    lines = table_lines([c for c in columns if c.heading in always or any(c.cells)], width=width)
    if notes:
        lines.append("")
    for number, note in enumerate(notes, start=1):
        lines += wrapped(note, f"{number}: ", "   ", width)
    return lines


def figures_of(result: Result, form: StatementForm, digits: int) -> Figures:
    """Value and U as they stand in the table; what is reported in place of value ± U stands in the column of values."""
    mark = form.decimal_mark
    if result.reported_as:
        return Figures(marked(result.reported_as, mark))
    if result.value is None or result.reported_value is None or result.reported_expanded_uncertainty is None:
        return Figures(NOT_AVAILABLE)
    if not result.expanded_uncertainty:
        return Figures(text(at_place(result.reported_value, result.decimals), mark), "none")
    numbers = reported_pair(result.reported_value, result.reported_expanded_uncertainty, result.decimals)
    shown = digits_of(numbers, form.notation, mark)
    if form.uncertainty == "absolute":
        return Figures(shown.value, shown.uncertainty, shown.power.strip())
    percent = relative(result.value, result.expanded_uncertainty, digits)
    if percent is None or not numbers.value:
        return Figures(shown.value, f"{shown.uncertainty}{shown.power}{unit_text(result.unit)}", shown.power.strip())
    return Figures(shown.value, text(percent, mark), shown.power.strip())
