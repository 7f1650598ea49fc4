"""Standards, stock solutions, blanks and the scatter of readings against what the method asks for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_fit import TWO_POINTS, fit_findings
from ubudget.records.crosscheck_items import material_called
from ubudget.records.crosscheck_run import reading_place
from ubudget.records.crosscheck_standards import (
    analytes_meant,
    analytes_read,
    nominal_level,
    nominal_volumes,
    prepared_analytes,
    standard_findings,
    standard_place,
)
from ubudget.records.finding import Finding, Severity
from ubudget.records.method import Blank
from ubudget.records.preparation_chains import nominal_factor, solutions_of
from ubudget.records.read_order import measured_run
from ubudget.records.records import Records
from ubudget.records.run import Run
from ubudget.records.run_index import index_of
from ubudget.records.unit_comparison import in_unit

FEWEST_LEVELS = {"line": 3, "line through zero": 2, "quadratic": 4, "rational": 4, TWO_POINTS: 2}
"""Parameters of the curve and one more: as many levels as parameters leave no residual and no degrees of freedom.

Two points are no least squares: their scatter comes from replicate readings."""


def calibration_findings(records: Records) -> list[Finding]:
    if records.run is None:
        return []
    symbols = records.method.symbols.values()
    found: list[Finding] = []
    run = measured_run(records.run, next((s for s in symbols if isinstance(s, Calibration)), None))
    for name, calibration in records.method.symbols.items():
        if not isinstance(calibration, Calibration):
            continue
        for findings in (
            standard_findings(records, run, calibration.unit),
            fit_findings(records, run, name, calibration),
            _concentrations(records, run, calibration),
            _levels(records, run, calibration),
            _stocks(records, run),
            _scatter(records, run, calibration),
        ):
            found.extend(findings)
        break  # a run has one calibration: further symbols of this operation are not built
    if any(isinstance(symbol, Blank) for symbol in symbols):
        found.extend(_blanks(records, run))
        found.extend(_blank_dilutions(records, run))
    return found


def _reported_curves(run: Run) -> list[tuple[str, str, str]]:
    """Analyte, line and calibration block of what was read in a solution of a sample or blank."""
    index = index_of(run)
    return list(
        dict.fromkeys(
            (reading.analyte, reading.line, reading.block)
            for reading in run.readings
            if index.root(reading.solution) is not None
        )
    )


def _named(analyte: str, line: str, block: str = "") -> str:
    if block:
        return f"{_named(analyte, line)}, block {block}"
    return f"{analyte} {line}".strip()


def _concentrations(records: Records, run: Run, calibration: Calibration) -> Iterator[Finding]:
    """Concentrations of the standards: of what was read, in a unit that converts, of known analytes."""
    file = records.file("run")
    read, solutions = analytes_read(run), solutions_of(records)
    for number, standard in enumerate(run.file.standards, start=1):
        place = standard_place(number, standard)
        # A prepared standard without its stock is a finding of the preparation.
        missing = (
            read[standard.label] - set(standard.concentration) - set(prepared_analytes(records, solutions, standard))
        )
        for analyte in sorted(missing - analytes_meant(standard, run)):
            if standard.steps:
                found, accepted = f"no {analyte} in analytes, which was read in it", "every analyte read in it"
                yield Finding("stop", file, f"{place}, analytes", found, accepted, f"add {analyte} to analytes")
            else:
                found = f"no concentration of {analyte}, which was read in it"
                accepted = f"a concentration in {calibration.unit}, or steps of preparation"
                yield Finding("stop", file, place, found, accepted, f"add {analyte} to the standard")
        for analyte, amount in standard.concentration.items():
            if analyte not in records.method.analytes:
                accepted = f"the analytes of the method: {', '.join(records.method.analytes) or 'none yet'}"
                found = f"the unknown analyte {analyte}"
                yield Finding("stop", file, f"{place}, concentration", found, accepted, "correct the analyte")
            if in_unit(amount.value, amount.unit, calibration.unit) is None:
                found = f"{amount.text}, which does not convert to {calibration.unit}"
                accepted = f"a concentration in {calibration.unit}"
                yield Finding("stop", file, f"{place}, {analyte}", found, accepted, "correct the unit")


def _levels(records: Records, run: Run, calibration: Calibration) -> Iterator[Finding]:
    """Standards of every line that samples report: some, at more levels than the curve has parameters.

    Standards prepared alike are one level. Bracketing has two standards, and no third."""
    standards = {standard.label: standard for standard in run.file.standards}
    index, solutions = index_of(run), solutions_of(records)
    levels: dict[tuple[str, str, str], dict[str, float | str]] = defaultdict(dict)
    for reading in run.readings:
        standard = standards.get(reading.solution)
        if standard is None or not index.included(reading):
            continue
        level = nominal_level(records, run, solutions, standard, reading.analyte, calibration.unit)
        if level is not None:
            levels[reading.analyte, reading.line, reading.block][standard.label] = level
    file = records.file("readings")
    fewest = FEWEST_LEVELS[calibration.curve]
    bracketing = calibration.curve == TWO_POINTS
    accepted = "two standards" if bracketing else f"standards at {fewest} levels or more"
    accepted += f' for curve = "{calibration.curve}"'
    for key in _reported_curves(run):
        place = f"standards of {_named(*key)}"
        count = len(set(levels[key].values()))
        if count == 0:
            yield Finding("stop", file, place, "no readings of standards", accepted, "add the readings")
        elif count == 1:
            yield Finding("stop", file, place, "all standards at one level", accepted, "add standards")
        elif count < fewest:
            yield Finding("stop", file, place, f"standards at {count} levels", accepted, "add standards")
        elif bracketing and len(levels[key]) > fewest:
            found, remedy = f"{len(levels[key])} standards", "leave out the others, or fit a line"
            yield Finding("stop", file, place, found, accepted, remedy)


def _stocks(records: Records, run: Run) -> Iterator[Finding]:
    """The stock solution of every analyte, and its certified value.

    A run that names no stock at all can be evaluated: its scale has no uncertainty and no traceability."""
    file = records.file("run")
    severity: Severity = "stop" if run.file.stocks else "attend"
    exact = any(
        isinstance(symbol, Calibration) and symbol.standards_exact for symbol in records.method.symbols.values()
    )
    # Where a standard of the analyte was prepared, its missing stock is a finding of the preparation.
    told = {analyte for standard in run.file.standards for analyte in analytes_meant(standard, run)}
    for analyte in dict.fromkeys(analyte for analyte, _, _ in _reported_curves(run)):
        if analyte in told or analyte not in records.method.analytes:
            continue
        if analyte not in run.file.stocks and not exact:
            accepted = "the stock solution of every analyte that is read on a curve"
            remedy = f"add a table [stocks.{analyte}] with item, and calculated_with where concentrations are stated"
            yield Finding(severity, file, f"stock {analyte}", f"no stock of {analyte}", accepted, remedy)
    for analyte, stock in run.file.stocks.items():
        place = f"stock {analyte}"
        if analyte not in records.method.analytes:
            accepted = f"the analytes of the method: {', '.join(records.method.analytes) or 'none yet'}"
            yield Finding("stop", file, place, f"the unknown analyte {analyte}", accepted, "correct the analyte")
            continue
        material = material_called(records, stock.item)
        if material is None:
            continue
        values = [
            value
            for certificate in material.certificates
            for value in certificate.properties
            if value.analyte in ("", analyte)
        ]
        if not values:
            number = records.register.reference_materials.index(material) + 1 if records.register else 0
            yield Finding(
                "stop",
                records.file("register"),
                f"reference_material {number} ({stock.item}), certificate",
                f"no certified value of {analyte} for {stock.item}",
                f"a certificate with a value of {analyte}, U and k",
                "add the value or name another stock",
            )
        given = stock.calculated_with
        if given is None and _calculates(run, analyte):
            found, accepted = "no calculated_with, although concentrations are stated", "the concentration they rest on"
            yield Finding("stop", file, place, found, accepted, 'add calculated_with, e.g. "1000 mg/L"')
        for value in values if given is not None else ():
            assert given is not None
            if in_unit(given.value, given.unit, value.value.unit) is None:
                certified = value.value.text
                found = f"{given.text}, which does not convert to the certified value's {certified}"
                accepted = f"a concentration in {value.value.unit or '1'}"
                yield Finding("stop", file, f"{place}, calculated_with", found, accepted, "correct the unit")


def _calculates(run: Run, analyte: str) -> bool:
    stated = [standard.concentration.get(analyte) for standard in run.file.standards]
    stated += [addition.concentration.get(analyte) for addition in run.file.additions]
    return any(amount is not None and amount.value != 0 for amount in stated)


def _scatter(records: Records, run: Run, calibration: Calibration) -> Iterator[Finding]:
    portions = {portion.solution for portion in run.portions} | {solution.label for solution in run.solutions}
    index = index_of(run)
    file = records.file("readings")
    if calibration.scatter == "own":
        for reading in run.readings:
            portion = index.root(reading.solution)
            if portion is not None and portion.kind != "blank" and index.included(reading) == 1:
                found = "one reading, whose own standard deviation the method asks for"
                remedy = 'read it again, or use scatter = "residual" or "pooled"'
                yield Finding("stop", file, reading_place(reading), found, "two readings or more", remedy)
    if calibration.scatter != "pooled":
        return
    standards = {standard.label for standard in run.file.standards}
    for label in calibration.pooled_over:
        if label not in portions:
            # The readings of standards belong to the curve.
            found = f"the standard {label}" if label in standards else f"the unknown solution {label}"
            accepted = "solutions of samples and blanks"
            yield Finding("stop", records.file("method"), "pooled_over", found, accepted, "correct it")
    pooled = {
        (reading.analyte, reading.line, reading.block)
        for reading in run.readings
        if reading.solution in (calibration.pooled_over or portions) and index.included(reading) > 1
    }
    for key in _reported_curves(run):
        if key not in pooled:
            found = "no solution with two readings to pool over"
            place = f"readings of {_named(*key)}"
            yield Finding("stop", file, place, found, "two readings or more of one solution", "add readings")


def _blanks(records: Records, run: Run) -> Iterator[Finding]:
    """Blanks of every line that samples report."""
    index = index_of(run)
    read: dict[tuple[str, str, str], set[str]] = defaultdict(set)
    sampled: set[tuple[str, str]] = set()
    for reading in run.readings:
        portion = index.root(reading.solution)
        if portion is not None and index.included(reading):
            if portion.kind == "blank":
                read[reading.analyte, reading.line, reading.block].add(portion.solution)
            else:
                sampled.add((reading.analyte, reading.line))
    accepted = "procedural blanks, taken through the whole procedure"
    counted = records.method.effects.get("blank scatter", "counted").strip() == "counted"
    if not any(portion.kind == "blank" for portion in run.portions):
        found = "no blank, which the method subtracts"
        yield Finding("stop", records.file("samples"), "kind", found, accepted, "add rows of the kind blank")
        return
    for line in sorted(sampled):
        own = [key for key in read if key[:2] == line]
        if not own:
            place = f"blanks of {_named(*line)}"
            yield Finding("stop", records.file("readings"), place, "no reading of a blank", accepted, "add readings")
        for key in own:
            if len(read[key]) > 1 or not counted:
                continue
            place = f"blanks of {_named(*key)}"
            found = "one blank, which gives no scatter between blanks although the method counts it"
            remedy = "take more blanks through the procedure, or say what covers blank scatter"
            yield Finding("attend", records.file("readings"), place, found, "two blanks or more", remedy)


def _blank_dilutions(records: Records, run: Run) -> Iterator[Finding]:
    """Concentrations of blanks are averaged as measured, so all were diluted alike."""
    index = index_of(run)
    replaced = index.reported_elsewhere()
    nominals = nominal_volumes(records)
    chains: dict[tuple[str, str], dict[tuple[float, ...], str]] = defaultdict(dict)
    for reading in run.readings:
        portion = index.root(reading.solution)
        if portion is None or portion.kind != "blank":
            continue
        if (reading.solution, reading.analyte, reading.line) in replaced:
            continue
        steps = index.chain(reading.solution) or ()
        factors = [nominal_factor(nominals, step) for solution in steps for step in solution.steps]
        ratios = tuple(float(f"{1 / factor:.9g}") for factor in factors if factor)
        chains[reading.analyte, reading.line].setdefault(ratios, reading.solution)
    for key, kinds in chains.items():
        if len(kinds) > 1:
            found = f"blanks of {_named(*key)} with different dilution: {', '.join(kinds.values())}"
            yield Finding(
                "stop",
                records.file("solutions"),
                f"blanks of {_named(*key)}",
                found,
                "all blanks diluted alike",
                "leave out the readings of one kind",
            )
