"""Internal standard, drift check, order of reading, and blanks that would be subtracted twice."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from ubudget.records.calibration import Calibration
from ubudget.records.corrections import Drift, InternalStandard
from ubudget.records.crosscheck_run import portion_place, reading_place
from ubudget.records.finding import Finding
from ubudget.records.method import Blank
from ubudget.records.read_order import calibration_of, check_label, is_internal_standard, positions
from ubudget.records.records import Records
from ubudget.records.run import Reading, Run
from ubudget.records.unit_comparison import in_unit


def correction_findings(records: Records) -> list[Finding]:
    run = records.run
    if run is None:
        return []
    calibration = calibration_of(records.method)
    found = [*_order(records, run, calibration), *_blank_twice(records, run), *_marks(records, run, calibration)]
    if calibration is None:
        return found
    if calibration.internal_standard is not None:
        found += _internal_standard(records, run, calibration, calibration.internal_standard)
    if calibration.drift is not None:
        found += _drift(records, run, calibration, calibration.drift)
    return found


def _order(records: Records, run: Run, calibration: Calibration | None) -> Iterator[Finding]:
    """One row for each solution, analyte and line; one position for each solution; the check read again."""
    check, file = check_label(calibration), records.file("readings")
    rows: dict[tuple[str | int, ...], Reading] = {}
    position_of: dict[tuple[str, str], int] = {}
    held: dict[int, str] = {}
    for reading, position in zip(run.readings, positions(run), strict=True):
        checks = reading.solution == check
        key = (reading.solution, reading.analyte, reading.line, reading.block, *((position,) if checks else ()))
        named = " ".join(part for part in (reading.solution, reading.analyte, reading.line) if part)
        if key in rows:
            found = f"the readings of {named} a second time (first in row {rows[key].row + 1})"
            accepted = "one row for each solution, analyte and line"
            remedy = "put the replicates into one row, or correct the label"
            yield Finding("stop", file, reading_place(reading), found, accepted, remedy)
            continue
        rows[key] = reading
        event = (reading.solution, reading.block)
        if not checks and position_of.setdefault(event, position) != position:
            found = f"{reading.solution} at position {position} and at {position_of[event]}"
            accepted = "one position for each solution; only the drift check is read again"
            yield Finding("stop", file, f"{reading_place(reading)}, position", found, accepted, "correct the position")
        elif held.setdefault(position, reading.solution) != reading.solution:
            found = f"{reading.solution} at position {position}, which {held[position]} holds"
            accepted = "one solution at each position"
            yield Finding("stop", file, f"{reading_place(reading)}, position", found, accepted, "correct the position")


def _blank_twice(records: Records, run: Run) -> Iterator[Finding]:
    """A device blank in the readings, and the same blank subtracted by a symbol once more."""
    for name, symbol in records.method.symbols.items():
        if isinstance(symbol, Blank) and symbol.kind != "procedural" and run.file.run.device_blank == "applied":
            found = (
                f"a blank applied twice: by the device, and as the {symbol.kind} blank {name} of the method "
                "(a calibration blank on the curve and a procedural blank are other things)"
            )
            accepted = "each blank subtracted once"
            remedy = f"take {name} out of the equation, or give readings without the device's blank subtracted"
            yield Finding("stop", records.file("run"), "run, device_blank", found, accepted, remedy)


def _marks(records: Records, run: Run, calibration: Calibration | None) -> Iterator[Finding]:
    """Readings of the check are named by their position as well."""
    check = check_label(calibration)
    for number, mark in enumerate(run.file.exclusions, start=1):
        place = f"exclude_reading {number} ({mark.solution}), position"
        if mark.solution == check and mark.position is None:
            found, remedy = f"no position, though {check} was read several times", "add position = ..."
            yield Finding("stop", records.file("run"), place, found, "the position of the reading", remedy)
        elif mark.solution != check and mark.position is not None:
            found, remedy = f"position {mark.position} for a solution that was read once", "delete the position"
            yield Finding("stop", records.file("run"), place, found, "a position for the drift check alone", remedy)


def _singles(records: Records, run: Run, what: str) -> Iterator[Finding]:
    """Corrections act on single readings."""
    summary = next((reading for reading in run.readings if reading.mean is not None), None)
    if summary is not None:
        found = f"mean, s and n, where the {what} needs each reading"
        remedy = "give the replicate columns r1, r2, ..."
        yield Finding("stop", records.file("readings"), reading_place(summary), found, "single readings", remedy)


def _left_out(run: Run, check: str | None) -> set[tuple[str, str, str, int, int | None, str]]:
    return {
        (
            mark.solution,
            mark.analyte,
            mark.line,
            mark.replicate,
            mark.position if mark.solution == check else None,
            mark.block,
        )
        for mark in run.file.exclusions
    }


def _internal_standard(
    records: Records, run: Run, calibration: Calibration, standard: InternalStandard
) -> Iterator[Finding]:
    """A reading above zero beside every reading."""
    file, check = records.file("readings"), check_label(calibration)
    name = f"{standard.analyte} {standard.line}".strip()
    yield from _singles(records, run, "internal standard")
    place = next(
        f"symbol {key}, internal_standard" for key, value in records.method.symbols.items() if value is calibration
    )
    if standard.added is None and not standard.online:
        found = "no word on the amount added"
        accepted = "added (relative standard uncertainty, one solution), or online = true (cancels)"
        yield Finding("attend", records.file("method"), place, found, accepted, "say how it is added")
    if standard.added is not None and in_unit(standard.added.value, standard.added.unit, "%") is None:
        found, accepted = f"{standard.added.text}, which is not relative", "a relative standard uncertainty in %"
        yield Finding("stop", records.file("method"), f"{place}, added", found, accepted, "correct the unit")
    out = _left_out(run, check)
    beside: dict[tuple[str, int], int] = {}
    for reading, position in zip(run.readings, positions(run), strict=True):
        if not is_internal_standard(reading, calibration):
            continue
        beside[reading.solution, position] = len(reading.values)
        turn = position if reading.solution == check else None
        for replicate, value in enumerate(reading.values, start=1):
            key = (reading.solution, reading.analyte, reading.line, replicate, turn, reading.block)
            if value <= 0 and key not in out:
                found = f"the internal standard's reading {value:g}"
                remedy = "leave it out with its reason, or correct it"
                yield Finding("stop", file, f"{reading_place(reading)}, r{replicate}", found, "above zero", remedy)
    told: set[tuple[str, int]] = set()
    for reading, position in zip(run.readings, positions(run), strict=True):
        event = (reading.solution, position)
        if is_internal_standard(reading, calibration) or event in told or reading.mean is not None:
            continue
        has = beside.get(event, 0)
        if has < len(reading.values):
            told.add(event)
            found = f"no reading of the internal standard {name} beside " + (f"r{has + 1}" if has else "this one")
            accepted = "one in each solution for each replicate"
            yield Finding("stop", file, reading_place(reading), found, accepted, f"add the readings of {name}")


def _drift(records: Records, run: Run, calibration: Calibration, drift: Drift) -> Iterator[Finding]:
    """Checks on every line, above zero, from before the last solution to after it."""
    file, check = records.file("readings"), drift.check
    yield from _singles(records, run, "drift correction")
    if drift.residual is not None and in_unit(drift.residual.value, drift.residual.unit, "%") is None:
        found, accepted = f"{drift.residual.text}, which is not relative", "a relative standard uncertainty in %"
        yield Finding("stop", records.file("method"), "drift, residual", found, accepted, "correct the unit")
    for number, standard in enumerate(run.file.standards, start=1):
        if standard.label == check:
            found, accepted = "the drift check among the standards of the curve", "a label of its own for the check"
            yield Finding("stop", records.file("run"), f"standard {number} ({check})", found, accepted, "rename it")
    for portion in run.portions:
        if portion.solution == check:
            found, accepted = "the drift check among the samples", "a label of its own for the check"
            yield Finding("stop", records.file("samples"), portion_place(portion), found, accepted, "rename it")
    checks: dict[tuple[str, str], list[tuple[int, Reading]]] = defaultdict(list)
    others: dict[tuple[str, str], list[tuple[int, Reading]]] = defaultdict(list)
    for reading, position in zip(run.readings, positions(run), strict=True):
        if not is_internal_standard(reading, calibration):
            side = checks if reading.solution == check else others
            side[reading.analyte, reading.line].append((position, reading))
    out = _left_out(run, check)
    for (analyte, line), read in others.items():
        name = f"{analyte} {line}".strip()
        last_check = max((position for position, _ in checks[analyte, line]), default=None)
        position, last = max(read, key=lambda item: item[0])
        accepted = f"readings of {check} before and after the solutions"
        if last_check is None:
            found = f"no reading of the drift check {check}"
            yield Finding("stop", file, f"drift of {name}", found, accepted, f"add the readings of {check}")
        elif position > last_check:
            found = (
                f"drift check missing at one end: {last.solution} at position {position}, last check at {last_check}"
            )
            yield Finding("stop", file, f"drift of {name}", found, accepted, f"read {check} once more at the end")
    for (analyte, line), read in checks.items():
        for position, reading in read:
            for replicate, value in enumerate(reading.values, start=1):
                if value <= 0 and (check, analyte, line, replicate, position, "") not in out:
                    found, remedy = f"the drift check's reading {value:g}", "leave it out with its reason"
                    yield Finding("stop", file, f"{reading_place(reading)}, r{replicate}", found, "above zero", remedy)
        if read and all(len(reading.values) < 2 for _, reading in read):
            place = f"drift of {f'{analyte} {line}'.strip()}"
            found, accepted = "one reading at each check, which gives no scatter", "two readings at one check or more"
            yield Finding("attend", file, place, found, accepted, f"read {check} twice at each check")
