"""Scatter of one reading by level, as stated for the weights: units, order, and a statement for every line."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.calibration import BY_LEVEL, Calibration, levels_for
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.run import Run
from ubudget.records.run_index import index_of
from ubudget.records.unit_comparison import in_unit


def level_s_findings(records: Records, run: Run, symbol: str, calibration: Calibration) -> Iterator[Finding]:
    file, place = records.file("method"), f"symbol {symbol}"
    if calibration.weights != BY_LEVEL:
        if calibration.level_s:
            found = f'level_s, which weights = "{calibration.weights}" does not use'
            accepted, remedy = f'level_s beside weights = "{BY_LEVEL}"', "take it out or correct weights"
            yield Finding("attend", file, f"{place}, level_s", found, accepted, remedy)
        return
    accepted = "tables [[symbols.c.level_s]] with concentration, s and dof of one reading".replace(".c.", f".{symbol}.")
    if not calibration.level_s:
        found = f'weights = "{BY_LEVEL}" without level_s'
        yield Finding("stop", file, f"{place}, weights", found, accepted, "add the tables")
        return
    yield from _units(records, run, file, place, calibration)
    yield from _names(records, file, place, calibration)
    yield from _order(file, place, calibration)
    index = index_of(run)
    read = dict.fromkeys((r.analyte, r.line) for r in run.readings if index.root(r.solution) is not None)
    for analyte, line in read:
        if analyte in records.method.analytes and not levels_for(calibration, analyte, line):
            found = f"no level_s for {analyte} {line}".strip()
            remedy = "add its levels, or levels without analyte and line for all others"
            yield Finding("stop", file, f"{place}, level_s", found, "levels for every line that is read", remedy)


def _units(records: Records, run: Run, file: str, place: str, calibration: Calibration) -> Iterator[Finding]:
    for number, level in enumerate(calibration.level_s, start=1):
        for key, amount, unit in (
            ("concentration", level.concentration, calibration.unit),
            ("s", level.s, run.file.run.reading_unit),
        ):
            if in_unit(amount.value, amount.unit, unit) is None:
                found = f"{amount.text}, which does not convert to {unit or '1'}"
                what = "a concentration" if key == "concentration" else "a standard deviation of readings"
                accepted = f"{what} in {unit or '1'}"
                yield Finding("stop", file, f"{place}, level_s {number}, {key}", found, accepted, "correct the unit")


def _names(records: Records, file: str, place: str, calibration: Calibration) -> Iterator[Finding]:
    analytes = records.method.analytes
    for number, level in enumerate(calibration.level_s, start=1):
        at = f"{place}, level_s {number}"
        lines = (
            analytes.get(level.analyte, ()) if level.analyte else [one for some in analytes.values() for one in some]
        )
        if level.analyte and level.analyte not in analytes:
            accepted = f"the analytes of the method: {', '.join(analytes) or 'none yet'}"
            yield Finding("stop", file, at, f"the unknown analyte {level.analyte}", accepted, "correct the analyte")
        elif level.line and level.line not in lines:
            accepted = f"lines of the method: {', '.join(lines) or 'none'}"
            yield Finding("stop", file, at, f"the unknown line {level.line}", accepted, "correct the line")


def _order(file: str, place: str, calibration: Calibration) -> Iterator[Finding]:
    """Levels of one statement rise, so that there is one s between two of them."""
    before: dict[tuple[str, str], float] = {}
    for number, level in enumerate(calibration.level_s, start=1):
        at = in_unit(level.concentration.value, level.concentration.unit, calibration.unit)
        key = (level.analyte, level.line)
        if at is None:
            continue
        if key in before and at <= before[key]:
            found = f"{level.concentration.text}, which is not above the level before it"
            accepted = "levels by rising concentration, each once"
            yield Finding("stop", file, f"{place}, level_s {number}", found, accepted, "bring the levels into order")
        before[key] = at
