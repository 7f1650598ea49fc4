"""Evaluation of a run: results with u, effective degrees of freedom, k, U, flags and budget."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import TYPE_CHECKING

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly, ResultKey, assemble
from ubudget.bench.folding import APART
from ubudget.bench.minimum import MINIMUM
from ubudget.bench.result_table import RANGE, RECOVERY, STATUS
from ubudget.evaluation.both_routes import beforehand_of_lines
from ubudget.evaluation.budgets import BudgetRow, SlotReader, slot_reader
from ubudget.evaluation.checks import numeric_findings
from ubudget.evaluation.conclusions import conclude, conclusion_findings
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
from ubudget.evaluation.coverage_distribution import coverage_distribution
from ubudget.evaluation.few_readings import few_readings
from ubudget.evaluation.items_behind import slots_behind
from ubudget.evaluation.joined_words import LINES_WORDS
from ubudget.evaluation.line_agreement import agreement_findings, propagated_beforehand
from ubudget.evaluation.low_level_words import LowLevel, low_level, reported_text
from ubudget.evaluation.outlier_findings import outlier_findings
from ubudget.evaluation.propagation import CovarianceSlot, Propagated, Slot, propagate
from ubudget.evaluation.quality_findings import line_flag
from ubudget.evaluation.second_order import SecondOrder, second_order
from ubudget.evaluation.simulated_coverage import (
    NO_INTERVAL,
    CoverageInterval,
    coverage_interval,
    settings_findings,
    simulated_factors,
)
from ubudget.evaluation.status_words import status_words
from ubudget.evaluation.traceability_findings import traceability_findings
from ubudget.evaluation.uncertainty_findings import uncertainty_findings
from ubudget.evaluation.whose import whose
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
    budget_rows: Callable[[], tuple[BudgetRow, ...]] = field(repr=False, compare=False)
    """Makes the budget. A run of thousands of results has some hundred thousand rows, which nobody wants at once."""
    lines: tuple[tuple[str, str], ...] = ()
    """Analyte and line of the results that a derived one is calculated from; empty: its own."""
    reported_as: str = ""
    """What is reported in place of value ± U, such as `< 0.05`; empty: value ± U."""
    coverage_distribution: str = ""
    """The distribution that k is of; empty where the method fixes k."""
    coverage_interval: CoverageInterval | None = None
    """The simulated interval, where the method reports such intervals."""

    @property
    def budget(self) -> tuple[BudgetRow, ...]:
        """Input quantities in the order of the equation, covariances last; none where there is no value."""
        return self.budget_rows()


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

    @cached_property
    def slots_behind(self) -> tuple[Slot, ...]:
        """Input quantities of the values, where validation data state their uncertainty."""
        return slots_behind(self.assembly)

    @property
    def keys(self) -> tuple[ResultKey, ...]:
        return self.assembly.keys

    def column(self, name: str, table: str = RESULTS) -> Array:
        return self.numbers.column(table, name)

    @cached_property
    def results(self) -> tuple[Result, ...]:
        return tuple(self._result(row) for row in range(len(self.keys)))

    @cached_property
    def second_order(self) -> SecondOrder:
        """What terms of second order add, calculated when first asked for (GUM 5.1.2, note)."""
        return second_order(self.propagated, self.numbers, self.column(STANDARD), self.records.method.rounding.digits)

    @cached_property
    def flags(self) -> tuple[tuple[str, ...], ...]:
        """What a person must look at, by result."""
        return tuple(self._flags(row) for row in range(len(self.keys)))

    def unit(self, row: int) -> str:
        """Unit of a result as the method has it: its own of a derived one."""
        derived = self.assembly.derived.get(row)
        return derived.definition.unit if derived else self.records.method.document.unit

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
        checks = line_flag(self.assembly, self.numbers, row)
        found += [checks] if checks else []
        method = self.records.method
        if self.assembly.lines_told and self.column(APART)[row] > 0:
            found.append(LINES_WORDS)
        nu = float(self.column(EFFECTIVE_DOF)[row])
        if method.coverage.rule == "fixed" and nu + 1e-6 < FEW_DOF:
            factor = float(_student(method.coverage.probability, nu))
            found.append(
                f"{math.floor(nu + 1e-6)} effective degrees of freedom under fixed k: "
                f"the t factor at {100 * method.coverage.probability:g} % is {factor:.2f}"
            )
        if method.coverage.rule == "simulation" and coverage_interval(self.graph, self.numbers, method, row) is None:
            found.append(NO_INTERVAL)
        if nu + 1e-6 < 1:
            found.append("less than one effective degree of freedom")
        found += few_readings(self.assembly, self.numbers, row)
        return tuple(found)

    def _result(self, row: int) -> Result:
        method = self.records.method
        document, key = method.document, self.keys[row]
        derived = self.assembly.derived.get(row)
        usable = self.usable(row)

        def number(name: str) -> float | None:
            value = float(self.column(name)[row])
            return value if usable and math.isfinite(value) else None

        nu, k = number(EFFECTIVE_DOF), number(FACTOR)
        coverage = method.coverage
        interval = coverage_interval(self.graph, self.numbers, method, row) if usable else None
        decimals = int(self.column(DECIMALS)[row]) if usable else 0
        low = reported_text(self.assembly, self.graph, self.numbers, row, decimals) if usable else ""
        return Result(
            key.sample,
            key.analyte,
            key.line,
            number(self.assembly.value),
            self.unit(row) or "1",
            derived.definition.measurand if derived else document.measurand,
            derived.definition.basis if derived else document.basis,
            number(STANDARD),
            None if nu is None or nu >= INFINITE_DOF / 10 else nu,
            k if k or coverage.rule != "simulation" else None,
            coverage.probability,
            number(EXPANDED),
            decimals,
            number(REPORTED),
            number(REPORTED_U),
            self.flags[row],
            partial(self.budget, row) if usable else tuple,
            derived.components if derived else (),
            reported_as=low or (interval.text(decimals) if interval and interval.lopsided else ""),
            coverage_interval=None if low else interval,
            coverage_distribution=coverage_distribution(coverage, self.graph.tables[RESULTS], self.numbers, row),
        )

    def low_level(self, row: int) -> LowLevel | None:
        """Limits of a result near zero, its class, and what a rule makes of results below limits beneath it."""
        return low_level(self.assembly, self.graph, self.numbers, row) if self.usable(row) else None

    def budget(self, row: int) -> tuple[BudgetRow, ...]:
        """The budget of one result, in the order of its slots; covariances last."""
        variance = float(self.column(STANDARD)[row]) ** 2
        several = bool(row in self.assembly.derived or self.assembly.lines_of(row))
        rows = [
            reader.row(row, variance, self._whose(reader.slot, row) if several else "")
            for reader in self._readers
            if reader.slot.rows[row] >= 0
        ]
        rows += [
            self._covariance_row(covariance, row, variance)
            for covariance in self.propagated.covariances
            if covariance.rows[row] >= 0
        ]
        return tuple(rows)

    def _whose(self, slot: Slot, row: int) -> str:
        table = self.graph.tables[slot.table]
        return whose(table, table.leaf_of[slot.column], int(slot.rows[row]))

    @cached_property
    def _readers(self) -> tuple[SlotReader, ...]:
        return tuple(slot_reader(self.graph, self.numbers, RESULTS, slot) for slot in self.slots)

    def items_of(self, row: int) -> tuple[tuple[str, ...], ...]:
        """Register items on which each line of a result's budget rests; covariances, which come last, have none."""
        return tuple(items for _, items in self.items_by_slot(row))

    def items_by_slot(self, row: int) -> Iterator[tuple[Slot, tuple[str, ...]]]:
        """Each input quantity that a result has, with the register items on which it rests."""
        for reader in self._readers:
            member = reader.slot.rows[row]
            if member >= 0:
                yield reader.slot, reader.traits[member].items

    def _covariance_row(self, covariance: CovarianceSlot, row: int, variance: float) -> BudgetRow:
        a, b = self.slots[covariance.a], self.slots[covariance.b]
        contribution = float(self.column(covariance.contribution)[row])
        return BudgetRow(
            f"cov({a.symbol}, {b.symbol})",
            f"covariance of {a.symbol} and {b.symbol}",
            covariance_group(a.group, b.group),
            None,
            f"({self.unit(row) or '1'})²",
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
    findings += [*found, *settings_findings(records)]
    if assembly is None or stops(findings):
        return None, findings
    method = records.method
    propagated = propagate(
        assembly.graph,
        RESULTS,
        assembly.value,
        gather=assembly.joined,
        beforehand=(
            *propagated_beforehand(assembly.graph, assembly.equations.result.name),
            *beforehand_of_lines(assembly, assembly.equations.result.name),
        ),
    )
    unit = "" if assembly.derived else method.document.unit
    if method.coverage.rule == "simulation":
        propagated = simulated_factors(propagated, method, unit)
    graph = conclude(assembly, cover(propagated, unit, method.coverage, method.rounding), propagated)
    numbers = Numbers(graph)
    findings += numeric_findings(assembly, numbers)
    findings += agreement_findings(assembly, numbers)
    findings += conclusion_findings(assembly, graph, numbers)
    findings += traceability_findings(records, assembly.graph)
    findings += outlier_findings(records)
    findings += uncertainty_findings(assembly, propagated, graph, numbers)
    if stops(findings):
        return None, findings
    evaluation = Evaluation(records, assembly, propagated, graph, numbers, tuple(findings))
    return evaluation, findings
