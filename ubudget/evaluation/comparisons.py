"""Which results are compared with which limits, and what stands against a statement before anything is calculated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ubudget.bench.assembly import Assembly
from ubudget.bench.cases import fits, specificity
from ubudget.evaluation.level_tables import Fitted, rows_by_result
from ubudget.records.run import Portion, Run
from ubudget.records.tolerance_limit import LIMITS_COLUMN, ToleranceLimit, limits_named
from ubudget.records.unit_comparison import in_unit

BASIS, UNIT, NOT_AVAILABLE, NO_UNCERTAINTY, NO_FUNCTION, EMPTY_ZONE, NOT_QUANTIFIED = range(1, 8)
REASONS = {
    BASIS: "the limit refers to another basis than the result",
    UNIT: "the unit of the limit does not convert to that of the result",
    NOT_AVAILABLE: "the result is not available",
    NO_UNCERTAINTY: "there is no standard uncertainty",
    NO_FUNCTION: "no level function holds at the limit",
    EMPTY_ZONE: "the guard bands overlap, the acceptance zone is empty",
    NOT_QUANTIFIED: "the quantification limit is above the limit",
}
"""Why nothing can be stated, by code."""


@dataclass(frozen=True)
class Comparison:
    """One result beside one limit."""

    result: int
    limit: int
    """Position among the limits of the method."""
    function: int
    """Row of the level function of the result; -1 = none."""
    factor: float
    """From the unit of the limit to that of the result."""
    reason: int
    """Why nothing can be stated, seen from the records; 0: nothing stands against it."""


def comparisons_of(assembly: Assembly, functions: list[Fitted]) -> list[Comparison]:
    """Each result of a client's sample with its limits: of each name the case drawn most narrowly.

    Where the samples table has a column `limits`, a sample is compared with those that it names alone. Lines from which
    one value is reported are not compared; their value is."""
    limits = assembly.records.method.tolerance_limits
    run = assembly.records.run
    portions = _first_portions(run) if run else {}
    chosen = any(LIMITS_COLUMN in one.columns for one in portions.values() if one)
    joined = {
        (key.sample, key.analyte, line) for row, key in enumerate(assembly.keys) for line in assembly.lines_of(row)
    }
    function_of = rows_by_result(functions)
    found = []
    for row, key in enumerate(assembly.keys):
        portion = portions.get(key.sample)
        if (portion and portion.kind != "sample") or (key.sample, key.analyte, key.line) in joined:
            continue
        named = limits_named(portion.columns.get(LIMITS_COLUMN)) or () if portion and chosen else None
        for number in _fitting(limits, key.analyte, key.line or "", portion.matrix if portion else ""):
            if named is None or limits[number].name in named:
                found.append(_compared(assembly, row, number, function_of.get(row, -1)))
    return found


def _first_portions(run: Run) -> dict[str, Portion | None]:
    """The first row of each sample."""
    portions: dict[str, Portion | None] = {}
    for portion in run.portions:
        portions.setdefault(portion.sample, portion)
    return portions


def main_unit(limit: ToleranceLimit) -> str:
    """The unit in which a limit is shown: that of the upper, where there are two."""
    amount = limit.upper or limit.lower
    assert amount is not None
    return amount.unit


def _fitting(limits: Sequence[ToleranceLimit], analyte: str, line: str, matrix: str) -> list[int]:
    narrowest: dict[str, int] = {}
    for number, limit in enumerate(limits):
        if fits(limit, analyte, line, matrix):
            known = narrowest.setdefault(limit.name, number)
            if specificity(limit) > specificity(limits[known]):
                narrowest[limit.name] = number
    return sorted(narrowest.values())


def _compared(assembly: Assembly, row: int, number: int, function: int) -> Comparison:
    document, limit = assembly.records.method.document, assembly.records.method.tolerance_limits[number]
    derived = assembly.derived.get(row)
    unit, basis = (derived.definition.unit, derived.definition.basis) if derived else (document.unit, document.basis)
    factor = in_unit(1.0, main_unit(limit), unit)
    reason = 0
    if limit.basis != basis:
        reason = BASIS
    elif factor is None:
        reason = UNIT
    elif limit.uncertainty == "at the limit" and function < 0:
        reason = NO_FUNCTION
    return Comparison(row, number, function, 1.0 if factor is None else factor, reason)
