"""The run's tables against the method and each other: samples, further dilutions, readings, exclusions."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from ubudget.records.additions import StandardAdditions
from ubudget.records.amount import Amount
from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_method import needs_run
from ubudget.records.device_concentration import DeviceConcentration, check_of
from ubudget.records.finding import Finding
from ubudget.records.method import DryMassFactor, Input
from ubudget.records.read_order import calibration_of, check_label, is_internal_standard, positions
from ubudget.records.records import Records
from ubudget.records.run import Portion, Reading, Run, Solution
from ubudget.records.run_index import LONGEST_CHAIN, index_of, reports
from ubudget.records.unit_comparison import in_unit
from ubudget.records.volume import Dilution, Volume
from ubudget.records.weighing import READINGS, Weighing


def run_findings(records: Records) -> list[Finding]:
    if records.run is None:
        return []
    run = records.run
    found: list[Finding] = []
    for findings in (
        _nothing_to_do(records, run),
        _columns(records, run),
        _moistures(records, run),
        _labels(records, run),
        _chains(records, run),
        _reports(records, run),
        _readings(records, run),
        _without_readings(records, run),
        _exclusions(records, run),
    ):
        found.extend(findings)
    return found


def portion_place(portion: Portion) -> str:
    return f"row {portion.row + 1} ({portion.sample})"


def reading_place(reading: Reading) -> str:
    named = " ".join(part for part in (reading.solution, reading.analyte, reading.line) if part)
    return f"row {reading.row + 1} ({named})"


def _nothing_to_do(records: Records, run: Run) -> Iterator[Finding]:
    """Tables without which the method has nothing to evaluate."""
    symbols = records.method.symbols.values()
    if not any(portion.kind != "blank" for portion in run.portions) and any(needs_run(symbol) for symbol in symbols):
        place = "whole file" if run.file.run.samples else "run, samples"
        file = records.file("samples" if run.file.run.samples else "run")
        yield Finding("stop", file, place, "no sample", "one sample or more", "add the rows of the samples")
    reading = (Calibration, StandardAdditions, DeviceConcentration)
    if not run.readings and any(isinstance(symbol, reading) for symbol in symbols):
        place = "whole file" if run.file.run.readings else "run, readings"
        file = records.file("readings" if run.file.run.readings else "run")
        accepted = "readings of standards or additions, and of samples"
        yield Finding("stop", file, place, "no reading", accepted, "add the rows of the readings")


def _columns(records: Records, run: Run) -> Iterator[Finding]:
    """Columns of the samples table that the method asks for, and their cells."""
    file = records.file("samples")
    present = {column for portion in run.portions for column in portion.columns}
    for name, symbol in records.method.symbols.items():
        blank = isinstance(symbol, Volume) and symbol.of == "blank"
        rows = [portion for portion in run.portions if (portion.kind == "blank") == blank]
        for column, with_unit in _asked(symbol):
            if rows and column not in present:
                heading = f"{column} [unit]" if with_unit else column
                found = f"no column {column}, or nothing in it, which symbol {name} asks for"
                yield Finding("stop", file, "headings", found, f"a column {heading}", "add the column")
                continue
            for portion in rows:
                cell = portion.columns.get(column)
                place = f"{portion_place(portion)}, {column}"
                if cell is None:
                    yield Finding("stop", file, place, "an empty cell", f"the {symbol.quantity}", "fill it in")
                elif with_unit and not isinstance(cell, Amount):
                    accepted = f"a heading with its unit, e.g. {column} [g]"
                    yield Finding(
                        "stop",
                        file,
                        place,
                        f'"{cell[:60]}" under a heading without unit',
                        accepted,
                        "add the unit to the heading",
                    )
                elif not with_unit and isinstance(cell, Amount):
                    accepted = f"a heading without unit, {column}"
                    yield Finding("stop", file, place, f"a number in {cell.unit or '1'}", accepted, "name the item")


def _asked(symbol: object) -> list[tuple[str, bool]]:
    """(column, whether it holds numbers with a unit) that a symbol asks for."""
    asked: list[tuple[str, bool]] = []
    if isinstance(symbol, Weighing):
        asked = [(getattr(symbol, f"{reading}_column"), True) for reading in READINGS[symbol.reading]]
        asked += [(symbol.buoyancy.density_column, True)] if symbol.buoyancy else []
    elif isinstance(symbol, (Input, DryMassFactor)):
        asked = [(symbol.column, True)]
    elif isinstance(symbol, Volume):
        asked = [(symbol.ware_column, False), (symbol.value_column, True)]
    return [(column, with_unit) for column, with_unit in asked if column]


def _moistures(records: Records, run: Run) -> Iterator[Finding]:
    columns = [
        symbol.column
        for symbol in records.method.symbols.values()
        if isinstance(symbol, DryMassFactor) and symbol.column
    ]
    for portion in run.portions:
        for column in columns:
            moisture = portion.columns.get(column)
            place = f"{portion_place(portion)}, {column}"
            if isinstance(moisture, Amount):
                per_cent = in_unit(moisture.value, moisture.unit, "%")
                if moisture.unit in ("", "1") or per_cent is None:
                    found = f"a moisture in {moisture.unit or '1'}"
                    yield Finding(
                        "stop",
                        records.file("samples"),
                        place,
                        found,
                        f"a heading {column} [%]",
                        "give the moisture in %",
                    )
                elif not 0 <= per_cent < 100:
                    found = f"a moisture of {moisture.text}"
                    yield Finding(
                        "stop",
                        records.file("samples"),
                        place,
                        found,
                        "0 % to below 100 %",
                        "correct the value",
                    )


def _labels(records: Records, run: Run) -> Iterator[Finding]:
    """Every solution has a label of its own."""
    first: dict[str, str] = {}
    made = [
        (records.file("run"), f"standard {number} ({standard.label})", standard.label)
        for number, standard in enumerate(run.file.standards, start=1)
    ]
    made += [
        (records.file("run"), f"addition {number} ({addition.solution})", addition.solution)
        for number, addition in enumerate(run.file.additions, start=1)
    ]
    made += [
        (records.file("run"), f"check_solution {number} ({check.label})", check.label)
        for number, check in enumerate(run.file.checks, start=1)
    ]
    made += [
        (records.file("samples"), f"{portion_place(portion)}, solution", portion.solution) for portion in run.portions
    ]
    made += [
        (records.file("solutions"), f"row {solution.row + 1} ({solution.label})", solution.label)
        for solution in run.solutions
    ]
    for file, place, label in made:
        if label in first:
            found = f"the solution {label} a second time (first: {first[label]})"
            yield Finding("stop", file, place, found, "each solution label once", "rename one of them")
        first.setdefault(label, f"{file}, {place}")


def _chains(records: Records, run: Run) -> Iterator[Finding]:
    known = {portion.solution for portion in run.portions} | {solution.label for solution in run.solutions}
    index = index_of(run)
    diluting = any(isinstance(symbol, Dilution) for symbol in records.method.symbols.values())
    for solution in run.solutions:
        place = f"row {solution.row + 1} ({solution.label}), from"
        accepted = "a solution of the samples table or another row"
        if solution.source not in known:
            found = f"the unknown solution {solution.source}"
            yield Finding("stop", records.file("solutions"), place, found, accepted, "correct the label")
        elif index.chain(solution.label) is None:
            length = _length(index.dilutions, solution)
            if length == 0:
                found = f"a circle: {solution.label} is made from itself"
                yield Finding("stop", records.file("solutions"), place, found, accepted, "correct the label")
            elif length > LONGEST_CHAIN:
                found, accepted = "a long row of dilutions", f"at most {LONGEST_CHAIN} one after another"
                yield Finding("stop", records.file("solutions"), place, found, accepted, "correct the labels")
    if run.solutions and not diluting:
        found = "further dilutions that the method has no symbol for"
        accepted = 'a symbol with operation = "dilution" in the equation'
        yield Finding("stop", records.file("solutions"), "whole file", found, accepted, "add it to the method")


def _length(dilutions: dict[str, Solution], solution: Solution) -> int:
    """Dilutions down to this one, counted as far as is accepted; 0 where it is made from itself."""
    seen: set[str] = set()
    at: Solution | None = solution
    while at is not None and at.label not in seen and len(seen) <= LONGEST_CHAIN:
        seen.add(at.label)
        at = dilutions.get(at.source)
    return 0 if at is solution else len(seen)


def _reports(records: Records, run: Run) -> Iterator[Finding]:
    """What a further dilution reports is known, was read, and is reported once."""
    file = records.file("solutions")
    analytes = records.method.analytes
    names = set(analytes) | {line for lines in analytes.values() for line in lines}
    index = index_of(run)
    reporting: dict[tuple[str, str, str], str] = {}
    for solution in run.solutions:
        place = f"row {solution.row + 1} ({solution.label}), reports"
        readings = index.readings.get(solution.label, [])
        for name in solution.reports:
            if name not in names:
                accepted = f"analytes or lines of the method: {', '.join(sorted(names)) or 'none yet'}"
                yield Finding("stop", file, place, f"the unknown analyte or line {name}", accepted, "correct it")
            elif not any(name in (reading.analyte, reading.line) for reading in readings):
                found = f"{name}, which was not read in this solution"
                yield Finding("stop", file, place, found, "analytes or lines with readings", "correct it")
        portion = index.root(solution.label)
        for reading in readings:
            if portion is None or not reports(solution, reading):
                continue
            key = (portion.solution, reading.analyte, reading.line)
            if reporting.get(key, solution.label) != solution.label:
                named = " ".join(part for part in key[1:] if part)
                found = f"{named} of {portion.sample} reported from {reporting[key]} and from {solution.label}"
                yield Finding(
                    "stop",
                    file,
                    place,
                    found,
                    "one solution for each result",
                    "name in reports what each solution is for",
                )
            reporting.setdefault(key, solution.label)


def _readings(records: Records, run: Run) -> Iterator[Finding]:
    """Solutions, analytes and lines of readings; the same unknown name is told once."""
    analytes = records.method.analytes
    solutions = {standard.label for standard in run.file.standards}
    calibration = calibration_of(records.method)
    check = check_label(calibration)
    solutions |= {check} if check else set()
    solutions |= {addition.solution for addition in run.file.additions}
    solutions |= {portion.solution for portion in run.portions} | {solution.label for solution in run.solutions}
    unknown: dict[tuple[str, str, str], list[Reading]] = defaultdict(list)
    for reading in run.readings:
        if reading.solution not in solutions and check_of(reading.solution, run.file.checks) is None:
            found = f"the unknown solution {reading.solution}"
            accepted = "a standard, an addition, a solution of the samples table or a further dilution"
            unknown[found, accepted, "solution"].append(reading)
        if is_internal_standard(reading, calibration):
            continue
        if reading.analyte not in analytes:
            accepted = f"the analytes of the method: {', '.join(analytes) or 'none yet'}"
            unknown[f"the unknown analyte {reading.analyte}", accepted, "analyte"].append(reading)
        elif reading.line not in (analytes[reading.analyte] or ("",)):
            lines = ", ".join(analytes[reading.analyte]) or "none (leave it empty)"
            accepted = f"the lines of {reading.analyte}: {lines}"
            found = f"the unknown line {reading.line}" if reading.line else "no line"
            unknown[found, accepted, "line"].append(reading)
    for (found, accepted, column), rows in unknown.items():
        more = f" (and {len(rows) - 1} more rows)" if len(rows) > 1 else ""
        place = f"{reading_place(rows[0])}, {column}"
        yield Finding("stop", records.file("readings"), place, found + more, accepted, f"correct the {column}")


def _without_readings(records: Records, run: Run) -> Iterator[Finding]:
    """Portions of which nothing was read, neither directly nor in a further dilution."""
    if not run.readings:
        return
    index = index_of(run)
    read = {portion.solution for label in index.readings if (portion := index.root(label)) is not None}
    for portion in run.portions:
        if portion.solution not in read:
            found = f"no reading of solution {portion.solution}"
            yield Finding(
                "attend",
                records.file("samples"),
                portion_place(portion),
                found,
                "readings of every portion",
                "add the readings or take the row out",
            )


def _exclusions(records: Records, run: Run) -> Iterator[Finding]:
    check = check_label(calibration_of(records.method))
    by_key = {
        (
            reading.solution,
            reading.analyte,
            reading.line,
            position if reading.solution == check else None,
            reading.block,
        ): reading
        for reading, position in zip(run.readings, positions(run), strict=True)
    }
    seen: set[tuple[str, str, str, int | None, str, int]] = set()
    for number, exclusion in enumerate(run.file.exclusions, start=1):
        named = " ".join(part for part in (exclusion.solution, exclusion.analyte, exclusion.line) if part)
        named += f" in block {exclusion.block}" if exclusion.block else ""
        place = f"exclude_reading {number} ({exclusion.solution})"
        if (exclusion.solution == check) != (exclusion.position is not None):
            continue
        key = (exclusion.solution, exclusion.analyte, exclusion.line, exclusion.position, exclusion.block)
        reading = by_key.get(key)
        if reading is None or exclusion.replicate > len(reading.values):
            has = "no readings" if reading is None else f"{len(reading.values)} replicate values"
            found = f"replicate {exclusion.replicate} of {named}, which has {has}"
            yield Finding(
                "stop",
                records.file("run"),
                place,
                found,
                "a replicate value of the readings file",
                "correct or delete the entry",
            )
        elif (*key, exclusion.replicate) in seen:
            found = f"replicate {exclusion.replicate} of {named} left out a second time"
            yield Finding("attend", records.file("run"), place, found, "each reading once", "delete the entry")
        seen.add((*key, exclusion.replicate))
