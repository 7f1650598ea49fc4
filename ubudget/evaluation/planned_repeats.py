"""Changes of a plan in numbers of repeats: readings, portions, blanks, standards.

What repeats rest on is recorded: s and its degrees of freedom stay (`records.planned`). Further portions and standards
are copies of those recorded, each with deviations of its own where such are new at each use; they are weighed, filled
and read like those, in the same ware.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ubudget.evaluation.plan_clauses import Clause
from ubudget.evaluation.planned_records import run_of, with_symbol
from ubudget.records.amount import Amount
from ubudget.records.calibration import Calibration
from ubudget.records.method import Blank, Input
from ubudget.records.records import Records
from ubudget.records.run import Exclusion, Portion, Run, Solution, Standard

COPY = "{label} (plan {number})"


def with_replicates(records: Records, clause: Clause) -> Records:
    if clause.of:
        return _readings_of_input(records, clause)
    calibration_of(records, clause)
    run = run_of(records, clause)
    return replace(records, run=replace(run, planned=replace(run.planned, readings=clause.count)))


def _readings_of_input(records: Records, clause: Clause) -> Records:
    """An input stated by readings: as many with the same mean, on the s and degrees of freedom of those recorded."""
    symbol = records.method.symbols.get(clause.of)
    readings = symbol.readings if isinstance(symbol, Input) else None
    if not isinstance(symbol, Input) or readings is None or len({amount.unit for amount in readings}) != 1:
        known = [name for name, one in records.method.symbols.items() if isinstance(one, Input) and one.readings]
        raise clause.refused(
            f"no input {clause.of} with readings", f"one of: {', '.join(known) or 'none in this method'}", "correct it"
        )
    values = [amount.value for amount in readings]
    mean = sum(values) / len(values)
    if symbol.pooled_s is None:
        s = (sum((value - mean) ** 2 for value in values) / (len(values) - 1)) ** 0.5
        if s == 0:
            raise clause.refused("readings without scatter", "readings that differ", "state u of the symbol")
        scatter: dict[str, Any] = {"pooled_s": Amount(s, readings[0].unit), "pooled_dof": float(len(values) - 1)}
    else:
        scatter = {"pooled_s": symbol.pooled_s, "pooled_dof": symbol.pooled_dof}
    again = replace(symbol, readings=(Amount(mean, readings[0].unit),) * clause.count, **scatter)
    return with_symbol(records, clause.of, again)


def with_blanks(records: Records, clause: Clause) -> Records:
    run = run_of(records, clause)
    if not any(isinstance(symbol, Blank) for symbol in records.method.symbols.values()):
        raise clause.refused("a method without a blank", "a symbol of the operation blank", "leave it out")
    return replace(records, run=replace(run, planned=replace(run.planned, blanks=clause.count)))


def with_portions(records: Records, clause: Clause) -> Records:
    """As many portions of each sample: those recorded in turn, the first ones, or copies of them."""
    run = run_of(records, clause)
    by_sample: dict[str, list[Portion]] = {}
    for portion in run.portions:
        if portion.kind != "blank":
            by_sample.setdefault(portion.sample, []).append(portion)
    names: dict[str, list[str]] = {}
    portions = [portion for portion in run.portions if portion.kind == "blank"]
    for own in by_sample.values():
        for number in range(clause.count):
            source = own[number % len(own)]
            label = source.solution if number < len(own) else COPY.format(label=source.solution, number=number + 1)
            portions.append(replace(source, portion=number + 1, solution=label))
            names.setdefault(source.solution, []).append(label)
    dropped = {one.solution for own in by_sample.values() for one in own[clause.count :]}
    return replace(records, run=_copied(replace(run, portions=tuple(portions)), names, dropped))


def _copied(run: Run, names: dict[str, list[str]], dropped: set[str]) -> Run:
    """The run in which solutions stand under all their names: with the solutions made of them, their readings and what
    was left out of these. What stems from a dropped one goes."""
    names = {label: list(labels) for label, labels in names.items()}
    gone = set(dropped)
    solutions: list[Solution] = []
    for one in run.solutions:
        if one.source in gone:
            gone.add(one.label)
            continue
        for number, source in enumerate(names.get(one.source, [one.source])):
            label = one.label if number == 0 else COPY.format(label=one.label, number=number + 1)
            solutions.append(replace(one, label=label, source=source))
            names.setdefault(one.label, []).append(label)
    readings = [
        replace(reading, solution=label)
        for reading in run.readings
        if reading.solution not in gone
        for label in names.get(reading.solution, [reading.solution])
    ]
    exclusions: list[Exclusion] = [
        replace(mark, solution=label)
        for mark in run.file.exclusions
        for label in names.get(mark.solution, [mark.solution])
    ]
    file = replace(run.file, exclusions=tuple(exclusions))
    return replace(run, solutions=tuple(solutions), readings=tuple(readings), file=file)


def with_standards(records: Records, clause: Clause) -> Records:
    """As many sets of the standards, each prepared for itself from the same stock solutions."""
    run, calibration = run_of(records, clause), fitted_calibration(records, clause)
    if calibration.between_levels is not None or calibration.fit_on == "means":
        raise clause.refused("a scatter between levels, or a fit on means", "a fit on readings", "leave it out")
    labels = [standard.label for standard in run.file.standards]
    names = {
        label: [label, *(COPY.format(label=label, number=number) for number in range(2, clause.count + 1))]
        for label in labels
    }
    standards: list[Standard] = []
    for number in range(clause.count):
        for standard in run.file.standards:
            source = names[standard.source][number] if standard.source in names else standard.source
            standards.append(replace(standard, label=names[standard.label][number], source=source))
    file = replace(run.file, standards=tuple(standards))
    copied = _copied(replace(run, file=file), names, set())
    planned = replace(run.planned, standard_sets=clause.count)
    return replace(records, run=replace(copied, planned=planned))


def with_standard_readings(records: Records, clause: Clause) -> Records:
    run, calibration = run_of(records, clause), fitted_calibration(records, clause)
    if calibration.fit_on == "means":
        raise clause.refused(
            "a fit on means, whose scatter is not that of readings", "a fit on readings", "leave it out"
        )
    labels = {standard.label for standard in run.file.standards}
    counts = [len(reading.values) for reading in run.readings if reading.solution in labels and reading.values]
    if not counts:
        raise clause.refused("standards without single readings", "readings r1, r2 …", "leave it out")
    ratio = clause.count * len(counts) / sum(counts)
    return replace(records, run=replace(run, planned=replace(run.planned, standard_readings=ratio)))


def calibration_of(records: Records, clause: Clause) -> Calibration:
    found = next((one for one in records.method.symbols.values() if isinstance(one, Calibration)), None)
    if found is None:
        accepted = "a method with a symbol of the operation calibration"
        raise clause.refused("no calibration on standards", accepted, "leave it out")
    return found


def fitted_calibration(records: Records, clause: Clause) -> Calibration:
    found = calibration_of(records, clause)
    if found.curve not in ("line", "line through zero", "quadratic") or found.standards == "errors in variables":
        accepted = "a line, a line through zero or a quadratic by least squares"
        raise clause.refused(f"the curve {found.curve}, standards {found.standards}", accepted, "leave it out")
    return found
