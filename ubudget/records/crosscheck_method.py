"""The method against itself: symbols, cases, correlations, status and dates."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ubudget.records.additions import StandardAdditions
from ubudget.records.calibration import Calibration
from ubudget.records.case import Selector, named_selectors
from ubudget.records.crosscheck_equations import equation_findings
from ubudget.records.crosscheck_ware import part_volume_findings
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.finding import Finding, Severity
from ubudget.records.method import (
    Blank,
    DryMassFactor,
    Input,
    InputCase,
    LineParameter,
    Method,
    Precision,
    PrecisionCase,
)
from ubudget.records.records import Records
from ubudget.records.temperature import Temperature
from ubudget.records.unit_comparison import in_unit
from ubudget.records.volume import Dilution, Volume
from ubudget.records.weighing import Weighing

_STATED = "u; U with k; half_width with distribution; rounded_to; readings; components; or exact = true"


def method_findings(method: Method, file: str) -> list[Finding]:
    """What the method shows alone, whatever the run."""
    return [
        *equation_findings(method, file),
        *_symbols(method, file),
        *_cases(method, file),
        *_correlations(method, file),
    ]


def method_in_run_findings(records: Records) -> list[Finding]:
    """What the method lacks for this run, or for standing alone."""
    file = records.file("method")
    return [
        *_completeness(records, file),
        *_document(records, file),
        *_shared_temperatures(records, file),
    ]


def _finding(file: str, place: str, found: str, accepted: str, remedy: str, severity: Severity = "stop") -> Finding:
    return Finding(severity, file, place, found, accepted, remedy)


def _completeness(records: Records, file: str) -> Iterator[Finding]:
    """Symbols that lack what this run needs."""
    for name, symbol in records.method.symbols.items():
        place = f"symbol {name}"
        if records.run is None and needs_run(symbol):
            yield _finding(
                file,
                place,
                f"the operation {symbol.operation}, which needs a run",
                "a method alone where every symbol carries its own estimate",
                "give a run folder",
            )
        if isinstance(symbol, Input):
            yield from _input(symbol, records, file, place)


def _symbols(method: Method, file: str) -> Iterator[Finding]:
    """Symbols that lack what their operation needs."""
    for name, symbol in method.symbols.items():
        place = f"symbol {name}"
        if isinstance(symbol, Volume):
            yield from _volume(symbol, file, place)
        elif isinstance(symbol, DryMassFactor):
            if bool(symbol.column) == (symbol.moisture is not None):
                accepted = "either column or moisture"
                yield _finding(file, place, "both or neither of column and moisture", accepted, "keep one")
            if not symbol.states_uncertainty:
                yield _finding(file, place, "no uncertainty", _STATED, "state the uncertainty")
            if symbol.moisture is not None and not 0 <= symbol.moisture.value < 100:
                found = f"a moisture of {symbol.moisture.text}"
                yield _finding(file, f"{place}, moisture", found, "0 % to below 100 %", "correct the value")
        elif isinstance(symbol, Precision):
            parts: tuple[Precision | PrecisionCase, ...] = (symbol, *symbol.cases)
            if not any(part.constant is not None or part.relative is not None for part in parts):
                accepted = "constant, relative or both"
                yield _finding(file, place, "no standard deviation", accepted, "add the standard deviation")
        elif isinstance(symbol, LineParameter):
            yield from _line_parameter(symbol, method, file, place)


def needs_run(symbol: object) -> bool:
    """Whether a symbol takes its value from samples or readings."""
    if isinstance(symbol, (Dilution, Calibration, StandardAdditions, DeviceConcentration, Blank)):
        return True
    columns = ("column", "tare_column", "gross_column", "net_column", "ware_column", "value_column")
    buoyancy = symbol.buoyancy if isinstance(symbol, Weighing) else None
    return any(getattr(symbol, column, "") for column in columns) or bool(buoyancy and buoyancy.density_column)


def _volume(symbol: Volume, file: str, place: str) -> Iterator[Finding]:
    yield from part_volume_findings(symbol, file, place)
    if not (symbol.ware or symbol.ware_column) and symbol.nominal is None and symbol.value is None:
        accepted = "ware, ware_column, or nominal with tolerance"
        yield _finding(file, place, "a volume without ware", accepted, "name the ware")
    elif not (symbol.ware or symbol.ware_column) and symbol.tolerance is None:
        yield _finding(file, place, "a volume without tolerance", "a tolerance with its unit", "add the tolerance")


def _input(symbol: Input, records: Records, file: str, place: str) -> Iterator[Finding]:
    """An input has an estimate and says its uncertainty, for every analyte, line and matrix of the run."""
    general_estimate = symbol.estimate is not None or bool(symbol.column) or symbol.readings is not None
    general_uncertainty = symbol.states_uncertainty or bool(symbol.components)
    if general_estimate and general_uncertainty:
        return
    told: set[str] = set()
    for analyte, line, matrix in _selections(records):
        fitting = [case for case in symbol.cases if applies(case, analyte, line, matrix)]
        for_whom = " ".join(part for part in (analyte, line, matrix) if part)
        words = f" for {for_whom}" if symbol.cases and for_whom else ""
        if not general_estimate and not any(_gives_estimate(case) for case in fitting):
            if f"estimate{words}" not in told:
                yield _finding(file, place, f"no estimate{words}", "estimate, column or readings", "add the estimate")
            told.add(f"estimate{words}")
        elif not general_uncertainty and not any(case.states_uncertainty for case in fitting):
            if f"uncertainty{words}" not in told:
                yield _finding(file, place, f"no uncertainty{words}", _STATED, "state the uncertainty")
            told.add(f"uncertainty{words}")


def _gives_estimate(case: InputCase) -> bool:
    return case.estimate is not None or case.readings is not None


def applies(case: Selector, analyte: str, line: str, matrix: str) -> bool:
    """Whether a case holds for an analyte, line and matrix; level bands aside."""
    return (
        case.analyte in ("", analyte) and case.line in ("", line, f"{analyte} {line}") and case.matrix in ("", matrix)
    )


def _selections(records: Records) -> list[tuple[str, str, str]]:
    lines = [(analyte, line) for analyte, lines in records.method.analytes.items() for line in lines or ("",)] or [
        ("", "")
    ]
    portions = records.run.portions if records.run else ()
    matrices = list(dict.fromkeys(portion.matrix for portion in portions if portion.kind != "blank")) or [""]
    return [(analyte, line, matrix) for analyte, line in lines for matrix in matrices]


def _line_parameter(symbol: LineParameter, method: Method, file: str, place: str) -> Iterator[Finding]:
    data = method.data.get(symbol.data)
    if data is None:
        accepted = f"the data of the method: {', '.join(method.data) or 'none yet'}"
        remedy = f"add a table [data.{symbol.data}] or correct the name"
        yield _finding(file, f"{place}, data", f"the unknown data {symbol.data}", accepted, remedy)
    elif len(data.x) < 3 or len(set(data.x)) < 2:
        found = f"{len(data.x)} points at {len(set(data.x))} values of x"
        yield _finding(
            file,
            f"data {symbol.data}",
            found,
            "three points or more at two values of x or more",
            "add points",
        )


def _cases(method: Method, file: str) -> Iterator[Finding]:
    """Selectors that name no analyte or line of the method."""
    all_lines = {line for lines in method.analytes.values() for line in lines}
    all_lines |= {f"{analyte} {line}" for analyte, lines in method.analytes.items() for line in lines}
    for name, symbol in method.symbols.items():
        for table, case in named_selectors(symbol):
            place = f"symbol {name}, {table}"
            if case.analyte and case.analyte not in method.analytes:
                accepted = f"the analytes of the method: {', '.join(method.analytes) or 'none yet'}"
                found = f"the unknown analyte {case.analyte}"
                yield _finding(file, f"{place}, analyte", found, accepted, "correct the analyte")
            if case.line and case.line not in all_lines:
                accepted = f"the lines of the method: {', '.join(sorted(all_lines)) or 'none yet'}"
                found = f"the unknown line {case.line}"
                yield _finding(file, f"{place}, line", found, accepted, "correct the line")


def _shared_temperatures(records: Records, file: str) -> Iterator[Finding]:
    """The temperature that all volumes of a run share is one deviation, and has one uncertainty.

    In a workbook it is one open cell, and an edit of that cell stands for all of them."""
    one_cell = [("temperature", "half_range"), ("temperature", "deviation")]
    if any(edit.document == "method" and edit.path[-2:] in one_cell for edit in records.edits):
        return
    first: tuple[str, Temperature] | None = None
    for name, symbol in records.method.symbols.items():
        temperature = symbol.temperature if isinstance(symbol, (Volume, Dilution, Calibration)) else None
        if temperature is None or not temperature.shared:
            continue
        if first is None:
            first = name, temperature
            continue
        other = first[1]
        here = in_unit(temperature.half_range.value, temperature.half_range.unit, "K")
        there = in_unit(other.half_range.value, other.half_range.unit, "K")
        if here != there or temperature.distribution != other.distribution:
            found = (
                f"a shared temperature of {temperature.half_range.text} ({temperature.distribution}), "
                f"for symbol {first[0]} {other.half_range.text} ({other.distribution})"
            )
            accepted = "one half_range and distribution for the one deviation that is shared"
            yield _finding(file, f"symbol {name}, temperature", found, accepted, "make them equal, or shared = false")
        if _kelvin(temperature) != _kelvin(other):
            found = f"a shared temperature with another deviation than for symbol {first[0]}"
            accepted = "one deviation for all volumes that share it"
            yield _finding(file, f"symbol {name}, temperature", found, accepted, "make them equal, or shared = false")


def _kelvin(temperature: Temperature) -> float | None:
    deviation = temperature.deviation
    return None if deviation is None else in_unit(deviation.value, deviation.unit, "K")


def _correlations(method: Method, file: str) -> Iterator[Finding]:
    names = sorted({name for correlation in method.correlations for name in correlation.between})
    matrix = np.eye(len(names))
    seen: dict[frozenset[str], int] = {}
    faultless = True
    for number, correlation in enumerate(method.correlations, start=1):
        first, second = correlation.between
        place = f"correlation {number} ({first}, {second})"
        for name in dict.fromkeys(correlation.between):
            if not isinstance(method.symbols.get(name), Input):
                faultless = False
                what = "a symbol that is no input" if name in method.symbols else "the unknown symbol"
                accepted = "symbols of the operation input"
                yield _finding(file, place, f"{what}: {name}", accepted, "correct the symbol")
        pair = frozenset(correlation.between)
        if len(pair) == 1 or pair in seen:
            faultless = False
            found = f"{first} with itself" if len(pair) == 1 else f"the pair a second time (first in {seen[pair]})"
            yield _finding(file, place, found, "each pair of two symbols once", "delete it")
            continue
        seen[pair] = number
        at, beside = names.index(first), names.index(second)
        matrix[at, beside] = matrix[beside, at] = correlation.coefficient
    if faultless and names and float(np.linalg.eigvalsh(matrix)[0]) < -1e-9:
        yield _finding(
            file,
            f"correlation of {', '.join(names)}",
            "correlation coefficients that contradict each other (not positive semi-definite)",
            "coefficients that can hold together",
            "correct the coefficients",
        )


def _document(records: Records, file: str) -> Iterator[Finding]:
    document = records.method.document
    if document.status != "approved":
        yield _finding(
            file,
            "method, status",
            f"the status {document.status}",
            "approved",
            "use the approved version",
            "attend",
        )
    if document.effective and document.review and document.review < document.effective:
        found = f"review on {document.review}, before it takes effect on {document.effective}"
        yield _finding(file, "method, review", found, "a review after the effective date", "correct it", "attend")
    if records.run is None:
        return
    day = records.run.file.run.date
    if document.effective is not None and document.effective > day:
        found = f"effective from {document.effective}, after the run of {day}"
        yield _finding(
            file,
            "method, effective",
            found,
            "a method in effect on the day of the run",
            "check the version",
            "attend",
        )
    if document.review is not None and document.review < day:
        found = f"review due on {document.review}, before the run of {day}"
        yield _finding(
            file,
            "method, review",
            found,
            "a review date on or after the day of the run",
            "review it",
            "attend",
        )
