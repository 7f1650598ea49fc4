"""Reported results as CSV for a laboratory information management system: one row a result (RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from decimal import Decimal

from ubudget.errors import UbudgetError
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.number_forms import marked, text
from ubudget.pages.stated_results import Origin, StatedResult, origin_of, stated_results
from ubudget.records.statement_form import DecimalMark

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet program may take a text that begins with one of these for a formula (common practice, no source)."""

_TEXTS: dict[str, Callable[[StatedResult, Origin], str | None]] = {
    "sample": lambda stated, origin: stated.result.sample,
    "analyte": lambda stated, origin: stated.result.analyte,
    "line": lambda stated, origin: stated.result.line,
    "reported_as": lambda stated, origin: stated.result.reported_as,
    "unit": lambda stated, origin: stated.result.unit,
    "measurand": lambda stated, origin: stated.result.measurand,
    "basis": lambda stated, origin: stated.result.basis,
    "flags": lambda stated, origin: "; ".join(stated.result.flags),
    "reference_material": lambda stated, origin: stated.reference_material,
    "not_included": lambda stated, origin: origin.not_included,
    "method": lambda stated, origin: origin.method,
    "method_version": lambda stated, origin: origin.version,
    "run": lambda stated, origin: origin.run,
    "date": lambda stated, origin: origin.date,
}
_NUMBERS: dict[str, Callable[[StatedResult], Decimal | None]] = {
    "reported_value": lambda stated: stated.value,
    "reported_expanded_uncertainty": lambda stated: stated.expanded,
    "coverage_factor": lambda stated: stated.factor,
    "coverage_probability": lambda stated: stated.probability if stated.expanded is not None else None,
}
COLUMNS = (
    "sample", "analyte", "line", "reported_value", "reported_expanded_uncertainty", "reported_as", "unit",
    "coverage_factor", "coverage_probability", "measurand", "basis", "flags", "reference_material", "not_included",
    "method", "method_version", "run", "date",
)  # fmt: skip


def statement_csv(evaluation: Evaluation, mark: DecimalMark = "point", separator: str | None = None) -> str:
    """Heading and one row a result; numbers as reported, trailing zeros kept, without power of ten; what is not
    reported stays empty. Without `separator` a comma parts the fields, or with a decimal comma a semicolon.

    A text that a spreadsheet program could take for a formula has an apostrophe before it; numbers have none. Raises
    `UbudgetError` for an unknown separator."""
    name = separator or ("semicolon" if mark == "comma" else "comma")
    if name not in SEPARATORS:
        raise UbudgetError(f"--separator: found {name}; accepted: {', '.join(SEPARATORS)}; choose one of them")
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=SEPARATORS[name], lineterminator="\r\n")
    writer.writerow(COLUMNS)
    origin = origin_of(evaluation)
    for stated in stated_results(evaluation):
        writer.writerow([_cell(column, stated, origin, mark) for column in COLUMNS])
    return stream.getvalue()


def safe_text(words: str) -> str:
    """A text that no spreadsheet program takes for a formula."""
    return f"'{words}" if words.startswith(_FORMULA_SIGNS) else words


def _cell(column: str, stated: StatedResult, origin: Origin, mark: DecimalMark) -> str:
    if column in _NUMBERS:
        number = _NUMBERS[column](stated)
        return "" if number is None else text(number, mark)
    words = _TEXTS[column](stated, origin) or ""
    return safe_text(marked(words, mark) if column == "reported_as" else words)
