"""Standard additions: what is added to which solution, how much, and whether that makes a line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator

from ubudget.records.additions import Addition, StandardAdditions
from ubudget.records.amount import Amount
from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_items import material_called
from ubudget.records.crosscheck_preparation import density_findings, preparation_findings
from ubudget.records.finding import Finding
from ubudget.records.method import Blank
from ubudget.records.preparation_chains import solutions_of
from ubudget.records.records import Records
from ubudget.records.run import Run
from ubudget.records.run_index import RunIndex, index_of
from ubudget.records.unit_comparison import in_unit

FEWEST_LEVELS = 3
"""A straight line through two levels leaves no residual and no degrees of freedom; the zero addition is one."""
PREPARED = Amount(0.0, "", "as prepared")
"""Stands for the concentration of a standard that is calculated from its preparation."""
Key = tuple[str, str, str]
"""Solution, analyte, line."""


def addition_findings(records: Records) -> list[Finding]:
    symbols = records.method.symbols
    chosen = [(name, symbol) for name, symbol in symbols.items() if isinstance(symbol, StandardAdditions)]
    run = records.run
    if not chosen:
        return list(_without_symbol(records, run)) if run else []
    found = list(_other_sources(records, [name for name, _ in chosen]))
    if run is not None:
        _, symbol = chosen[0]
        for findings in (
            _sample_solutions(records, run),
            _ware(records, run, symbol),
            _prepared(records, run, symbol),
            _amounts(records, run, symbol),
            _standards(records, run, symbol),
            _scale(records, run, symbol),
            _levels(records, run, symbol),
        ):
            found.extend(findings)
    return found


def _place(number: int, addition: Addition) -> str:
    return f"addition {number} ({addition.solution})"


def _numbered(run: Run) -> list[tuple[str, Addition]]:
    return [(_place(number, addition), addition) for number, addition in enumerate(run.file.additions, start=1)]


def _without_symbol(records: Records, run: Run) -> Iterator[Finding]:
    if run.file.additions:
        accepted = 'a symbol with operation = "standard additions" in the equation'
        found = "additions that the method has no symbol for"
        yield Finding("stop", records.file("run"), "addition", found, accepted, "add it to the method")


def _other_sources(records: Records, names: list[str]) -> Iterator[Finding]:
    """One symbol gives the concentration: a curve of standards, or lines of additions."""
    file = records.file("method")
    symbols = records.method.symbols
    for name in [*names[1:], *(name for name, symbol in symbols.items() if isinstance(symbol, Calibration))]:
        found = f"a second source of the concentration beside {names[0]}"
        accepted = "one symbol of the operations calibration and standard additions"
        yield Finding("stop", file, f"symbol {name}", found, accepted, "keep one of them")
    for name, symbol in symbols.items():
        if isinstance(symbol, Blank):
            found = "a blank, which is read on a calibration curve, beside standard additions"
            accepted = "a blank as an input quantity"
            yield Finding("stop", file, f"symbol {name}", found, accepted, "state the blank as an input")


def _sample_solutions(records: Records, run: Run) -> Iterator[Finding]:
    index = index_of(run)
    for place, addition in _numbered(run):
        portion = index.root(addition.added_to)
        if portion is None or portion.kind == "blank":
            what = "the blank" if portion else "the unknown solution"
            accepted = "a solution of a sample, from the samples table or a further dilution"
            found = f"{what} {addition.added_to}"
            yield Finding("stop", records.file("run"), f"{place}, added_to", found, accepted, "correct the label")


def _ware(records: Records, run: Run, symbol: StandardAdditions) -> Iterator[Finding]:
    """What the form of the method needs besides the pipette."""
    wanted, other = ("aliquot", "flask") if symbol.form == "volume change" else ("flask", "aliquot")
    for place, addition in _numbered(run):
        if addition.concentration and symbol.form == "volume change":
            found = "a concentration, which leaves the volume V0 unknown"
            accepted = "standard, pipette and aliquot, so that readings can be corrected for the volume"
            yield Finding("stop", records.file("run"), place, found, accepted, "state the volumes")
        if addition.standard and not getattr(addition, wanted):
            found = f"no {wanted}, which the form {symbol.form} needs"
            yield Finding("stop", records.file("run"), place, found, f"{wanted} = a register item", f"add {wanted}")
        if getattr(addition, other):
            found = f"{other}, which has no part in the form {symbol.form}"
            yield Finding("stop", records.file("run"), place, found, f"{wanted} alone", f"take {other} out")


def _prepared(records: Records, run: Run, symbol: StandardAdditions) -> Iterator[Finding]:
    """Standards prepared by steps, and the densities on their way to what is added."""
    yield from preparation_findings(records)
    solutions = solutions_of(records)
    added = dict.fromkeys(addition.standard for addition in run.file.additions)
    for label, analyte in ((label, analyte) for label in added for analyte in records.method.analytes):
        chain = solutions.chain(label, analyte) if solutions.contains(label, analyte) else None
        if chain is not None:
            yield from density_findings(records, solutions, chain, analyte, symbol.unit)


def _amounts(records: Records, run: Run, symbol: StandardAdditions) -> Iterator[Finding]:
    file, analytes = records.file("run"), records.method.analytes
    for place, addition in _numbered(run):
        for analyte, amount in addition.concentration.items():
            if analyte not in analytes:
                accepted = f"the analytes of the method: {', '.join(analytes) or 'none yet'}"
                found = f"the unknown analyte {analyte}"
                yield Finding("stop", file, f"{place}, concentration", found, accepted, "correct the analyte")
            if in_unit(amount.value, amount.unit, symbol.unit) is None:
                found = f"{amount.text}, which does not convert to {symbol.unit}"
                accepted = f"a concentration in {symbol.unit}"
                yield Finding("stop", file, f"{place}, {analyte}", found, accepted, "correct the unit")
        delivered = addition.delivered
        if delivered is not None and in_unit(delivered.value, delivered.unit, "mL") is None:
            found = f"{delivered.text}, which is no volume"
            yield Finding("stop", file, f"{place}, delivered", found, "a volume, e.g. in mL", "correct the unit")


def _standards(records: Records, run: Run, symbol: StandardAdditions) -> Iterator[Finding]:
    """The concentration of every analyte that is read in a solution with an addition."""
    index = index_of(run)
    for place, addition in _numbered(run):
        for analyte in dict.fromkeys(reading.analyte for reading in index.readings.get(addition.solution, ())):
            if analyte not in records.method.analytes:
                continue
            if addition.concentration and analyte not in addition.concentration:
                found = f"no concentration of {analyte}, which was read in it"
                accepted = f"a concentration in {symbol.unit}"
                yield Finding("stop", records.file("run"), place, found, accepted, f"add {analyte}")
            values = _values(records, run, addition.standard, analyte) if addition.standard else None
            if values is not None and not values:
                found = f"no value of {analyte} for {addition.standard}, which was read in {addition.solution}"
                accepted = f"a certificate, or a standard of the run, with {analyte}"
                yield Finding("stop", records.file("run"), f"{place}, standard", found, accepted, "add the value")
            for value in values or ():
                if value is not PREPARED and in_unit(value.value, value.unit, symbol.unit) is None:
                    found = f"{value.text} of {addition.standard}, which does not convert to {symbol.unit}"
                    accepted = f"a concentration in {symbol.unit}"
                    yield Finding(
                        "stop", records.file("run"), f"{place}, standard", found, accepted, "correct the unit"
                    )


def _values(records: Records, run: Run, item: str, analyte: str) -> list[Amount] | None:
    """Concentrations stated of what is added; None for an unknown item, which is another finding."""
    standard = next((standard for standard in run.file.standards if standard.label == item), None)
    solutions = solutions_of(records)
    if standard is not None or item in solutions.prepared:
        amount = standard.concentration.get(analyte) if standard else None
        return [amount] if amount else [PREPARED] if solutions.contains(item, analyte) else []
    material = material_called(records, item)
    if material is None:
        return None
    values = [value for certificate in material.certificates for value in certificate.properties]
    return [value.value for value in values if value.analyte in ("", analyte)]


def _scale(records: Records, run: Run, symbol: StandardAdditions) -> Iterator[Finding]:
    """Concentrations stated without the stock solution behind them have no uncertainty and no traceability."""
    stated = dict.fromkeys(analyte for addition in run.file.additions for analyte in addition.concentration)
    for analyte in stated:
        if analyte in records.method.analytes and analyte not in run.file.stocks and not symbol.additions_exact:
            found, accepted = f"no stock of {analyte}", "the stock solution behind additions stated as concentration"
            remedy = f"add a table [stocks.{analyte}], or additions_exact = the reason to the method"
            yield Finding("attend", records.file("run"), f"stock {analyte}", found, accepted, remedy)


def _levels(records: Records, run: Run, symbol: StandardAdditions) -> Iterator[Finding]:
    """Every solution and line that is reported has a zero addition and two further levels or more."""
    index = index_of(run)
    read = {(reading.solution, reading.analyte, reading.line): reading for reading in run.readings}
    levels = _added_levels(records, run, symbol, index)
    accepted = f"the solution alone and {FEWEST_LEVELS - 1} different additions or more"
    for key in dict.fromkeys([*_reported(run, index), *levels]):
        place = " ".join(part for part in ("additions to", *key) if part)
        file = records.file("readings")
        if index.root(key[0]) is None:
            continue  # an unknown solution is another finding
        if key not in read:
            found = f"no reading of {key[0]} itself, the zero addition"
            yield Finding("stop", file, place, found, accepted, "add the readings")
            continue
        zero = {0.0} if index.included(read[key]) else set()
        count = len(levels[key] | zero)
        if count < FEWEST_LEVELS:
            found = f"{count} level{'' if count == 1 else 's'} of addition"
            yield Finding("stop", file, place, found, accepted, "add readings of further additions")


def _reported(run: Run, index: RunIndex) -> list[Key]:
    replaced = index.reported_elsewhere()
    keys = [(reading.solution, reading.analyte, reading.line) for reading in run.readings]
    return [
        key
        for key in keys
        if key not in replaced and (portion := index.root(key[0])) is not None and portion.kind != "blank"
    ]


def _added_levels(
    records: Records, run: Run, symbol: StandardAdditions, index: RunIndex
) -> defaultdict[Key, set[Hashable]]:
    """Levels with a reading that counts. Equal nominal volumes make one level."""
    nominals = _nominals(records)
    levels: defaultdict[Key, set[Hashable]] = defaultdict(set)
    for addition in run.file.additions:
        for reading in index.readings.get(addition.solution, ()):
            if index.included(reading):
                key = (addition.added_to, reading.analyte, reading.line)
                levels[key].add(_level(addition, reading.analyte, symbol.unit, nominals))
    return levels


def _level(addition: Addition, analyte: str, unit: str, nominals: dict[str, float]) -> Hashable:
    amount = addition.concentration.get(analyte)
    if amount is not None:
        converted = in_unit(amount.value, amount.unit, unit)
        return amount.value if converted is None else converted
    delivered = addition.delivered
    volume = nominals.get(addition.pipette) if delivered is None else in_unit(delivered.value, delivered.unit, "mL")
    total = nominals.get(addition.flask or addition.aliquot)
    return addition.standard, round(volume / total, 9) if volume and total else addition.solution


def _nominals(records: Records) -> dict[str, float]:
    """Nominal volume of every piece of ware in mL."""
    items = records.register.equipment if records.register else ()
    volumes = {item.id: in_unit(item.nominal.value, item.nominal.unit, "mL") for item in items if item.nominal}
    return {key: volume for key, volume in volumes.items() if volume is not None}
