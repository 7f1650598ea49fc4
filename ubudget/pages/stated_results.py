"""What a report says of each result, as facts for other programs: reported numbers, and all that belongs to them."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.pages.number_forms import at_place, rounded, significant_digits
from ubudget.pages.statement import factor, left_out, roles_of
from ubudget.records.method import Method


@dataclass(frozen=True)
class StatedResult:
    """One result as it is reported. Numbers hold their trailing zeros; those that are not reported are None."""

    result: Result
    value: Decimal | None
    """None where the result is not available, or where a text is reported in place of value ± U."""
    expanded: Decimal | None
    standard: Decimal | None
    """Standard uncertainty at the number of significant digits of U."""
    factor: Decimal | None
    """k as it is written."""
    probability: Decimal
    reference_material: str
    lines_measured: tuple[str, ...]

    @property
    def interval(self) -> tuple[Decimal, Decimal] | None:
        """Ends of the simulated coverage interval, rounded as the value is, where it stands behind U."""
        told = self.result.coverage_interval
        if told is None or self.value is None:
            return None
        return at_place(told.low, self.result.decimals), at_place(told.high, self.result.decimals)

    @property
    def significant_digits(self) -> int | None:
        """Of the value; None where it is rounded to zero."""
        return None if self.value is None else significant_digits(self.value) or None


def stated_results(evaluation: Evaluation) -> list[StatedResult]:
    """The results of a run as they are reported, in their order."""
    method = evaluation.records.method
    return [
        _stated(result, method, role.reference_material, tuple(line for line in role.lines if line))
        for result, role in zip(evaluation.results, roles_of(evaluation), strict=True)
    ]


@dataclass(frozen=True)
class Origin:
    """Where the results of a statement are from, and what their uncertainty leaves out."""

    method: str
    version: str
    run: str | None
    date: str | None
    not_included: str


def origin_of(evaluation: Evaluation) -> Origin:
    """Method and run of an evaluation; a method that stands alone has no run."""
    document, run = evaluation.records.method.document, evaluation.records.run
    return Origin(
        document.id,
        document.version,
        run.file.run.id if run else None,
        run.file.run.date.isoformat() if run else None,
        left_out(evaluation.records.method),
    )


def _stated(result: Result, method: Method, material: str, lines: tuple[str, ...]) -> StatedResult:
    value = expanded = standard = k = None
    if result.value is not None and result.reported_value is not None and not result.reported_as:
        value = at_place(result.reported_value, result.decimals)
        if result.expanded_uncertainty and result.reported_expanded_uncertainty:
            expanded = at_place(result.reported_expanded_uncertainty, result.decimals)
            standard = rounded(result.standard_uncertainty or 0.0, method.rounding.digits)
            k = None if result.coverage_factor is None else Decimal(factor(result, method.coverage))
    probability = Decimal(repr(result.coverage_probability))
    return StatedResult(result, value, expanded, standard, k, probability, material, lines)
