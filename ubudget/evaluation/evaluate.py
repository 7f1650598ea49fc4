"""Evaluation of a run: results with u, effective degrees of freedom, k, U, flags and budget."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly, ResultKey, assemble
from ubudget.bench.minimum import MINIMUM
from ubudget.bench.result_table import RANGE, RECOVERY, STATUS
from ubudget.evaluation.checks import numeric_findings
from ubudget.evaluation.coverage import (
    DECIMALS,
    EFFECTIVE_DOF,
    EXPANDED,
    FACTOR,
    REPORTED,
    REPORTED_U,
    STANDARD,
    cover,
)
from ubudget.evaluation.propagation import CovarianceSlot, Propagated, Slot, propagate
from ubudget.evaluation.traceability_findings import traceability_findings
from ubudget.quantity.graph import INFINITE_DOF, Array, Graph
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Records

if TYPE_CHECKING:
    from uncertainties.core import AffineScalarFunc

FEW_DOF = 10
"""Below these effective degrees of freedom a fixed k covers less than it says (GUM 6.3.3, G.4)."""


MINIMUM_WORDS = "test portion below the minimum sample weight of its balance"
RECOVERY_WORDS = {-1: "internal standard below its limits", 1: "internal standard above its limits"}


@dataclass(frozen=True)
class BudgetRow:
    """One input quantity of one result (EA-4/02 4.2). For a covariance, contribution is a variance and estimate,
    u and c are None."""

    symbol: str
    quantity: str
    group: str
    estimate: float | None
    unit: str
    standard_uncertainty: float | None
    evaluation: str
    distribution: str
    degrees_of_freedom: float | None
    """None = infinite."""
    sensitivity_coefficient: float | None
    contribution: float
    share: float
    source: str


@dataclass(frozen=True)
class Result:
    """One reported result; numbers are unrounded unless they say so. `value` None = cannot be computed, see flags."""

    sample: str
    analyte: str
    line: str | None
    value: float | None
    unit: str
    measurand: str
    basis: str
    standard_uncertainty: float | None
    effective_degrees_of_freedom: float | None
    coverage_factor: float | None
    coverage_probability: float
    expanded_uncertainty: float | None
    decimals: int
    reported_value: float | None
    reported_expanded_uncertainty: float | None
    flags: tuple[str, ...]
    budget: tuple[BudgetRow, ...]


@dataclass(frozen=True, eq=False)
class Evaluation:
    """An evaluated run: the full graph with its numbers, and views of them by result."""

    records: Records
    assembly: Assembly
    propagated: Propagated
    graph: Graph
    numbers: Numbers
    findings: tuple[Finding, ...]

    @property
    def slots(self) -> tuple[Slot, ...]:
        return self.propagated.slots

    @property
    def keys(self) -> tuple[ResultKey, ...]:
        return self.assembly.keys

    def column(self, name: str, table: str = RESULTS) -> Array:
        return self.numbers.column(table, name)

    @cached_property
    def results(self) -> tuple[Result, ...]:
        return tuple(self._result(row) for row in range(len(self.keys)))

    @cached_property
    def flags(self) -> tuple[tuple[str, ...], ...]:
        """What a person must look at, by result."""
        return tuple(self._flags(row) for row in range(len(self.keys)))

    def usable(self, row: int) -> bool:
        """Whether a result can be calculated: its data suffice, and its equation has a finite value and u."""
        figures = (self.column(self.assembly.value)[row], self.column(STANDARD)[row])
        return int(self.column(STATUS)[row]) == 0 and bool(np.isfinite(figures).all())

    def _flags(self, row: int) -> tuple[str, ...]:
        status = int(self.column(STATUS)[row])
        if status:
            return (f"{status_words(status)}; this result is not available",)
        if not self.usable(row):
            return ("the equation has no finite value; this result is not available",)
        found = []
        place = int(self.column(RANGE)[row])
        if place:
            found.append("above the highest standard" if place > 0 else "below the lowest standard")
        if RECOVERY in self.graph.tables[RESULTS].by_name and (outside := int(self.column(RECOVERY)[row])):
            found.append(RECOVERY_WORDS[outside])
        if MINIMUM in self.graph.tables[RESULTS].by_name and self.column(MINIMUM)[row] > 0:
            found.append(MINIMUM_WORDS)
        method = self.records.method
        nu = float(self.column(EFFECTIVE_DOF)[row])
        if method.coverage.rule == "fixed" and nu + 1e-6 < FEW_DOF:
            factor = float(_student(method.coverage.probability, nu))
            found.append(
                f"{math.floor(nu + 1e-6)} effective degrees of freedom under fixed k: "
                f"the t factor at {100 * method.coverage.probability:g} % is {factor:.2f}"
            )
        if nu + 1e-6 < 1:
            found.append("less than one effective degree of freedom")
        found += self._few_readings(row)
        return tuple(found)

    def _few_readings(self, row: int) -> list[str]:
        from ubudget.records.calibration import Calibration
        from ubudget.records.device_concentration import DeviceConcentration

        own = any(
            isinstance(operation, Calibration | DeviceConcentration) and operation.scatter == "own"
            for operation in self.records.method.symbols.values()
        )
        structure = self.assembly.structure
        if not own or structure is None:
            return []
        n = self.column("n", "measured lines")
        key = self.keys[row]
        rows = [
            result.measured
            for result in structure.results
            if result.portion in key.portions and result.line == (key.analyte, key.line or "")
        ]
        fewest = int(min(n[measured] for measured in rows))
        return [f"own scatter from {fewest} readings (four or more are better)"] if fewest < 4 else []

    def _result(self, row: int) -> Result:
        method = self.records.method
        document, key = method.document, self.keys[row]
        usable = self.usable(row)

        def number(name: str) -> float | None:
            value = float(self.column(name)[row])
            return value if usable and math.isfinite(value) else None

        nu = number(EFFECTIVE_DOF)
        coverage = method.coverage
        return Result(
            key.sample,
            key.analyte,
            key.line,
            number(self.assembly.value),
            document.unit or "1",
            document.measurand,
            document.basis,
            number(STANDARD),
            None if nu is None or nu >= INFINITE_DOF / 10 else nu,
            number(FACTOR),
            coverage.probability,
            number(EXPANDED),
            int(self.column(DECIMALS)[row]) if usable else 0,
            number(REPORTED),
            number(REPORTED_U),
            self.flags[row],
            self.budget(row) if usable else (),
        )

    def budget(self, row: int) -> tuple[BudgetRow, ...]:
        """The budget of one result, in the order of its slots; covariances last."""
        variance = float(self.column(STANDARD)[row]) ** 2
        rows = [self._budget_row(slot, row, variance) for slot in self.slots if slot.rows[row] >= 0]
        rows += [
            self._covariance_row(covariance, row, variance)
            for covariance in self.propagated.covariances
            if covariance.rows[row] >= 0
        ]
        return tuple(rows)

    def items_of(self, row: int) -> tuple[tuple[str, ...], ...]:
        """Register items on which each line of a result's budget rests; covariances, which come last, have none."""
        return tuple(
            self.graph.tables[slot.table].leaf_of[slot.column].traits[int(slot.rows[row])].items
            for slot in self.slots
            if slot.rows[row] >= 0
        )

    def _budget_row(self, slot: Slot, row: int, variance: float) -> BudgetRow:
        table = self.graph.tables[slot.table]
        leaf = table.leaf_of[slot.column]
        member = int(slot.rows[row])
        trait = leaf.traits[member]
        column = table.by_name[slot.column]
        dof = None if leaf.dof is None else float(self.column(leaf.dof, slot.table)[member])
        contribution = float(self.column(slot.contribution)[row])
        return BudgetRow(
            slot.symbol,
            trait.quantity,
            trait.group,
            float(self.column(slot.column, slot.table)[member]),
            unit_of_leaf(self.graph, slot, member) or getattr(column, "unit", ""),
            float(self.column(leaf.u, slot.table)[member]),
            trait.evaluation,
            trait.distribution,
            None if dof is None or dof >= INFINITE_DOF / 10 else dof,
            float(self.column(slot.sensitivity)[row]) + 0.0,
            contribution + 0.0,
            contribution**2 / variance if variance > 0 else 0.0,
            trait.source,
        )

    def _covariance_row(self, covariance: CovarianceSlot, row: int, variance: float) -> BudgetRow:
        a, b = self.slots[covariance.a], self.slots[covariance.b]
        contribution = float(self.column(covariance.contribution)[row])
        return BudgetRow(
            f"cov({a.symbol}, {b.symbol})",
            f"covariance of {a.symbol} and {b.symbol}",
            covariance_group(a.group, b.group),
            None,
            f"({self.records.method.document.unit or '1'})²",
            None,
            "B",
            "joint",
            None,
            None,
            contribution,
            contribution / variance if variance > 0 else 0.0,
            "correlation of two estimates, GUM 5.2.2",
        )

    def as_ufloats(self) -> list[AffineScalarFunc]:
        """The results as numbers of the package `uncertainties`, correlated where they share input quantities."""
        from ubudget.evaluation.exchange import results_as_ufloats

        return results_as_ufloats(self.propagated, self.numbers)


def covariance_group(a: str, b: str) -> str:
    """Budget group of a covariance."""
    return a if a == b else "correlation"


def unit_of_leaf(graph: Graph, slot: Slot, member: int) -> str:
    """Unit of an input quantity: of its column, or of its row where a table mixes units."""
    column = graph.tables[slot.table].by_name.get("unit")
    values = getattr(column, "values", None)
    if values is not None and slot.column == "estimate":
        return str(values[member])
    return getattr(graph.tables[slot.table].by_name[slot.column], "unit", "") or "1"


STATUS_WORDS = {
    1: "no reading left",
    2: "no concentration on the curve gives this reading",
    4: "the rule of weights gives no weight for this reading",
    6: "no concentration on the curve and no weight for this reading",
    10: "too few standards' readings for the line",
    20: "all standards at one concentration",
    30: "the calibration curve has no slope",
    40: "the calibration curve turns within its range",
    50: "the calibration curve has a pole in or near its range",
    60: "the calibration curve has not converged",
    70: "the readings do not rise with the addition",
    80: "the rule of weights gives no weight for a standard",
    100: "no procedural blank left",
    1000: "no concentration of an interferent",
}


def status_words(status: int) -> str:
    """A status in words; several at once are joined."""
    parts = []
    for unit in (1000, 100, 10, 1):
        digit = status // unit % 10
        if digit:
            parts.append(STATUS_WORDS[digit * unit])
    return "; ".join(parts)


def _student(probability: float, nu: float) -> Array:
    from ubudget.quantity.operations import TABLE

    result: Array = np.asarray(
        TABLE["student"].numbers(np.asarray(probability), np.asarray(max(1.0, math.floor(nu + 1e-6))))
    )
    return result


def evaluate(records: Records) -> tuple[Evaluation | None, list[Finding]]:
    """The evaluation of records, and all findings; None where a finding stops the work."""
    findings = list(records.findings)
    assembly, found = assemble(records)
    findings += found
    if assembly is None or stops(findings):
        return None, findings
    method = records.method
    propagated = propagate(assembly.graph, RESULTS, assembly.value)
    graph = cover(propagated, method.document.unit, method.coverage, method.rounding)
    numbers = Numbers(graph)
    findings += numeric_findings(assembly, numbers)
    findings += traceability_findings(records, assembly.graph)
    if stops(findings):
        return None, findings
    evaluation = Evaluation(records, assembly, propagated, graph, numbers, tuple(findings))
    return evaluation, findings
