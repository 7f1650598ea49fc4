"""The order of reading, and the readings of a run without those of internal standard and drift check."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from ubudget.records.calibration import Calibration
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.method import Method
from ubudget.records.run import Exclusion, Reading, Run

READ_AS = (Calibration, DeviceConcentration)
"""Operations that give the concentration of a solution as it was read."""


def calibration_of(method: Method) -> Calibration | None:
    """The one calibration symbol of a method."""
    return next((symbol for symbol in method.symbols.values() if isinstance(symbol, Calibration)), None)


def positions(run: Run) -> list[int]:
    """Position in the run of every row of its readings."""
    return positions_of(run.readings)


def positions_of(readings: Sequence[Reading]) -> list[int]:
    """The same of readings alone.

    Without the column `position` it is the order in which solutions first appear in the file; a solution listed again
    for the same analyte and line was read again."""
    place: dict[tuple[str, str, int], int] = {}
    times: dict[tuple[str, str, str, str], int] = defaultdict(int)
    found = []
    for reading in readings:
        key = (reading.solution, reading.analyte, reading.line, reading.block)
        times[key] += 1
        turn = place.setdefault((reading.solution, reading.block, times[key]), len(place) + 1)
        found.append(turn if reading.position is None else reading.position)
    return found


def corrected_by(method: Method, analyte: str) -> set[str]:
    """The analyte with those whose readings correct its own: interferents, and the internal standard."""
    found, waiting = {analyte}, [analyte]
    while waiting:
        here = waiting.pop()
        fresh = {overlap.interferent for overlap in method.overlaps if overlap.analyte == here} - found
        found |= fresh
        waiting += sorted(fresh)
    calibration = calibration_of(method)
    if calibration is not None and calibration.internal_standard is not None:
        found.add(calibration.internal_standard.analyte)
    return found


def check_label(calibration: Calibration | None) -> str | None:
    """The solution that is read again and again to follow the drift."""
    return calibration.drift.check if calibration is not None and calibration.drift is not None else None


def is_internal_standard(reading: Reading | Exclusion, calibration: Calibration | None) -> bool:
    standard = calibration.internal_standard if calibration is not None else None
    return standard is not None and (reading.analyte, reading.line) == (standard.analyte, standard.line)


def measured_run(run: Run, calibration: Calibration | None) -> Run:
    """The run with the readings that give results alone. A reading is left out where that of the internal standard
    beside it is."""
    check = check_label(calibration)
    kept = tuple(
        reading
        for reading in run.readings
        if reading.solution != check and not is_internal_standard(reading, calibration)
    )
    exclusions = []
    for mark in run.file.exclusions:
        if mark.solution == check:
            continue
        if not is_internal_standard(mark, calibration):
            exclusions.append(mark)
            continue
        exclusions += [
            replace(mark, analyte=reading.analyte, line=reading.line)
            for reading in kept
            if (reading.solution, reading.block) == (mark.solution, mark.block)
        ]
    return replace(run, readings=kept, file=replace(run.file, exclusions=tuple(exclusions)))
