"""A run in which every spare row exists, made from a run that shows how the method is run.

Its figures stand in for those of any day: they only have to give a line and results, since no cell keeps them. What a
workbook with spare rows cannot follow is a finding.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import cycle, islice

from ubudget.records.additions import StandardAdditions
from ubudget.records.amount import Amount
from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_items import DELIVERS, RECEIVES
from ubudget.records.finding import Finding
from ubudget.records.method import Blank
from ubudget.records.overlap import SpectralOverlap
from ubudget.records.preparation import DilutionStep
from ubudget.records.records import Records, Role
from ubudget.records.register import VOLUMETRIC, Equipment
from ubudget.records.run import Portion, Reading, Run, Solution, Standard
from ubudget.records.spare_rows import SpareRows
from ubudget.records.volume import Dilution, Volume

Line = tuple[str, str]
_GROWTH = 1.25
"""Concentration of a spare level over the one below it."""
RUN_AS_FILES = "keep this run as files and evaluate it there"


def specimen_findings(records: Records, rows: SpareRows) -> list[Finding]:
    """What stands against spare rows, seen from the records."""
    return [
        Finding("stop", records.file(role), place, found, "see README, spare rows", remedy)
        for role, place, found, remedy in _against(records, rows)
    ]


def _against(records: Records, rows: SpareRows) -> Iterator[tuple[Role, str, str, str]]:
    run = records.run
    if run is None:
        yield "method", "whole file", "a method file alone", "name the folder of a run, which shows how it is run"
        return
    if records.edits:
        yield (
            "run",
            "record",
            "a workbook with edited cells",
            "write its records to files by ubudget convert, name those",
        )
    if rows.blanks < 1 and has_blank(records):
        yield "method", "symbols", "a blank, and room for none", "give --blanks 1 or more"
    symbols = records.method.symbols
    if not any(isinstance(operation, Calibration) for operation in symbols.values()):
        yield "method", "symbols", "no calibration on standards: --empty has no rows for it", RUN_AS_FILES
    for operation in symbols.values():
        if isinstance(operation, Calibration):
            for found in _certain_rows(operation):
                yield "method", "symbols", f"{found}: --empty cannot follow it", RUN_AS_FILES
        elif isinstance(operation, (StandardAdditions, SpectralOverlap)):
            yield "method", "symbols", f"{operation.operation}: --empty cannot follow it", RUN_AS_FILES
    if sum(isinstance(o, Dilution) and o.of == "sample" for o in symbols.values()) > 1:
        yield "method", "symbols", "two dilution factors of the sample", RUN_AS_FILES
    if any(reading.mean is not None for reading in run.readings):
        yield "readings", "headings", "mean, s and n: --empty needs replicates", "give single readings r1, r2 …"
    if any(reading.position is not None for reading in run.readings):
        yield "readings", "headings", "positions of reading: --empty has no place for them", RUN_AS_FILES
    if any(reading.block for reading in run.readings):
        yield "readings", "block", "calibration blocks: --empty has one calibration", "name a run of one calibration"
    if records.method.coverage.rule not in ("fixed", "t"):
        found = f'rule = "{records.method.coverage.rule}": --empty knows fixed k and t alone'
        yield "method", "coverage", found, RUN_AS_FILES
    if records.method.quality_limits:
        yield "method", "quality_limit", "limits of checks in the run: --empty has no rows for these", RUN_AS_FILES
    if records.method.validation is not None:
        yield "method", "validation", "a second route: --empty has no rows for it", RUN_AS_FILES
    if records.method.detection_limits or records.method.low_levels:
        yield "method", "detection_limit", "limits at low levels: --empty cannot follow them", RUN_AS_FILES
    if records.method.tolerance_limits or records.method.level_functions:
        found = "tolerance limits or level functions: --empty has no sheet of decisions"
        yield "method", "tolerance_limit", found, RUN_AS_FILES
    if records.method.targets:
        yield "method", "target", "targets of single cases: --empty has no sheet for these", RUN_AS_FILES
    if any(step.set_to is not None for solution in run.solutions for step in solution.steps):
        yield "solutions", "dilution", "a pipette set to a volume: --empty has no cell for it", RUN_AS_FILES
    if any(step.balance for solution in run.solutions for step in solution.steps):
        yield "solutions", "dilution", "a dilution by mass: --empty has dilutions by volume alone", RUN_AS_FILES
    if any("|" in name for line in lines_of(records) for name in line):
        yield "method", "analytes", "a | in the name of an analyte or line", "rename it"
    matrices = {portion.matrix for portion in run.portions if portion.kind == "sample"}
    if len(matrices) > 1 and by_matrix(records):
        yield "samples", "matrix", "cases by matrix, and samples of several matrices", "name a run of one matrix"
    if not any(portion.kind == "sample" for portion in run.portions):
        yield "samples", "kind", "no sample, which would show how a sample is run", "name a run with a sample"
    if has_blank(records) and not blanks_of(run):
        yield "samples", "kind", "no blank, which would show how a blank is run", "name a run with blanks"
    if rows.levels < len(run.file.standards):
        number = len(run.file.standards)
        yield "run", "standard", f"{number} standards, room for {rows.levels}", f"give --levels {number} or more"
    pieces = len(ware_of(records))
    if rows.samples < pieces and (diluted(records) or _names_ware(records)):
        # Each piece stands in one planned row at least, so that the sheet of equipment has it.
        found = f"{pieces} pieces of ware in the register, room for {rows.samples} samples"
        yield "register", "equipment", found, f"give --samples {pieces} or more"
    prepared = [standard.label for standard in run.file.standards if standard.steps]
    if prepared and rows.levels > len(run.file.standards):
        number = len(run.file.standards)
        found = f"prepared standards ({prepared[0]} …): --empty cannot add levels to them"
        yield "run", "standard", found, f"give --levels {number}, or name a run with all levels"


def _certain_rows(calibration: Calibration) -> Iterator[str]:
    """What of a calibration rests on certain solutions or an order, or sums products row by row."""
    if calibration.curve in ("two points", "rational"):
        yield f"curve {calibration.curve}"
    if calibration.weights in ("1/y", "pooled s per level"):
        yield f"weights {calibration.weights}"
    if calibration.standards == "errors in variables":
        yield "standards with errors in variables"
    if calibration.pooled_over:
        yield "s pooled over solutions that are named"
    if calibration.internal_standard is not None:
        yield "an internal standard"
    if calibration.drift is not None:
        yield "a correction for drift"


def _names_ware(records: Records) -> bool:
    """Whether the rows of the samples table name ware."""
    return any(isinstance(o, Volume) and o.ware_column for o in records.method.symbols.values())


def by_matrix(records: Records) -> bool:
    """Whether some statement of the method holds for one matrix."""
    return any(
        bool(getattr(case, "matrix", ""))
        for operation in records.method.symbols.values()
        for case in (operation, *getattr(operation, "cases", ()))
    )


def has_blank(records: Records) -> bool:
    return any(
        isinstance(operation, Blank) or getattr(operation, "of", "") == "blank"
        for operation in records.method.symbols.values()
    )


def blanks_of(run: Run) -> list[Portion]:
    return [portion for portion in run.portions if portion.kind == "blank"]


def materials_of(run: Run) -> list[Portion]:
    """Reference materials taken through the procedure, one row a material."""
    first: dict[str, Portion] = {}
    for portion in run.portions:
        if portion.kind == "reference material":
            first.setdefault(portion.sample, portion)
    return list(first.values())


def lines_of(records: Records) -> list[Line]:
    """The lines that the run reads, in the order of the method."""
    assert records.run is not None
    present = {(reading.analyte, reading.line) for reading in records.run.readings}
    known = [(analyte, line) for analyte, lines in records.method.analytes.items() for line in (lines or ("",))]
    return [line for line in known if line in present] + sorted(present - set(known))


def diluted(records: Records) -> bool:
    """Whether rows for further dilutions are of use: the equation has a factor, the register pipette and flask."""
    symbols = records.method.symbols.values()
    factor = any(isinstance(operation, Dilution) and operation.of == "sample" for operation in symbols)
    return factor and bool(ware_of(records, DELIVERS)) and bool(ware_of(records, RECEIVES))


def ware_of(records: Records, kinds: frozenset[str] = VOLUMETRIC) -> list[Equipment]:
    items = records.register.equipment if records.register else ()
    return [item for item in items if item.kind in kinds]


def planned_records(records: Records, rows: SpareRows) -> Records:
    """The records with a run in which every spare row exists; the texts stay those of the specimen."""
    run = records.run
    assert run is not None
    return replace(records, run=_Planner(records, run, rows).run(), findings=())


class _Planner:
    def __init__(self, records: Records, run: Run, rows: SpareRows) -> None:
        self.records, self.given, self.rows = records, run, rows
        self.lines = lines_of(records)
        self.steps = diluted(records)
        self.values = {(r.solution, r.analyte, r.line): r.values for r in run.readings}

    def run(self) -> Run:
        standards = self._standards()
        portions = self._portions()
        readings = [
            Reading(0, label, *line, values)
            for label, by_line in (*self._standard_readings(standards), *self._portion_readings(portions))
            for line, values in by_line.items()
        ]
        readings = [replace(reading, row=number) for number, reading in enumerate(readings)]
        file = replace(self.given.file, standards=standards, exclusions=(), changes=())
        return Run(file, portions, self._solutions(portions), tuple(readings))

    # -- standards --------------------------------------------------------------------------------------------------

    def _standards(self) -> tuple[Standard, ...]:
        given = list(self.given.file.standards)
        analytes = list(dict.fromkeys(analyte for analyte, _ in self.lines))
        stated = [standard for standard in given if not standard.steps]
        top = {
            a: max((s.concentration[a].value for s in stated if a in s.concentration), default=1.0) for a in analytes
        }
        unit = {a: next((s.concentration[a].unit for s in stated if a in s.concentration), "") for a in analytes}
        made = []
        for number in range(self.rows.levels):
            if number < len(given) and given[number].steps:
                made.append(given[number])
                continue
            old = given[number].concentration if number < len(given) else {}
            factor = _GROWTH ** max(1, number - len(given) + 1)
            concentration = {
                a: old.get(a) or Amount(top[a] * factor, unit[a], "placeholder") for a in analytes if unit[a]
            }
            label = given[number].label if number < len(given) else f"spare level {number + 1}"
            made.append(Standard(label=label, concentration=concentration))
        return tuple(made)

    def _standard_readings(
        self, standards: tuple[Standard, ...]
    ) -> Iterator[tuple[str, dict[Line, tuple[float, ...]]]]:
        given = [standard.label for standard in self.given.file.standards]
        for number, standard in enumerate(standards):
            source = given[min(number, len(given) - 1)]
            factor = _GROWTH ** max(0, number - len(given) + 1)
            # A prepared standard holds certain analytes, and one on the way to others is not read at all.
            lines = [line for line in self.lines if not standard.steps or (source, *line) in self.values]
            values = {line: self._values([source, *given[::-1]], line) for line in lines}
            yield standard.label, {line: tuple(factor * value for value in found) for line, found in values.items()}

    def _values(self, labels: list[str], line: Line) -> tuple[float, ...]:
        """As many replicates as planned, from the first of the solutions that was read on the line."""
        found = next((values for label in labels if (values := self.values.get((label, *line)))), (1.0,))
        return tuple(islice(cycle(found), self.rows.replicates))

    # -- portions ---------------------------------------------------------------------------------------------------

    def _portions(self) -> tuple[Portion, ...]:
        run = self.given
        sample = next(portion for portion in run.portions if portion.kind == "sample")
        blank = next(iter(blanks_of(run)), None)
        made = [
            replace(blank, sample=f"spare blank {number + 1}", solution=f"spare blank {number + 1}")
            for number in range(self.rows.blanks)
            if blank
        ]
        made += [
            replace(sample, sample=f"spare sample {number + 1}", solution=f"spare sample {number + 1}")
            for number in range(self.rows.samples)
        ]
        made += [replace(portion, columns=sample.columns) for portion in materials_of(run)]
        return tuple(
            replace(portion, row=number, portion=1, columns=self._with_ware(portion, number))
            for number, portion in enumerate(made)
        )

    def _with_ware(self, portion: Portion, number: int) -> dict[str, Amount | str]:
        """All pieces of ware of the register in turn, so that each has its row on the sheet of equipment."""
        columns = dict(portion.columns)
        of = "blank" if portion.kind == "blank" else "sample"
        for operation in self.records.method.symbols.values():
            if isinstance(operation, Volume) and operation.ware_column and operation.of == of:
                items = ware_of(self.records)
                columns[operation.ware_column] = items[number % len(items)].id
        return columns

    def _solutions(self, portions: tuple[Portion, ...]) -> tuple[Solution, ...]:
        if not self.steps:
            return ()
        pipettes, flasks = ware_of(self.records, DELIVERS), ware_of(self.records, RECEIVES)
        sampled = [portion for portion in portions if portion.kind != "blank"]
        return tuple(
            Solution(
                number,
                _diluted_label(portion.solution),
                portion.solution,
                (DilutionStep(pipettes[number % len(pipettes)].id, flasks[number % len(flasks)].id),),
                (),
            )
            for number, portion in enumerate(sampled)
        )

    def _portion_readings(self, portions: tuple[Portion, ...]) -> Iterator[tuple[str, dict[Line, tuple[float, ...]]]]:
        known = {
            kind: [p.solution for p in self.given.portions if (p.kind == "blank") == kind] for kind in (True, False)
        }
        for portion in portions:
            blank = portion.kind == "blank"
            label = _diluted_label(portion.solution) if self.steps and not blank else portion.solution
            yield label, {line: self._values(known[blank], line) for line in self.lines}


def _diluted_label(solution: str) -> str:
    return f"{solution}, diluted"
