"""The rows of a run: which solution stems from which portion, what was read, and which readings make a result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from ubudget.records.additions import StandardAdditions
from ubudget.records.calibration import Calibration
from ubudget.records.device_concentration import DeviceConcentration, check_of
from ubudget.records.method import Blank, Method
from ubudget.records.preparation import DilutionStep
from ubudget.records.read_order import (
    calibration_of,
    check_label,
    is_internal_standard,
    measured_run,
    positions,
)
from ubudget.records.run import Portion, Reading, Run
from ubudget.records.volume import Dilution

Line = tuple[str, str]
"""Analyte and line."""
UNREAD = -1


class Curve(NamedTuple):
    """A calibration curve of the run: one for each line and calibration block."""

    analyte: str
    line: str
    block: str = ""

    @property
    def name(self) -> str:
        return " ".join(part for part in (self.analyte, self.line, self.block and f"block {self.block}") if part)


@dataclass(frozen=True)
class Measured:
    """One solution read on one line."""

    solution: str
    line: Line
    reading: Reading
    position: int | None = None
    """Which reading of the drift check; other solutions are read once in a block."""

    @property
    def curve(self) -> Curve:
        """The curve on which it is read, or of which it is a point."""
        return Curve(*self.line, self.reading.block)


@dataclass(frozen=True)
class PlacedStep:
    """A dilution step, the row of the solutions table that states it, and its turn there."""

    step: DilutionStep
    row: int
    turn: int


@dataclass(frozen=True)
class ResultRow:
    """One portion's result on one line, taken from the measurement `measured` (row of the measured lines; `UNREAD`
    where the method reads no signal, as by titration or weighing)."""

    portion: int
    """Row among the test portions (samples and reference materials)."""
    line: Line
    measured: int


@dataclass(frozen=True)
class Structure:
    """Everything by position, in the order of the records; built once, read by all operations."""

    portions: tuple[Portion, ...]
    blanks: tuple[Portion, ...]
    lines: tuple[Line, ...]
    curves: tuple[Curve, ...]
    """By line, then by block in the order of the readings file."""
    standard_readings: tuple[Measured, ...]
    """By curve, then by standard as listed in the run."""
    measured: tuple[Measured, ...]
    """By curve; blanks first, then in the order of the readings file."""
    solutions: tuple[str, ...]
    steps: dict[str, tuple[PlacedStep, ...]]
    """All dilution steps from the portion's own solution to this one."""
    results: tuple[ResultRow, ...]
    positions: dict[tuple[str, str], int]
    """Place in the order of reading of every solution but the drift check, in its block."""
    internal_standard: tuple[Measured, ...] = ()
    """Its readings: standards first, then blanks and samples, then checks."""
    checks: tuple[Measured, ...] = ()
    """Readings of the drift check by line, then by position."""
    check_solutions: frozenset[str] = frozenset()
    """Check standards: read on the curves, but no samples."""

    @cached_property
    def blank_solutions(self) -> frozenset[str]:
        return frozenset(portion.solution for portion in self.blanks)

    @cached_property
    def blank_curves(self) -> tuple[Curve, ...]:
        """Curves with a blank of their own; all of them where no line has one."""
        read = {item.curve for item in self.measured if item.solution in self.blank_solutions}
        return tuple(curve for curve in self.curves if curve in read) or self.curves

    def blank_row(self, curve: Curve) -> int:
        """Which of `blank_curves` holds the blank of a solution: that of its own block, else of the last block before
        it, else of the first after it."""
        if curve in self.blank_curves:
            return self.blank_curves.index(curve)
        own = self.curves.index(curve)
        rows = [row for row, blank in enumerate(self.blank_curves) if blank[:2] == curve[:2]]
        before = [row for row in rows if self.curves.index(self.blank_curves[row]) < own]
        return before[-1] if before else rows[0]

    @cached_property
    def blank_rows(self) -> tuple[int, ...]:
        """Row of `blank_curves` for each result."""
        read = [self.measured[row.measured].curve for row in self.results]
        row_of = {curve: self.blank_row(curve) for curve in set(read)}
        return tuple(row_of[curve] for curve in read)

    @cached_property
    def longest_chain(self) -> int:
        return max((len(self.steps[name]) for name in self.solutions), default=0)


def structure_of(method: Method, run: Run) -> Structure:
    """Reads the structure of a run that has passed its cross-checks."""
    calibration = calibration_of(method)
    whole, run = run, measured_run(run, calibration)
    portions = tuple(portion for portion in run.portions if portion.kind != "blank")
    blanks = tuple(portion for portion in run.portions if portion.kind == "blank")
    origin, steps = _chains(run)
    known = [(analyte, line) for analyte, lines in method.analytes.items() for line in (lines or ("",))]
    present = {(reading.analyte, reading.line) for reading in run.readings}
    lines = tuple([line for line in known if line in present] + sorted(present - set(known)))
    standards = [standard.label for standard in run.file.standards]
    blocks = list(dict.fromkeys(reading.block for reading in run.readings))
    standard_readings = _by_curve(run.readings, lines, blocks, standards)
    blank_labels = [portion.solution for portion in blanks]
    # Solutions with additions are points of a line, not measured for themselves.
    spiked = [addition.solution for addition in run.file.additions]
    apart = {*standards, *blank_labels, *spiked}
    others = list(dict.fromkeys(reading.solution for reading in run.readings if reading.solution not in apart))
    measured = _by_curve(run.readings, lines, blocks, [*blank_labels, *others])
    read = {item.curve for item in (*standard_readings, *measured)}
    curves = [curve for line in lines for block in blocks if (curve := Curve(*line, block)) in read]
    used = [*blank_labels, *others]
    checks = frozenset(label for label in used if check_of(label, run.file.checks) is not None)
    if reads_signals(method):
        results = _results(run, portions, lines, measured, origin)
    else:
        lines = lines or tuple(known) or ((method.document.measurand, ""),)
        results = tuple(ResultRow(row, line, UNREAD) for row in range(len(portions)) for line in lines)
    return Structure(
        portions,
        blanks,
        lines,
        tuple(curves),
        standard_readings,
        measured,
        tuple(label for label in used if label not in checks),
        steps,
        results,
        *_corrections(whole, lines, [*standards, *used], calibration),
        check_solutions=checks,
    )


_READING = (Calibration, StandardAdditions, DeviceConcentration, Blank, Dilution)


def reads_signals(method: Method) -> bool:
    """Whether results rest on readings of solutions."""
    return any(isinstance(symbol, _READING) for symbol in method.symbols.values())


def _corrections(
    run: Run, lines: Sequence[Line], solutions: Sequence[str], calibration: Calibration | None
) -> tuple[dict[tuple[str, str], int], tuple[Measured, ...], tuple[Measured, ...]]:
    """Positions of the solutions; readings of the internal standard and of the drift check."""
    check = check_label(calibration)
    at: dict[tuple[str, str], int] = {}
    internal: list[Measured] = []
    checks: list[Measured] = []
    for reading, position in zip(run.readings, positions(run), strict=True):
        again = reading.solution == check
        at.setdefault((reading.solution, reading.block), position)
        item = Measured(reading.solution, (reading.analyte, reading.line), reading, position if again else None)
        if is_internal_standard(reading, calibration):
            internal.append(item)
        elif again and item.line in lines:
            checks.append(item)
    place = {label: number for number, label in enumerate(solutions)}
    internal.sort(key=lambda item: (place.get(item.solution, len(place)), item.position or 0))
    checks.sort(key=lambda item: (lines.index(item.line), item.position or 0))
    return at, tuple(internal), tuple(checks)


def _chains(run: Run) -> tuple[dict[str, str], dict[str, tuple[PlacedStep, ...]]]:
    """For each solution the portion's own solution it stems from, and its dilution steps."""
    origin = {portion.solution: portion.solution for portion in run.portions}
    steps: dict[str, tuple[PlacedStep, ...]] = {portion.solution: () for portion in run.portions}
    waiting = list(run.solutions)
    while waiting:
        left = []
        for solution in waiting:
            if solution.source in origin:
                origin[solution.label] = origin[solution.source]
                own = (PlacedStep(step, solution.row, turn) for turn, step in enumerate(solution.steps))
                steps[solution.label] = (*steps[solution.source], *own)
            else:
                left.append(solution)
        if len(left) == len(waiting):
            break
        waiting = left
    return origin, steps


def _by_curve(
    readings: Sequence[Reading], lines: Sequence[Line], blocks: Sequence[str], solutions: Sequence[str]
) -> tuple[Measured, ...]:
    place = {label: number for number, label in enumerate(solutions)}
    number_of = {line: number for number, line in enumerate(lines)}
    turn_of = {block: number for number, block in enumerate(blocks)}
    chosen = [
        Measured(reading.solution, (reading.analyte, reading.line), reading)
        for reading in readings
        if reading.solution in place and (reading.analyte, reading.line) in number_of
    ]

    def order(item: Measured) -> tuple[int, int, int]:
        return number_of[item.line], turn_of[item.reading.block], place[item.solution]

    return tuple(sorted(chosen, key=order))


def _results(
    run: Run,
    portions: Sequence[Portion],
    lines: Sequence[Line],
    measured: Sequence[Measured],
    origin: dict[str, str],
) -> tuple[ResultRow, ...]:
    # A solution read again in a later block stands later, and takes over.
    row_of = {(item.solution, item.line): row for row, item in enumerate(measured)}
    descendants: dict[str, list[str]] = {}
    for solution in run.solutions:
        descendants.setdefault(origin.get(solution.label, ""), []).append(solution.label)
    reports = {solution.label: solution.reports for solution in run.solutions}
    results = []
    for number, portion in enumerate(portions):
        for line in lines:
            candidates = [portion.solution] if (portion.solution, line) in row_of else []
            candidates += [
                label
                for label in descendants.get(portion.solution, ())
                if (label, line) in row_of and (not reports[label] or set(reports[label]) & set(line))
            ]
            if candidates:
                results.append(ResultRow(number, line, row_of[candidates[-1], line]))
    return tuple(results)
