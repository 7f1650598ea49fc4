"""Checks carried in the run: solutions and samples that exist, figures in a unit that converts, a limit for each."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.device_concentration import check_of
from ubudget.records.finding import Finding
from ubudget.records.method import Blank
from ubudget.records.quality import QualityLimit, Spike, limit_for
from ubudget.records.read_order import READ_AS, calibration_of
from ubudget.records.records import Records
from ubudget.records.run import Run
from ubudget.records.unit_comparison import in_unit


def quality_findings(records: Records) -> list[Finding]:
    found = list(_limits(records))
    if records.run is not None:
        run = records.run
        for findings in (_check_solutions(records, run), _spikes(records, run), _duplicates(records, run)):
            found.extend(findings)
    return found


def _limits(records: Records) -> Iterator[Finding]:
    method, file = records.method, records.file("method")
    seen: set[tuple[str, str]] = set()
    blank = next((symbol for symbol in method.symbols.values() if isinstance(symbol, Blank)), None)
    for number, limit in enumerate(method.quality_limits, start=1):
        place = f"quality_limit {number} ({limit.kind})"
        for analyte in limit.analytes or ("",):
            if analyte and analyte not in method.analytes:
                accepted = f"analytes of the method: {', '.join(method.analytes) or 'none yet'}"
                found = f"the unknown analyte {analyte}"
                yield Finding("stop", file, f"{place}, analytes", found, accepted, "correct the name")
            elif (limit.kind, analyte) in seen:
                found = f"a second limit of {limit.kind}s" + (f" for {analyte}" if analyte else "")
                yield Finding("stop", file, place, found, "one limit for each kind and analyte", "delete one")
            seen.add((limit.kind, analyte))
        if limit.kind == "blank" and blank is None:
            accepted = "a symbol of the operation blank"
            yield Finding("stop", file, place, "a limit of blanks without a blank", accepted, "delete the limit")
        elif limit.kind == "check solution" and not any(isinstance(s, READ_AS) for s in method.symbols.values()):
            accepted = "a symbol of the operation calibration or device concentration"
            found = "a limit of check solutions, of which the method reads nothing"
            yield Finding("stop", file, place, found, accepted, "delete the limit")
        else:
            yield from _figures(limit, records, blank, file, place)


def _figures(limit: QualityLimit, records: Records, blank: Blank | None, file: str, place: str) -> Iterator[Finding]:
    if limit.recovery is not None:
        low, high = (in_unit(amount.value, amount.unit, "%") for amount in limit.recovery)
        if low is None or high is None or not limit.recovery[0].unit or not low < high:
            found = " to ".join(amount.text for amount in limit.recovery)
            accepted = 'two recoveries in %, the lower first, e.g. ["90 %", "110 %"]'
            yield Finding("stop", file, f"{place}, recovery", found, accepted, "correct the limits")
    elif limit.at_most is not None:
        unit = blank.unit if limit.kind == "blank" and blank is not None else records.method.document.unit
        relative = limit.kind == "duplicate" and limit.at_most.unit == "%"
        if not relative and in_unit(limit.at_most.value, limit.at_most.unit, unit) is None:
            accepted = f"a limit in {unit}" + (" or in %" if limit.kind == "duplicate" else "")
            yield Finding("stop", file, f"{place}, at_most", limit.at_most.text, accepted, "correct the unit")


def _check_solutions(records: Records, run: Run) -> Iterator[Finding]:
    """Check solutions that limits may judge; what the curve of a device asks of them is looked at there."""
    calibration, file = calibration_of(records.method), records.file("run")
    if calibration is None:
        return
    read = {check_of(reading.solution, run.file.checks) for reading in run.readings}
    for number, check in enumerate(run.file.checks):
        place = f"check_solution {number + 1} ({check.label})"
        if number not in read:
            found, accepted = f"no reading of {check.label}", "a check solution that was read"
            yield Finding("attend", file, place, found, accepted, "add the readings, or correct the label")
        for analyte, amount in check.concentration.items():
            if analyte not in records.method.analytes:
                yield _unknown_analyte(records, analyte, file, f"{place}, concentration")
            elif in_unit(amount.value, amount.unit, calibration.unit) is None:
                accepted = f"a concentration in {calibration.unit}"
                yield Finding("stop", file, f"{place}, {analyte}", amount.text, accepted, "correct the unit")
            else:
                yield from _without_limit(records, "check solution", analyte, file, place)


def _spikes(records: Records, run: Run) -> Iterator[Finding]:
    file, unit = records.file("run"), records.method.document.unit
    for number, spike in enumerate(run.file.spikes, start=1):
        place = f"spike {number} ({spike.sample})"
        yield from _samples(run, (spike.sample, spike.of), file, place)
        yield from _added(records, spike, unit, file, place)


def _added(records: Records, spike: Spike, unit: str, file: str, place: str) -> Iterator[Finding]:
    for analyte, amount in spike.added.items():
        if analyte not in records.method.analytes:
            yield _unknown_analyte(records, analyte, file, f"{place}, added")
        elif in_unit(amount.value, amount.unit, unit) is None:
            accepted = f"what was added in the unit of results, {unit}"
            yield Finding("stop", file, f"{place}, added, {analyte}", amount.text, accepted, "correct the unit")
        else:
            yield from _without_limit(records, "spike", analyte, file, place)


def _duplicates(records: Records, run: Run) -> Iterator[Finding]:
    file = records.file("run")
    for number, pair in enumerate(run.file.duplicates, start=1):
        place = f"duplicate {number} ({pair.samples[0]})"
        yield from _samples(run, pair.samples, file, place)
        for analyte in records.method.analytes:
            yield from _without_limit(records, "duplicate", analyte, file, place)


def _samples(run: Run, names: tuple[str, str], file: str, place: str) -> Iterator[Finding]:
    known = {portion.sample for portion in run.portions if portion.kind != "blank"}
    for name in names:
        if name not in known:
            accepted = "a sample of the samples table"
            yield Finding("stop", file, place, f"the unknown sample {name}", accepted, "correct the label")
    if names[0] == names[1]:
        yield Finding("stop", file, place, f"{names[0]} beside itself", "two samples", "correct one of the labels")


def _unknown_analyte(records: Records, analyte: str, file: str, place: str) -> Finding:
    accepted = f"analytes of the method: {', '.join(records.method.analytes) or 'none yet'}"
    return Finding("stop", file, place, f"the unknown analyte {analyte}", accepted, "correct the name")


def _without_limit(records: Records, kind: str, analyte: str, file: str, place: str) -> Iterator[Finding]:
    if limit_for(records.method.quality_limits, kind, analyte) is None:
        found = f"a {kind} that nothing judges: the method sets no limit for {analyte}"
        accepted = f'a table [[quality_limit]] with kind = "{kind}"'
        yield Finding("attend", file, place, found, accepted, "add the limit to the method")
