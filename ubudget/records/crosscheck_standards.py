"""Standards of a run: each stated or prepared, and containing what is read in it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping

from ubudget.records.amount import Amount
from ubudget.records.crosscheck_preparation import density_findings, preparation_findings
from ubudget.records.finding import Finding
from ubudget.records.preparation_chains import Solutions, basis_of, made_basis, nominal_factor, solutions_of
from ubudget.records.records import Records
from ubudget.records.run import Run, Standard
from ubudget.records.unit_comparison import in_unit

CONTENT = {"volume": "mg/L", "mass": "mg/kg"}
"""Units in which nominal contents are compared."""


def standard_findings(records: Records, run: Run, unit: str) -> list[Finding]:
    """What the standards lack, whatever curve they serve; `unit` is that of their concentrations."""
    return [
        *_statements(records, run),
        *preparation_findings(records),
        *_contents(records, run),
        *_densities(records, run, unit),
    ]


def standard_place(number: int, standard: Standard) -> str:
    return f"standard {number} ({standard.label})"


def prepared_analytes(records: Records, solutions: Solutions, standard: Standard) -> tuple[str, ...]:
    """Analytes of the method that a standard made by steps contains."""
    if not standard.steps:
        return ()
    return tuple(analyte for analyte in records.method.analytes if solutions.contains(standard.label, analyte))


def analytes_read(run: Run) -> Mapping[str, set[str]]:
    """Analytes read in each solution."""
    read: dict[str, set[str]] = defaultdict(set)
    for reading in run.readings:
        read[reading.solution].add(reading.analyte)
    return read


def analytes_meant(standard: Standard, run: Run) -> set[str]:
    """Analytes that a prepared standard is there for: those it names, or those read in it."""
    return (set(standard.analytes) or analytes_read(run)[standard.label]) if standard.steps else set()


def nominal_volumes(records: Records) -> dict[str, Amount]:
    """Nominal volume of every piece of ware."""
    items = records.register.equipment if records.register else ()
    return {item.id: item.nominal for item in items if item.nominal is not None}


def nominal_level(
    records: Records, run: Run, solutions: Solutions, standard: Standard, analyte: str, unit: str
) -> float | str | None:
    """Nominal concentration of an analyte in a standard, to compare levels with.

    `None` where the standard does not contain it. Where the number cannot be had, which is another finding, the
    standard's label stands for a level of its own."""
    stated = standard.concentration.get(analyte)
    if stated is not None:
        level = in_unit(stated.value, stated.unit, unit)
        return stated.value if level is None else level
    if not standard.steps or not solutions.contains(standard.label, analyte):
        return None
    level = _prepared_level(records, run, solutions, standard.label, analyte, unit)
    return standard.label if level is None else float(f"{level:.9g}")


def _prepared_level(
    records: Records, run: Run, solutions: Solutions, label: str, analyte: str, unit: str
) -> float | None:
    chain, wanted = solutions.chain(label, analyte), basis_of(unit)
    if chain is None or wanted is None:
        return None
    stock = run.file.stocks.get(analyte)
    calculated = stock.calculated_with if stock and stock.item == chain.stock else None
    content = calculated or solutions.certified(chain.stock, analyte)
    source = basis_of(content.unit) if content else None
    level = in_unit(content.value, content.unit, CONTENT[source]) if content and source else None
    volumes = nominal_volumes(records)
    for step in (step for link in chain.links for step in link.steps):
        if source is None or level is None:
            return None
        made = made_basis(step, wanted)
        factor = nominal_factor(volumes, step, source, made)
        level, source = (None if factor is None else level * factor), made
    return None if level is None or source != wanted else in_unit(level, CONTENT[wanted], unit)


def _statements(records: Records, run: Run) -> Iterator[Finding]:
    """Each standard is stated or prepared, and not both."""
    file = records.file("run")
    read = analytes_read(run)
    for number, standard in enumerate(run.file.standards, start=1):
        place = standard_place(number, standard)
        if standard.concentration and standard.steps:
            accepted, remedy = "concentration, or step; what was prepared follows from its steps", "keep one of them"
            yield Finding("stop", file, place, "both concentration and step", accepted, remedy)
        elif not (standard.concentration or standard.steps or read[standard.label]):
            # Of one that was read, each analyte without concentration is told.
            found, accepted = "neither concentration nor step", "the concentrations, or how the standard was prepared"
            yield Finding("stop", file, place, found, accepted, "state one of them")
        if standard.steps:
            continue
        if standard.source:
            found = f"from {standard.source}, without a step"
            accepted = 'step = [{ aliquot = "pipette", to = "flask" }] beside from'
            yield Finding("stop", file, f"{place}, from", found, accepted, "add the steps, or take from out")
        if standard.analytes:
            accepted = "analytes beside step; a stated standard contains what its concentration names"
            yield Finding("stop", file, f"{place}, analytes", "analytes without a step", accepted, "take analytes out")


def _contents(records: Records, run: Run) -> Iterator[Finding]:
    """What a prepared standard contains comes from a stock solution, by way of the standard it is taken from."""
    file = records.file("run")
    known = records.method.analytes
    solutions = solutions_of(records)
    for number, standard in enumerate(run.file.standards, start=1):
        place = f"{standard_place(number, standard)}, analytes"
        links = solutions.links(standard.label) if standard.steps else None
        if links is None:
            continue
        first = links[0].source
        for analyte in sorted(analytes_meant(standard, run)):
            if analyte not in known:
                if analyte in standard.analytes:
                    accepted = f"the analytes of the method: {', '.join(known) or 'none yet'}"
                    found = f"the unknown analyte {analyte}"
                    yield Finding("stop", file, place, found, accepted, "correct the analyte")
            elif not first and analyte not in run.file.stocks:
                found, accepted = f"{analyte}, of which no stock solution is named", "a stock solution of each analyte"
                remedy = f"add a table [stocks.{analyte}] with item"
                yield Finding("stop", file, place, found, accepted, remedy)
            elif standard.source in solutions.prepared and not solutions.contains(standard.source, analyte):
                found = f"{analyte}, which {standard.source} does not contain"
                held = ", ".join(each for each in known if solutions.contains(standard.source, each)) or "none"
                accepted = f"analytes of the standard it is taken from: {held}"
                yield Finding("stop", file, place, found, accepted, "correct analytes here or there")
            elif first in solutions.materials and solutions.certified(first, analyte) is None:
                found, accepted = f"{analyte}, of which {first} has no certified value", "a certificate with its value"
                yield Finding("stop", file, place, found, accepted, "add the value, or correct analytes")


def _densities(records: Records, run: Run, unit: str) -> Iterator[Finding]:
    """Densities that the standards which are read need on their way from the stock solution."""
    solutions, read = solutions_of(records), analytes_read(run)
    told: set[Finding] = set()
    for standard in run.file.standards:
        for analyte in sorted(read[standard.label] & set(records.method.analytes)) if standard.steps else ():
            chain = solutions.chain(standard.label, analyte)
            for finding in density_findings(records, solutions, chain, analyte, unit) if chain else ():
                if finding not in told:
                    told.add(finding)
                    yield finding
