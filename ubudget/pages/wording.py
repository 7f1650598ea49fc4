"""Short texts that sheets, statements and terminals share."""

from __future__ import annotations

from ubudget.evaluation.evaluate import Result

NOT_AVAILABLE = "not available"


def line_label(analyte: str, line: str | None) -> str:
    """Analyte with its line: `Cu 324.754`."""
    return f"{analyte} {line}" if line else analyte


def fixed(value: float, decimals: int) -> str:
    """A number with that many decimals; a negative number of decimals shows whole numbers."""
    text = f"{value:.{max(decimals, 0)}f}"
    return text[1:] if text.startswith("-") and not any(digit in text for digit in "123456789") else text


def interval_text(result: Result) -> str:
    """What is reported: `value ± U`, both rounded to the same place, or what stands in its place."""
    if result.reported_as:
        return result.reported_as
    if result.reported_value is None or result.reported_expanded_uncertainty is None:
        return NOT_AVAILABLE
    places = result.decimals
    return f"{fixed(result.reported_value, places)} ± {fixed(result.reported_expanded_uncertainty, places)}"


LONGEST_LITERAL = 255
"""Characters that spreadsheets take in one text of a formula."""


def text_in_formula(text: str) -> str:
    """A text as a formula writes it: quotes doubled, long texts in pieces."""
    pieces = [text[start : start + LONGEST_LITERAL] for start in range(0, len(text), LONGEST_LITERAL)] or [""]
    return "&".join('"' + piece.replace('"', '""') + '"' for piece in pieces)
