"""Short texts that sheets, statements and terminals share."""

from __future__ import annotations

from ubudget.evaluation.evaluate import Result
from ubudget.pages.figures import unit_text
from ubudget.pages.number_forms import marked, pair, relative, reported_pair, text
from ubudget.pages.statement_text import brackets, interval, interval_relative
from ubudget.records.statement_form import PLAIN, StatementForm

NOT_AVAILABLE = "not available"


def line_label(analyte: str, line: str | None) -> str:
    """Analyte with its line: `Cu 324.754`."""
    return f"{analyte} {line}" if line else analyte


def fixed(value: float, decimals: int) -> str:
    """A number with that many decimals; a negative number of decimals shows whole numbers."""
    text = f"{value:.{max(decimals, 0)}f}"
    return text[1:] if text.startswith("-") and not any(digit in text for digit in "123456789") else text


def interval_text(result: Result, form: StatementForm = PLAIN, digits: int = 2, unit: str = "") -> str:
    """What is reported: `value ± U`, both rounded to the same place, or what stands in its place.

    In another form as `form` has it: in brackets the standard uncertainty, to `digits` significant digits."""
    if result.reported_as:
        return marked(f"{result.reported_as}{unit_text(unit)}", form.decimal_mark)
    if result.value is None or result.reported_value is None or result.reported_expanded_uncertainty is None:
        return NOT_AVAILABLE
    numbers = reported_pair(result.reported_value, result.reported_expanded_uncertainty, result.decimals)
    if form.layout == "concise" and result.standard_uncertainty:
        return brackets(pair(result.value, result.standard_uncertainty, digits), form, unit)
    if form.uncertainty == "relative" and result.expanded_uncertainty:
        percent = relative(result.value, result.expanded_uncertainty, digits)
        if percent is not None and numbers.value:
            return interval_relative(numbers, text(percent, form.decimal_mark), form, unit)
    return interval(numbers, form, unit)


LONGEST_LITERAL = 255
"""Characters that spreadsheets take in one text of a formula."""


def text_in_formula(text: str) -> str:
    """A text as a formula writes it: quotes doubled, long texts in pieces."""
    pieces = [text[start : start + LONGEST_LITERAL] for start in range(0, len(text), LONGEST_LITERAL)] or [""]
    return "&".join('"' + piece.replace('"', '""') + '"' for piece in pieces)
