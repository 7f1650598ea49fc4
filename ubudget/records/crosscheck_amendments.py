"""Readings left out against what the method allows, and amendments that depart from the method."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from ubudget.records.amendments import TESTS, Amended, ReadingKey, place_of
from ubudget.records.finding import Finding
from ubudget.records.read_order import calibration_of
from ubudget.records.records import Records
from ubudget.records.run import Exclusion, Run
from ubudget.records.run_index import RunIndex, index_of

LEAVE = 3
"""Readings left of a solution whose own scatter is used, where the method says no other number: common practice, no
source."""


def amendment_findings(records: Records) -> Iterator[Finding]:
    if records.run is None:
        return
    yield from _too_many(records, records.run)
    for done in in_force(records):
        yield from _without_cause(records, done)
        yield from _departure(records, done)


def in_force(records: Records) -> list[Amended]:
    """Amendments that count: no undo, and nothing undone."""
    return [done for done in records.amendments if not done.undone and done.amendment.act != "undo"]


def _too_many(records: Records, run: Run) -> Iterator[Finding]:
    """More readings left out of a solution and line than the method allows, or too few left."""
    rule = records.method.exclusions
    whole = {key for done in in_force(records) if done.amendment.act == "exclude solution" for key in done.readings}
    single = [mark for mark in dict.fromkeys(run.file.exclusions) if _key(mark) not in whole]
    index = index_of(run)
    counts = Counter((mark.solution, mark.analyte, mark.line, mark.position, mark.block) for mark in single)
    for (solution, analyte, line, position, block), count in counts.items():
        at = f" at position {position}" if position is not None else f", block {block}" if block else ""
        place = f"readings left out of {solution}, {analyte} {line}".rstrip() + at
        if count > rule.at_most:
            accepted = f"at most {rule.at_most} of a solution and line (exclusions of the method)"
            remedy = "restore one, read the solution again, or leave out the whole solution as an act of its own"
            yield Finding("attend", records.file("run"), place, f"{_counted(count)} left out", accepted, remedy)
        least = rule.leave or (LEAVE if _has_own_scatter(records, index, solution) else None)
        left = [
            index.included(reading)
            for reading in index.readings.get(solution, [])
            if (reading.analyte, reading.line, reading.block) == (analyte, line, block)
            and reading.values
            and position is None
        ]
        if least is not None and left and left[0] < least:
            accepted = f"{least} or more of a solution and line"
            remedy = "restore one, or read the solution again"
            yield Finding("attend", records.file("run"), place, f"{_counted(left[0])} left", accepted, remedy)


def _counted(count: int) -> str:
    return "1 reading" if count == 1 else f"{count} readings"


def _key(mark: Exclusion) -> ReadingKey:
    return mark.solution, mark.analyte, mark.line, mark.replicate, mark.position, mark.block


def _has_own_scatter(records: Records, index: RunIndex, solution: str) -> bool:
    """Whether u of a solution's mean rests on its own readings."""
    calibration, portion = calibration_of(records.method), index.root(solution)
    own = calibration is not None and calibration.scatter == "own"
    return own and portion is not None and portion.kind != "blank"


def _without_cause(records: Records, done: Amended) -> Iterator[Finding]:
    """A test says that a reading is unlikely, not that it is wrong: a technical error is looked for (ISO 5725-2)."""
    amendment = done.amendment
    if amendment.act != "exclude" or amendment.rule not in TESTS:
        return
    place, file = place_of(done.number, done.what), records.file("run")
    if not amendment.cause and not records.method.exclusions.outlier_test_suffices:
        accepted = "the cause beside the test, or outlier_test_suffices = true in the method's table exclusions"
        yield Finding("attend", file, place, "an outlier test as the only reason", accepted, "add cause, or restore it")
    missing = [name for name in ("level", "statistic", "critical") if getattr(amendment, name) is None]
    if missing:
        found = f"the test {amendment.rule} without {' and '.join(missing)}"
        yield Finding("attend", file, place, found, "level, statistic and critical", "add them")


def _departure(records: Records, done: Amended) -> Iterator[Finding]:
    """ISO/IEC 17025:2017, 7.2.1.7: a deviation from a method is documented, justified, authorised and accepted by the
    customer."""
    if done.amendment.record == "method":
        yield Finding(
            "note",
            records.file("run"),
            place_of(done.number, done.what),
            f"a departure from the method: {done.amendment.was or 'nothing'} is now {done.amendment.to or 'nothing'}",
            "departures that are justified, authorised and accepted by the customer",
            "keep the authorisation with the run",
        )
