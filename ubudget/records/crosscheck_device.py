"""Concentrations of a device against the run: the part of its curve has evidence for each line, and is never zero."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_run import reading_place
from ubudget.records.device_concentration import DeviceConcentration, check_of
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.run import Reading, Run
from ubudget.records.run_index import RunIndex, index_of
from ubudget.records.stated import Stated
from ubudget.records.unit_comparison import in_unit

_WAYS = '"declared" with tables curve, "check solutions", or "exported standards"'
Line = tuple[str, str]


def device_findings(records: Records) -> list[Finding]:
    symbols = records.method.symbols
    names = [name for name, symbol in symbols.items() if isinstance(symbol, DeviceConcentration)]
    found: list[Finding] = []
    calibrated = any(isinstance(symbol, Calibration) for symbol in symbols.values())
    if not names and not calibrated and records.run is not None and records.run.file.checks:
        words = "check solutions, which the method has no use for"
        accepted = 'a method with operation = "device concentration" or "calibration"'
        remedy = "take them out"
        found.append(Finding("stop", records.file("run"), "check_solution", words, accepted, remedy))
    for name in names[1:]:
        found.append(_stop(records, name, "a second device concentration", "one in a method", "take it out"))
    if names and calibrated:
        words = "a device concentration beside a calibration"
        found.append(_stop(records, names[0], words, "one of them", "take one out"))
    for name in names[:1]:
        symbol = symbols[name]
        assert isinstance(symbol, DeviceConcentration)
        lines = _lines(records)
        if symbol.curve_from is None:
            words = "no part of the device's curve, which would count as zero"
            found.append(_stop(records, f"{name}, curve_from", words, _WAYS, "say where the curve's part comes from"))
        elif symbol.curve_from == "declared":
            found += _declared(records, name, symbol, lines)
        elif records.run is not None and symbol.curve_from == "check solutions":
            found += _checks(records, records.run, name, symbol, lines)
        elif records.run is not None:
            found += _standards(records, records.run, name, symbol, lines)
        if records.run is not None:
            found += _scatter(records, records.run, symbol)
    return found


def _stop(records: Records, place: str, found: str, accepted: str, remedy: str) -> Finding:
    return Finding("stop", records.file("method"), f"symbol {place}", found, accepted, remedy)


def _lines(records: Records) -> list[Line]:
    """Lines that the run reads; those of the method where there is no run."""
    if records.run is not None and records.run.readings:
        return list(dict.fromkeys((reading.analyte, reading.line) for reading in records.run.readings))
    return [(analyte, line) for analyte, lines in records.method.analytes.items() for line in (lines or ("",))]


def _zero(stated: Stated) -> bool:
    """Whether a statement makes nothing of the uncertainty."""
    return not stated.states_uncertainty or stated.exact or (stated.u is not None and stated.u.value == 0)


def _declared(records: Records, name: str, symbol: DeviceConcentration, lines: list[Line]) -> Iterator[Finding]:
    for number, part in enumerate(symbol.curve, start=1):
        place = f"{name}, curve {number}"
        if _zero(part) or part.readings is not None:
            accepted = "u, U with k, or half_width, above zero"
            yield _stop(records, place, "no uncertainty above zero", accepted, "state the uncertainty of the curve")
        elif not part.source:
            yield _stop(records, place, "no source", "where the figure comes from", "add source = …")
        if part.matrix:
            yield _stop(records, place, f"the matrix {part.matrix}", "analyte and line", "take the matrix out")
    for analyte, line in lines:
        fits = [p for p in symbol.curve if p.analyte in ("", analyte) and p.line in ("", line, f"{analyte} {line}")]
        if not fits:
            found = f"no u of the device's curve for {f'{analyte} {line}'.strip()}"
            accepted = f"a table [[symbols.{name}.curve]] for it, or one without analyte and line"
            yield _stop(records, f"{name}, curve", found, accepted, "declare it, or choose another curve_from")


def _checks(records: Records, run: Run, name: str, symbol: DeviceConcentration, lines: list[Line]) -> Iterator[Finding]:
    file, index = records.file("run"), index_of(run)
    for number, check in enumerate(run.file.checks, start=1):
        place = f"check_solution {number} ({check.label})"
        if check.u is None or not check.u.relative:
            found = "no u" if check.u is None else check.u.text
            yield Finding("stop", file, f"{place}, u", found, "relative to the value, in %", "state it in %")
        for analyte, amount in check.concentration.items():
            if in_unit(amount.value, amount.unit, symbol.unit) is None:
                accepted = f"a unit that converts to {symbol.unit}"
                yield Finding("stop", file, f"{place}, {analyte}", amount.text, accepted, "correct the unit")
    for line in lines:
        read = [
            reading
            for reading in _of_line(run, line)
            if (row := check_of(reading.solution, run.file.checks)) is not None
            and line[0] in run.file.checks[row].concentration
            and index.included(reading)
        ]
        if len(read) < 2:
            words = " ".join(line).strip()
            found = f"{len(read) or 'no'} reading{'' if len(read) == 1 else 's'} of a check solution on {words}"
            accepted = "two check solutions or more, or one measured again (CHK, CHK #2)"
            remedy = "add tables [[check_solution]] and readings, or choose another curve_from"
            yield _stop(records, f"{name}, curve_from", found, accepted, remedy)


def _standards(
    records: Records, run: Run, name: str, symbol: DeviceConcentration, lines: list[Line]
) -> Iterator[Finding]:
    if symbol.standards is None or _zero(symbol.standards) or symbol.standards.readings is not None:
        found = "no uncertainty of the standards' own values, which their residuals do not hold"
        accepted = f'a table [symbols.{name}.standards] with u = "0.5 %" or the like, and its source'
        yield _stop(records, f"{name}, standards", found, accepted, "state what all their values share")
    index = index_of(run)
    stated = {standard.label: standard.concentration for standard in run.file.standards}
    for analyte, line in lines:
        words = f"{analyte} {line}".strip()
        used = [r for r in _of_line(run, (analyte, line)) if r.solution in stated and index.included(r)]
        for reading in used:
            amount = stated[reading.solution].get(analyte)
            if amount is None or in_unit(amount.value, amount.unit, symbol.unit) is None:
                found = f"no nominal value of {analyte} in {symbol.unit} for standard {reading.solution}"
                accepted = "concentrations of the exported standards in [[standard]]"
                yield Finding("stop", records.file("run"), "standard", found, accepted, "state it")
        if len(used) <= symbol.curve_parameters:
            found = f"{len(used) or 'no'} exported standards on {words}"
            accepted = f"more than the {symbol.curve_parameters} parameters of the curve"
            remedy = "export the standards, or choose another curve_from"
            yield _stop(records, f"{name}, curve_from", found, accepted, remedy)


def _of_line(run: Run, line: Line) -> list[Reading]:
    return [reading for reading in run.readings if (reading.analyte, reading.line) == line]


def _scatter(records: Records, run: Run, symbol: DeviceConcentration) -> Iterator[Finding]:
    index, file = index_of(run), records.file("readings")
    sampled = [reading for reading in run.readings if index.root(reading.solution) is not None]
    if symbol.scatter == "own":
        for reading in sampled:
            portion = index.root(reading.solution)
            if portion is not None and portion.kind != "blank" and index.included(reading) == 1:
                found = "one reading, whose own standard deviation the method asks for"
                remedy = 'export single readings, or use scatter = "pooled"'
                yield Finding("stop", file, reading_place(reading), found, "two readings or more", remedy)
        return
    for label in symbol.pooled_over:
        if label not in {reading.solution for reading in sampled}:
            found, accepted = f"the unknown solution {label}", "solutions of samples and blanks with readings"
            yield Finding("stop", records.file("method"), "pooled_over", found, accepted, "correct it")
    for line in dict.fromkeys((reading.analyte, reading.line) for reading in sampled):
        if not any(_pools(reading, symbol, index) for reading in _of_line(run, line)):
            found = f"no solution with two readings to pool over on {' '.join(line).strip()}"
            yield Finding("stop", file, "whole file", found, "two readings or more of one solution", "add readings")


def _pools(reading: Reading, symbol: DeviceConcentration, index: RunIndex) -> bool:
    portion = index.root(reading.solution)
    named = reading.solution in symbol.pooled_over if symbol.pooled_over else portion is not None
    blank = portion is not None and portion.kind == "blank" and not symbol.pooled_over
    return named and not blank and index.included(reading) > 1
