"""What other choices would give: results evaluated anew from changed records, nothing extrapolated.

Where a choice moves the signal (a larger test portion, a smaller flask), readings are moved until each portion has the
result that it has now: the same sample, read higher or lower, with the scatter recorded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ubudget.bench.assembly import assemble
from ubudget.bench.inverse import EFFECT as READING_SCATTER
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.result_table import PORTION_RESULTS, RESULTS
from ubudget.bench.results import LINE_RESULTS
from ubudget.bench.structure import UNREAD, Structure
from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.coverage import EFFECTIVE_DOF, STANDARD
from ubudget.evaluation.evaluate import Evaluation, Result, evaluate
from ubudget.evaluation.plan_clauses import Option
from ubudget.evaluation.planned_changes import changed, moves_values, shifted
from ubudget.evaluation.targets import TARGET, TARGETS, rows_of_targets
from ubudget.quantity.graph import Array, Rows
from ubudget.quantity.numbers import Numbers
from ubudget.records.crosscheck import crosscheck
from ubudget.records.finding import stops
from ubudget.records.read_order import calibration_of, corrected_by
from ubudget.records.records import Records

SAME = 1e-9
"""Relative; a part of a run beside the whole, and a result held beside the one that it is held to."""
MOST_STEPS = 12


@dataclass(frozen=True)
class Planned:
    """One result as an option would give it; `target` is U in the unit of the result, 0 where there is none."""

    option: Option | None
    """None: as things are."""
    row: int
    """Row of the result as it is."""
    result: Result
    target: float
    largest: str
    """The group with the largest share."""

    @property
    def ratio(self) -> float | None:
        U = self.result.expanded_uncertainty
        return U / self.target if U is not None and self.target > 0 else None

    @property
    def met(self) -> bool:
        return self.ratio is not None and self.ratio <= 1


@dataclass(frozen=True)
class Tried:
    """An option with what it would give for each result asked about, and remarks on what it rests on."""

    option: Option
    planned: tuple[Planned, ...]
    remarks: tuple[str, ...]


def as_it_is(evaluation: Evaluation, rows: Sequence[int]) -> list[Planned]:
    """The results of a run beside their targets."""
    targets = _targets(evaluation)
    return [_planned(evaluation, row, row, None, targets) for row in rows]


def try_options(evaluation: Evaluation, options: Sequence[Option], rows: Sequence[int]) -> Iterator[Tried]:
    """Each option for the results asked about. Raises `UbudgetError` where the records have nothing to change."""
    base = part_of(evaluation, rows[0]) if len(rows) == 1 else evaluation
    for option in options:
        yield _try(base, option, evaluation, rows)


def _try(base: Evaluation, option: Option, whole: Evaluation, rows: Sequence[int]) -> Tried:
    records = base.records
    for clause in option.clauses:
        records = changed(records, clause)
    known = set(crosscheck(base.records))
    faults = [finding for finding in stops(crosscheck(records)) if finding not in known]
    if faults:
        raise UnusableInput([replace(fault, place=f"{option.text}: {fault.place}") for fault in faults])
    if any(moves_values(clause) for clause in option.clauses):
        records = _held(base, records, option)
    found, findings = evaluate(records)
    if found is None:
        raise UnusableInput(findings)
    row_of = {_name(found, row): row for row in range(len(found.keys))}
    targets = _targets(found)
    planned = tuple(_planned(found, row_of[_name(whole, row)], row, option, targets) for row in rows)
    told = set(base.findings)
    fresh = [f"{option.text}: {one.place}: {one.found}" for one in findings if one not in told]
    return Tried(option, planned, (*_remarks(base, option), *fresh))


def _name(evaluation: Evaluation, row: int) -> tuple[str, str, str | None]:
    key = evaluation.keys[row]
    return key.sample, key.analyte, key.line


def _targets(evaluation: Evaluation) -> dict[int, float]:
    """Target of each result that has one."""
    at = rows_of_targets(evaluation.graph)
    return {row: float(evaluation.column(TARGET, TARGETS)[number]) for row, number in at.items()}


def _planned(
    evaluation: Evaluation, row: int, original: int, option: Option | None, targets: dict[int, float]
) -> Planned:
    shares: dict[str, float] = {}
    for line in evaluation.results[row].budget:
        shares[line.group] = shares.get(line.group, 0.0) + line.share
    largest = max(shares, key=lambda group: shares[group]) if shares else ""
    return Planned(option, original, evaluation.results[row], targets.get(row, 0.0), largest)


def _remarks(evaluation: Evaluation, option: Option) -> Iterator[str]:
    effects = evaluation.records.method.effects
    for clause in option.clauses:
        if clause.word == "replicates":
            mark = effects.get(READING_SCATTER, "counted")
            if mark != "counted" and not clause.of:
                yield f"reading scatter is {mark}: the number of readings changes nothing in this budget"
            else:
                yield "replicates: s of one reading and its degrees of freedom as recorded, u = s/√n of the mean"
        elif clause.word == "portions":
            yield "portions: independent digests in the same ware; those recorded are repeated in turn"
        elif clause.word == "blanks":
            yield "blanks: s between blanks and its degrees of freedom as recorded, u = s/√n of their mean"
        elif clause.word == "standards":
            yield "standards: as many independent sets; s of the curve and its degrees of freedom as recorded"
        elif clause.word == "standard readings":
            yield "standard readings: s of the curve and its degrees of freedom as recorded"
        elif moves_values(clause):
            yield f"{clause.word}: readings moved so that each result stays what it is, their scatter as recorded"


# -- the same results with other readings ---------------------------------------------------------------------------


def _held(base: Evaluation, records: Records, option: Option) -> Records:
    """The records with readings that give each portion's result as it is now."""
    wanted, _ = _portion_values(base.records, option)
    values, structure = _portion_values(records, option)
    origin = _origin(base.assembly.structure, structure)
    wanted = wanted[origin]
    if np.allclose(values, wanted, rtol=SAME, atol=0.0, equal_nan=True):
        return records
    rows = np.array([result.measured for result in structure.results], dtype=np.int64)
    if (rows == UNREAD).any() or calibration_of(records.method) is None or records.run is None:
        raise UbudgetError(
            f"{option.text}: found results that would change, and no readings that would rise or fall with it; "
            "accepted: a method with calibration; state the quantities of another run instead"
        )
    places = {id(reading): number for number, reading in enumerate(records.run.readings)}
    at = np.array([places[id(structure.measured[row].reading)] for row in rows], dtype=np.int64)
    sizes = np.array([_size(records.run.readings[number].values, records.run.readings[number].mean) for number in at])
    before, error = np.zeros(len(rows)), values - wanted
    shift = 0.01 * np.where(sizes > 0, sizes, 1.0)
    for _ in range(MOST_STEPS):
        moved = _with_shifts(records, at, shift)
        now, _ = _portion_values(moved, option)
        fault = now - wanted
        usable = np.isfinite(fault)
        if np.all(np.abs(fault[usable]) <= 1e-12 * np.abs(wanted[usable]) + 1e-300):
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            step = fault * (shift - before) / (fault - error)
        before, error = shift, fault
        shift = shift - np.where(np.isfinite(step), step, 0.0)
        if np.array_equal(before, shift):
            break
    if not np.allclose(now[usable], wanted[usable], rtol=SAME, atol=0.0):
        raise UbudgetError(
            f"{option.text}: found no readings that would give the same results; accepted: a change that stays on the "
            "curve; try a smaller one"
        )
    return moved


def _origin(base: Structure | None, now: Structure) -> Rows:
    """Portion result that each portion result of changed records stands for: its own, or the one it is a copy of."""
    assert base is not None
    by_sample: dict[tuple[str, tuple[str, str]], list[int]] = {}
    for row, result in enumerate(base.results):
        by_sample.setdefault((base.portions[result.portion].sample, result.line), []).append(row)
    seen: dict[tuple[str, tuple[str, str]], int] = {}
    origin = []
    for result in now.results:
        key = (now.portions[result.portion].sample, result.line)
        turn = seen.get(key, 0)
        seen[key] = turn + 1
        origin.append(by_sample[key][turn % len(by_sample[key])])
    return np.array(origin, dtype=np.int64)


def _portion_values(records: Records, option: Option) -> tuple[Array, Structure]:
    """The equation's value for each portion and line."""
    assembly, findings = assemble(records)
    if assembly is None:
        raise UnusableInput(findings)
    if assembly.structure is None:
        raise UbudgetError(f"{option.text}: found a method file alone; accepted: a run with samples; name its folder")
    table = next(name for name in (PORTION_RESULTS, LINE_RESULTS, RESULTS) if name in assembly.graph.tables)
    column = assembly.equations.result.name
    return Numbers(assembly.graph).column(table, column), assembly.structure


def _size(values: tuple[float, ...], mean: float | None) -> float:
    return abs(mean) if mean is not None else abs(sum(values) / len(values)) if values else 0.0


def _with_shifts(records: Records, at: Rows, shift: Array) -> Records:
    run = records.run
    assert run is not None
    readings = list(run.readings)
    for number, by in zip(at.tolist(), shift.tolist(), strict=True):
        readings[number] = shifted(run.readings[number], by)
    return replace(records, run=replace(run, readings=tuple(readings)))


# -- a part of a run ---------------------------------------------------------------------------------------------------


def part_of(evaluation: Evaluation, row: int) -> Evaluation:
    """The run cut down to what one result rests on, where that gives the same result; else the run as it is."""
    key, run = evaluation.keys[row], evaluation.records.run
    if run is None or row in evaluation.assembly.derived or SIGNALS not in evaluation.graph.tables:
        return evaluation
    portions = tuple(one for one in run.portions if one.kind == "blank" or one.sample == key.sample)
    gone = {one.solution for one in run.portions} - {one.solution for one in portions}
    solutions = []
    for one in run.solutions:
        if one.source in gone:
            gone.add(one.label)
        else:
            solutions.append(one)
    kept = corrected_by(evaluation.records.method, key.analyte)
    readings = tuple(one for one in run.readings if one.solution not in gone and one.analyte in kept)
    small = replace(run, portions=portions, solutions=tuple(solutions), readings=readings)
    part, _ = evaluate(replace(evaluation.records, run=small))
    if part is None:
        return evaluation
    there = [number for number in range(len(part.keys)) if _name(part, number) == _name(evaluation, row)]
    if len(there) != 1 or not _equal(evaluation, row, part, there[0]):
        return evaluation
    return part


def _equal(whole: Evaluation, row: int, part: Evaluation, there: int) -> bool:
    figures: list[Callable[[Evaluation], str]] = [
        lambda one: one.assembly.value,
        lambda one: STANDARD,
        lambda one: EFFECTIVE_DOF,
    ]
    return all(
        np.isclose(whole.column(name(whole))[row], part.column(name(part))[there], rtol=SAME, atol=0.0)
        for name in figures
    )
