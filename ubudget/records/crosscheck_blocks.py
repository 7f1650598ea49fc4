"""Calibration blocks: every reading in one, samples with standards beside them, and why a solution was read again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from ubudget.records.additions import StandardAdditions
from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_run import reading_place
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.finding import Finding
from ubudget.records.read_order import calibration_of, check_label, is_internal_standard
from ubudget.records.records import Records
from ubudget.records.run import Reading, Run


def block_findings(records: Records) -> list[Finding]:
    run = records.run
    if run is None:
        return []
    calibration = calibration_of(records.method)
    named = any(reading.block for reading in run.readings)
    found = list(_stated(records, run))
    if named:
        found += [*_without_block(records, run), *_not_covered(records, calibration)]
    return [*found, *_read_again(records, run, calibration)]


def _stated(records: Records, run: Run) -> Iterator[Finding]:
    """Tables [[block]]: of blocks that the readings have, each once."""
    present = sorted({reading.block for reading in run.readings if reading.block})
    seen: set[str] = set()
    for number, block in enumerate(run.file.blocks, start=1):
        place = f"block {number} ({block.name})"
        if block.name in seen:
            yield Finding("stop", records.file("run"), place, "the block a second time", "each once", "delete one")
        elif block.name not in present:
            accepted = f"the blocks of the readings: {', '.join(present) or 'none'}"
            found = f"the unknown block {block.name}"
            yield Finding("stop", records.file("run"), f"{place}, name", found, accepted, "correct the name")
        seen.add(block.name)
    for number, mark in enumerate(run.file.exclusions, start=1):
        if mark.block and mark.block not in present:
            found, accepted = (
                f"the unknown block {mark.block}",
                f"blocks of the readings: {', '.join(present) or 'none'}",
            )
            place = f"exclude_reading {number} ({mark.solution}), block"
            yield Finding("stop", records.file("run"), place, found, accepted, "correct the name")


def _without_block(records: Records, run: Run) -> Iterator[Finding]:
    rows = [reading for reading in run.readings if not reading.block]
    if rows:
        more = f" (and {len(rows) - 1} more rows)" if len(rows) > 1 else ""
        place = f"{reading_place(rows[0])}, block"
        accepted = "a block for every reading, or for none"
        yield Finding("stop", records.file("readings"), place, f"no block{more}", accepted, "name the block")


def _not_covered(records: Records, calibration: Calibration | None) -> Iterator[Finding]:
    if calibration is not None and check_label(calibration):
        found = "calibration blocks beside a correction for drift"
        accepted = "one of the two: a block's own standards follow the drift already"
        yield Finding("stop", records.file("readings"), "block", found, accepted, "take out the drift or the blocks")
    if any(isinstance(symbol, DeviceConcentration) for symbol in records.method.symbols.values()):
        found = "calibration blocks, though the device gives concentrations by curves of its own"
        yield Finding("stop", records.file("readings"), "block", found, "no block", "delete the column block")
    if any(isinstance(symbol, StandardAdditions) for symbol in records.method.symbols.values()):
        found = "calibration blocks, though every solution has a line of its own by standard additions"
        yield Finding("stop", records.file("readings"), "block", found, "no block", "delete the column block")


def _read_again(records: Records, run: Run, calibration: Calibration | None) -> Iterator[Finding]:
    """A solution that is no standard is read once on a line, or again in a later block with the reason."""
    file = records.file("readings")
    standards = {standard.label for standard in run.file.standards}
    blocks = {reading.block: turn for turn, reading in reversed(list(enumerate(run.readings)))}
    read: dict[tuple[str, str, str], list[Reading]] = defaultdict(list)
    for reading in run.readings:
        if not is_internal_standard(reading, calibration):
            read[reading.solution, reading.analyte, reading.line].append(reading)
    for (solution, _, _), rows in read.items():
        rows = sorted(rows, key=lambda reading: blocks[reading.block])
        for turn, reading in enumerate(rows):
            place = f"{reading_place(reading)}, rerun"
            if solution in standards:
                if reading.rerun:
                    found, accepted = "a standard marked as read again", "standards in every block, without that mark"
                    yield Finding("stop", file, place, found, accepted, "delete the mark")
            elif turn and reading.block != rows[turn - 1].block and not reading.rerun:
                found = f"no reason, though {solution} was read on this line in block {rows[turn - 1].block} before"
                accepted = "why it was read again, in the column rerun: this reading then takes over"
                yield Finding("stop", file, place, found, accepted, "say why, or correct the label")
            elif not turn and reading.rerun:
                found = "a mark for a solution that was not read on this line in an earlier block"
                accepted = "the mark beside the later reading"
                yield Finding("stop", file, place, found, accepted, "correct the mark or the label")
