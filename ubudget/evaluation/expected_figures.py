"""Figures of an evaluation held against those that a source prints, and against a second calculation."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.records.expected import Expected, Figures

TOLERANCE = 1e-9
"""Relative difference allowed between two calculations from the same inputs."""
INDEPENDENT = (
    "value",
    "standard_uncertainty",
    "effective_degrees_of_freedom",
    "coverage_factor",
    "expanded_uncertainty",
)
By = Literal["printed", "recomputed", "independent"]


@dataclass(frozen=True)
class Comparison:
    """One figure; `expected` as the source has it, `obtained` None where the program gives none."""

    what: str
    by: By
    expected: str
    obtained: float | None
    difference: float | None
    allowed: float
    passed: bool


def printed_limits(printed: str) -> tuple[Decimal, Decimal]:
    """The printed number and half a unit of its last digit."""
    shown = Decimal(printed)
    exponent = shown.as_tuple().exponent
    assert isinstance(exponent, int)
    return shown, Decimal(5).scaleb(exponent - 1)


def held_to_print(what: str, printed: str, obtained: float | None) -> Comparison:
    """Whether what is obtained lies within half a unit of the last printed digit, ends included."""
    shown, half = printed_limits(printed)
    if obtained is None:
        return Comparison(what, "printed", printed, None, None, float(half), False)
    # An end such as 16.65 has no exact binary form: it gives way by what a double cannot show.
    difference = Decimal(obtained) - shown if math.isfinite(obtained) else Decimal("Infinity")
    passed = abs(difference) <= half + abs(shown) * Decimal("1e-12")
    return Comparison(what, "printed", printed, obtained, float(difference), float(half), passed)


def held_to_number(
    what: str, by: By, expected: float, obtained: float | None, tolerance: float, size: float = 0.0
) -> Comparison:
    """`size` stands for the number where that is smaller, or zero: nothing can be told relative to zero."""
    allowed = tolerance * max(abs(expected), size)
    if obtained is None:
        return Comparison(what, by, repr(expected), None, None, allowed, False)
    difference = obtained - expected
    return Comparison(what, by, repr(expected), obtained, difference, allowed, abs(difference) <= allowed)


def compared_with_source(expected: Expected, evaluation: Evaluation) -> Iterator[Comparison]:
    """Raises `LookupError`, which names the result, where the evaluation has none of that name or several."""
    for figures in expected.of_results:
        result = _result(figures, evaluation)
        name = "/".join(part for part in (figures.sample, figures.analyte, figures.line) if part)
        yield from _of_result(f"{name}: " if name else "", figures, result, expected.tolerance)
    for table, columns in expected.columns.items():
        for column, printed in columns.items():
            yield held_to_print(column, printed, float(evaluation.column(column, table)[0]))


def compared_with_independent(second: Mapping[str, float | None], result: Result) -> Iterator[Comparison]:
    """The second calculation beside the library's: the five figures, and each sensitivity coefficient both name."""
    u = second["standard_uncertainty"] or 0.0
    for name in INDEPENDENT:
        yield _beside(name, second[name], getattr(result, name), u if name == "value" else 0.0)
    for row in result.budget:
        name = f"c({row.symbol})"
        if name in second and row.sensitivity_coefficient is not None:
            # A coefficient counts by its contribution to u.
            size = u / row.standard_uncertainty if row.standard_uncertainty else 0.0
            yield _beside(name, second[name], row.sensitivity_coefficient, size)


def _beside(name: str, second: float | None, first: float | None, size: float) -> Comparison:
    """Infinite degrees of freedom are `None` on both sides."""
    if second is None:
        return Comparison(name, "independent", "infinite", first, None, 0.0, first is None)
    return held_to_number(name, "independent", second, first, TOLERANCE, size)


def _of_result(prefix: str, figures: Figures, result: Result, tolerance: float) -> Iterator[Comparison]:
    for name, printed in figures.printed.items():
        yield held_to_print(prefix + name, printed, figure_of(result, name))
    for name, number in figures.recomputed.items():
        size = (result.standard_uncertainty or 0.0) if name in ("value", "reported_value") else 0.0
        yield held_to_number(prefix + name, "recomputed", number, figure_of(result, name), tolerance, size)
    rows = {row.symbol: row for row in result.budget}
    for symbol, printed in figures.contributions.items():
        row = rows.get(symbol)
        yield held_to_print(f"{prefix}|c|u({symbol})", printed, None if row is None else abs(row.contribution))
    for symbol, printed in figures.standard_uncertainties.items():
        yield held_to_print(f"{prefix}u({symbol})", printed, _of_row(rows, symbol, "standard_uncertainty"))
    for symbol, number in figures.degrees_of_freedom.items():
        obtained = _of_row(rows, symbol, "degrees_of_freedom")
        yield held_to_number(f"{prefix}ν({symbol})", "printed", number, obtained, 1e-12)


def _of_row(rows: Mapping[str, BudgetRow], symbol: str, attribute: str) -> float | None:
    value: float | None = getattr(rows.get(symbol), attribute, None)
    return value


def figure_of(result: Result, name: str) -> float | None:
    """A figure of a result by its name; two are made from others."""
    u, value = result.standard_uncertainty, result.value
    if name == "relative_standard_uncertainty":
        return None if u is None or not value else u / abs(value)
    if name == "combined_variance":
        return None if u is None else u**2
    figure: float | None = getattr(result, name)
    return figure


def _result(figures: Figures, evaluation: Evaluation) -> Result:
    asked = {name: getattr(figures, name) for name in ("sample", "analyte", "line") if getattr(figures, name)}
    fitting = [
        result
        for result in evaluation.results
        if all((getattr(result, name) or "") == text for name, text in asked.items())
    ]
    if len(fitting) != 1:
        raise LookupError(f"{'/'.join(asked.values()) or 'the only result'}: names {len(fitting)} results, not one")
    return fitting[0]
