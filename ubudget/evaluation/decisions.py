"""Decisions of an evaluation, read from its graph: by result, each limit with its figures."""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.evaluation.comparisons import NOT_AVAILABLE, REASONS, Comparison, comparisons_of
from ubudget.evaluation.decision_equations import FAIL, WORDS
from ubudget.evaluation.decision_sides import NAMES
from ubudget.evaluation.decision_tables import (
    CODE,
    DECISIONS,
    MET,
    PROBABILITY,
    QUANTIFICATION_MET,
    REASON,
    RISK,
    U_FOUND,
    U_MET,
    VALUE,
)
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.level_tables import functions_of
from ubudget.quantity.graph import INFINITE_DOF
from ubudget.records.tolerance_limit import ToleranceLimit


@dataclass(frozen=True)
class SideOfDecision:
    """Figures of one side, in the unit of the result."""

    limit: float
    standard_uncertainty: float
    expanded_uncertainty: float
    guard_band: float
    acceptance_limit: float
    rejection_limit: float


@dataclass(frozen=True)
class Decided:
    """The decision on one result by one limit."""

    result: int
    """Row of the result."""
    limit: ToleranceLimit
    code: int
    """0: no statement possible, else 1 pass, 2 conditional pass, 3 conditional fail, 4 fail."""
    reason: str
    """Why nothing can be stated; empty where something is."""
    value: float | None
    lower: SideOfDecision | None
    upper: SideOfDecision | None
    degrees_of_freedom: float | None
    """`None`: normal distribution."""
    probability: float | None
    risk: float | None
    """Probability that the decision is wrong: of a pass 1 - probability, of a fail the probability."""
    U_at_limit: float | None
    """In % of the limit, from the level function."""
    required_U: str
    """`met`, `not met`, `cannot be judged`; empty where nothing is required."""
    required_quantification_limit: str

    @property
    def words(self) -> str:
        return WORDS[self.code]

    @property
    def needs_a_person(self) -> bool:
        """Whether it fails, or nothing can be stated."""
        return self.code in (0, FAIL)


def decisions_of(evaluation: Evaluation) -> list[list[Decided]]:
    """The decisions of each result, in the order of the limits of the method; an empty list where it has none."""
    decided: list[list[Decided]] = [[] for _ in evaluation.keys]
    if DECISIONS not in evaluation.graph.tables:
        return decided
    comparisons = comparisons_of(evaluation.assembly, functions_of(evaluation.assembly))
    for row, comparison in enumerate(comparisons):
        decided[comparison.result].append(_decided(evaluation, row, comparison))
    return decided


def _decided(evaluation: Evaluation, row: int, comparison: Comparison) -> Decided:
    table = evaluation.graph.tables[DECISIONS]
    limit = evaluation.records.method.tolerance_limits[comparison.limit]

    def number(column: str) -> float:
        return float(evaluation.column(column, DECISIONS)[row]) if column in table.by_name else 0.0

    def side(name: str) -> SideOfDecision | None:
        if getattr(limit, name) is None or comparison.reason:
            return None
        parts = ("limit", "u", "U", "w", "acceptance", "rejection")
        return SideOfDecision(*(number(f"{name} {part}") for part in parts))

    # An equation without a finite value shows an error in its cell; here it is as good as missing.
    usable = evaluation.usable(comparison.result)
    reason = int(number(REASON)) if usable or comparison.reason else NOT_AVAILABLE
    stated, dof = reason == 0, number("ν")
    known = {name: side(name) if stated else None for name in NAMES.values()}
    return Decided(
        comparison.result,
        limit,
        int(number(CODE)) if stated else 0,
        REASONS[reason] if reason else "",
        number(VALUE) if usable else None,
        known["lower"],
        known["upper"],
        None if dof >= INFINITE_DOF / 10 else dof,
        number(PROBABILITY) if stated else None,
        number(RISK) if stated else None,
        number(U_FOUND) if int(number(U_MET)) in (1, 2) else None,
        MET[int(number(U_MET))],
        MET[int(number(QUANTIFICATION_MET))],
    )
