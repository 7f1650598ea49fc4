"""Findings that only numbers can show: curves that give no result, and figures that are better than they should be."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.bench.curve import CURVES, LEVELS
from ubudget.bench.fitting import NO_SLOPE, NOT_MONOTONIC, ONE_LEVEL, TOO_FEW, WITHOUT_WEIGHT
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.kinds import kind_of
from ubudget.bench.linearity import LINEARITY
from ubudget.bench.rational import NOT_CONVERGED, POLE
from ubudget.bench.readings import POINTS
from ubudget.bench.result_table import STATUS
from ubudget.bench.structure import Curve, Measured
from ubudget.bench.weights import weighted
from ubudget.evaluation.coverage import EFFECTIVE_DOF
from ubudget.evaluation.minimum_masses import minimum_findings
from ubudget.evaluation.misfit import misfit_beyond_term
from ubudget.evaluation.overlap_checks import overlap_numbers_findings
from ubudget.evaluation.quality_findings import quality_number_findings
from ubudget.evaluation.recovery_checks import recovery_numbers_findings
from ubudget.quantity.graph import Array
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.operations import TABLE
from ubudget.records.crosscheck_run import reading_place
from ubudget.records.finding import Finding
from ubudget.records.read_order import calibration_of

SIGNIFICANT = 0.05
"""Level of the tests of a run, divided by the number of lines tested (Bonferroni)."""
ISO_LEVEL = 0.01
"""Level of both tests of ISO 8466-1, for each line."""
ROUNDING = 1e-12
"""Differences of readings below this part of the largest are left over from rounding."""
EXTREME_WEIGHT = 1e6
"""An own weight w0 above this claims a reading a thousand times more precise than at the best standard."""
WITHOUT_CURVE = {
    TOO_FEW: ("too few standards' readings", "more readings than the curve has parameters", "add standards"),
    ONE_LEVEL: ("all standards at one level", "standards at several levels", "add standards"),
    NO_SLOPE: ("zero slope", "readings that change with the concentration", "check readings and standards"),
    NOT_MONOTONIC: (
        "a curve that is not monotonic: it turns within its range",
        "a curve that rises or falls throughout its range",
        "leave out the highest standards, or use another kind of curve",
    ),
    POLE: (
        "a pole of the rational curve in or near the range",
        "a denominator 1 + c x well above zero throughout the range",
        "use another kind of curve, or check readings and standards",
    ),
    WITHOUT_WEIGHT: (
        "a standard for which the rule of weights gives no weight above zero",
        "a weight above zero for every standard: for 1/y, a curve above zero at each",
        'add weight_floor, or use weights = "noise model" with noise_constant',
    ),
    NOT_CONVERGED: (
        "a fit that does not settle: its last step is not small",
        "standards that determine every parameter",
        "use a simpler kind of curve, or add standards",
    ),
}
"""Status of a fit: found, accepted, remedy."""
SLOPES = ("slope", "c1")
"""Columns of the kinds of curve that hold the slope at the centroid, up to a factor."""


def numeric_findings(assembly: Assembly, numbers: Numbers) -> list[Finding]:
    """Findings from the numbers of an assembled run; none of them could be told from its records alone."""
    checks = _Checks(assembly, numbers)
    return [
        *checks.unusable_curves(),
        *checks.doubtful_slopes(),
        *checks.lack_of_fit(),
        *checks.misfit_beyond_stated_term(),
        *checks.chi_squared(),
        *checks.iso_8466(),
        *checks.own_weights(),
        *checks.degrees_of_freedom(),
        *minimum_findings(assembly, numbers),
        *recovery_numbers_findings(assembly, numbers),
        *overlap_numbers_findings(assembly, numbers),
        *quality_number_findings(assembly, numbers),
    ]


@dataclass(frozen=True, eq=False)
class _Checks:
    assembly: Assembly
    numbers: Numbers

    def has(self, table: str, column: str) -> bool:
        home = self.assembly.graph.tables.get(table)
        return home is not None and column in home.by_name

    def curve(self, column: str) -> Array:
        return self.numbers.column(CURVES, column)

    @cached_property
    def curves(self) -> tuple[Curve, ...]:
        structure = self.assembly.structure
        return structure.curves if structure is not None and CURVES in self.assembly.graph.tables else ()

    @property
    def _levels(self) -> tuple[Measured, ...]:
        structure = self.assembly.structure
        return structure.standard_readings if structure is not None else ()

    @cached_property
    def status(self) -> Array:
        """Status of each curve; a slope that is left over from rounding is zero."""
        found = self.curve("status")
        status = np.where(np.isfinite(found), found, NOT_CONVERGED)
        means, used = self.numbers.column(LEVELS, "mean"), self.numbers.column(LEVELS, "level used")
        rise = self.curve("slope") * (self.curve("x_high") - self.curve("x_low")) if self.has(CURVES, "slope") else None
        for row, curve in enumerate(self.curves):
            own = means[[bool(mark) and item.curve == curve for mark, item in zip(used, self._levels, strict=True)]]
            if own.size < 2 or status[row] in (TOO_FEW, ONE_LEVEL):
                continue
            differences = [np.ptp(own)] if rise is None else [np.ptp(own), abs(rise[row])]
            if min(differences) <= ROUNDING * np.max(np.abs(own)):
                status[row] = NO_SLOPE
        return status

    @cached_property
    def usable(self) -> list[int]:
        return [row for row in range(len(self.curves)) if self.status[row] == 0]

    def place(self, row: int) -> str:
        return f"calibration curve of {self.curves[row].name}"

    @property
    def readings_file(self) -> str:
        return self.assembly.records.file("readings")

    def unusable_curves(self) -> Iterator[Finding]:
        """Curves on which samples were read and that give no concentration."""
        structure = self.assembly.structure
        needed = {item.curve for item in structure.measured} if structure is not None else set()
        for row, curve in enumerate(self.curves):
            words = WITHOUT_CURVE.get(int(self.status[row]))
            if words is not None and curve in needed:
                found, accepted, remedy = words
                yield Finding("stop", self.readings_file, self.place(row), found, accepted, remedy)

    def doubtful_slopes(self) -> Iterator[Finding]:
        """Slopes no larger than their own 95 % interval: a concentration read there means nothing."""
        for column in SLOPES:
            if not self.has(CURVES, column):
                continue
            slope, u, dof = (self.curve(name) for name in (column, f"u({column})", "dof"))
            for row in self.usable:
                limit = float(TABLE["student"].numbers(np.asarray(1 - SIGNIFICANT), np.asarray(dof[row])))
                if abs(slope[row]) < limit * u[row]:
                    found = f"a slope of {abs(slope[row]) / u[row]:.2g} times its standard uncertainty"
                    accepted = f"a slope that differs from zero at 95 % (above {limit:.3g} times)"
                    remedy = "check readings and standards"
                    yield Finding("attend", self.readings_file, self.place(row), found, accepted, remedy)

    @cached_property
    def misfit_tested(self) -> list[int]:
        """Curves tested for lack of fit where no stated term carries it."""
        if not self.has(CURVES, "p lack of fit") or self.has(CURVES, "s within"):
            return []
        misfit, within = self.curve("dof lack"), self.curve("dof pure")
        return [row for row in self.usable if misfit[row] > 0 and within[row] > 0]

    @cached_property
    def misfits(self) -> list[int]:
        tested = self.misfit_tested
        return [row for row in tested if self.curve("p lack of fit")[row] < SIGNIFICANT / len(tested)]

    def lack_of_fit(self) -> Iterator[Finding]:
        """Levels that scatter about the curve more than readings within a level do (F of lack of fit)."""
        tested = len(self.misfit_tested)
        for row in self.misfits:
            F, p = self.curve("F lack of fit")[row], self.curve("p lack of fit")[row]
            found = (
                f"significant lack of fit (F = {F:.3g}, p = {p:.2g}) of a fit on individual readings: "
                "its degrees of freedom and u are too favourable"
            )
            accepted = f"p of {SIGNIFICANT / tested:.2g} or more"
            accepted += f" ({SIGNIFICANT:g} over {tested} lines)" if tested > 1 else ""
            remedy = (
                'fit on level means (fit_on = "means" with scatter = "own" or "pooled"), state between_levels, '
                "the deviation of a standard between levels, or use another kind of curve"
            )
            yield Finding("attend", self.readings_file, self.place(row), found, accepted, remedy)

    def misfit_beyond_stated_term(self) -> Iterator[Finding]:
        """A term between levels that is too small for how the levels scatter about the curve."""
        calibration = calibration_of(self.assembly.records.method)
        if calibration is None or not self._term_tested:
            return
        tested = misfit_beyond_term(self.assembly, self.numbers, kind_of(calibration).parameters, self.usable)
        for row, (F, p) in tested.items():
            if p < SIGNIFICANT / len(tested):
                found = (
                    f"levels that scatter about the curve beyond what between_levels states (F = {F:.3g}, p = {p:.2g})"
                )
                accepted = f"p of {SIGNIFICANT / len(tested):.2g} or more"
                remedy = "state a larger between_levels with its evidence, or use another kind of curve"
                yield Finding("attend", self.readings_file, self.place(row), found, accepted, remedy)

    @property
    def _term_tested(self) -> bool:
        """Whether a term between levels stands beside a scatter of readings that holds no misfit."""
        known = self.has(CURVES, "s known") or self.has(CURVES, "s within")
        return known and self.has(LEVELS, "x prepared") and self.has(POINTS, "residual")

    def chi_squared(self) -> Iterator[Finding]:
        """Readings that scatter about the curve more than the stated scatter says (ISO/TS 28037:2010, 6 and 7)."""
        if not self.has(CURVES, "p chi squared") or self._term_tested:
            return
        calibration = calibration_of(self.assembly.records.method)
        assert calibration is not None
        parameters = kind_of(calibration).parameters
        chi, p, n, dof = (self.curve(name) for name in ("chi squared", "p chi squared", "n", "dof"))
        tested = [row for row in self.usable if n[row] > parameters + 0.5]
        for row in tested:
            if p[row] < SIGNIFICANT / len(tested):
                found = f"more scatter about the curve than was stated (chi-squared = {chi[row]:.4g} "
                found += f"with {dof[row]:g} degrees of freedom, p = {p[row]:.2g}): u is too favourable"
                accepted = f"p of {SIGNIFICANT / len(tested):.2g} or more"
                remedy = (
                    "check the stated scatter and the kind of curve, state what single standards deviate by "
                    "(standard_u or between_levels), or let the residuals say the scatter"
                )
                yield Finding("attend", self.readings_file, self.place(row), found, accepted, remedy)

    def iso_8466(self) -> Iterator[Finding]:
        """Significant tests of ISO 8466-1 for which the method has not chosen a remedy: told once, with their lines."""
        calibration = calibration_of(self.assembly.records.method)
        if calibration is None or LINEARITY not in self.assembly.graph.tables:
            return
        p, n = self.numbers.column(LINEARITY, "p linearity"), self.numbers.column(LINEARITY, "n")
        # Lack of fit says more; a term between levels is tested against the levels' scatter.
        plain = [row for row in self.usable if row not in self.misfits]
        curved = [(row, p[row]) for row in plain if n[row] > 3.5 and p[row] < ISO_LEVEL]
        if curved and calibration.curve == "line" and calibration.between_levels is None:
            yield self._noted(
                curved,
                "a quadratic term significant at 1 % on the level means (linearity test, ISO 8466-1)",
                "no significant quadratic term for a straight line",
                'judge its size against U; use curve = "quadratic", or a narrower range',
            )
        p, F = self.numbers.column(LINEARITY, "p variances"), self.numbers.column(LINEARITY, "F variances")
        unequal = [(row, p[row]) for row in self.usable if F[row] > 0 and p[row] < ISO_LEVEL]
        if unequal and not weighted(calibration):
            yield self._noted(
                unequal,
                "variances at the two ends of the range unequal at 1 % (variance homogeneity, ISO 8466-1)",
                "equal variances for a fit without weights",
                "judge by more readings at the ends; use weights, or a narrower range",
            )

    def _noted(self, rows: list[tuple[int, float]], found: str, accepted: str, remedy: str) -> Finding:
        lines = ", ".join(f"{self.curves[row].name} (p = {p:.2g})" for row, p in rows)
        place = self.place(rows[0][0]) + (f" and {len(rows) - 1} more" if len(rows) > 1 else "")
        return Finding("note", self.readings_file, place, f"{found}: {lines}", accepted, remedy)

    def own_weights(self) -> Iterator[Finding]:
        """Unknowns of a weighted fit for which the rule gives no weight: their u would be nothing or without end."""
        structure = self.assembly.structure
        if structure is None or not self.has(SIGNALS, "w0"):
            return
        weight, kept = self.numbers.column(SIGNALS, "w0"), self.numbers.column(SIGNALS, "n")
        for row, item in enumerate(structure.measured):
            if kept[row] < 0.5 or self.curves.index(item.curve) not in self.usable:
                continue
            if not 0 < weight[row] < EXTREME_WEIGHT:
                found = f"an own weight w0 of {weight[row]:.2g}, by the rule of the curve at the level of this solution"
                accepted = "a weight above zero, of the size of the standards' weights"
                remedy = 'use weights = "noise model", a weight_floor, or scatter = "own" or "pooled"'
                yield Finding("stop", self.readings_file, reading_place(item.reading), found, accepted, remedy)

    def degrees_of_freedom(self) -> Iterator[Finding]:
        """Results whose u rests on less than one effective degree of freedom: told once, with their number."""
        dof = self.numbers.column(RESULTS, EFFECTIVE_DOF)
        status = self.numbers.column(RESULTS, STATUS)
        few = [row for row in range(len(dof)) if status[row] == 0 and math.isfinite(dof[row]) and dof[row] + 1e-6 < 1]
        if few:
            records, key = self.assembly.records, self.assembly.keys[few[0]]
            label = "/".join(part for part in (key.sample, key.analyte, key.line) if part)
            more = f" and {len(few) - 1} more" if len(few) > 1 else ""
            found = f"{dof[few[0]]:.2g} effective degrees of freedom: u is hardly known"
            yield Finding(
                "attend",
                records.file("run" if records.run else "method"),
                f"result {label or records.name}{more}",
                found,
                "one effective degree of freedom or more",
                "take more readings, or state the degrees of freedom of the input quantities",
            )
