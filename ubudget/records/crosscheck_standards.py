"""Standards by preparation: what each is made from, with which ware, and what it then contains."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from math import prod

from ubudget.records.amount import Amount
from ubudget.records.crosscheck_items import DELIVERS, RECEIVES
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.run import DilutionStep, Run, Standard
from ubudget.records.unit_comparison import in_unit


def standard_findings(records: Records, run: Run) -> list[Finding]:
    """What the preparation of the standards lacks, whatever curve they serve."""
    return [
        *_statements(records, run),
        *_sources(records, run),
        *_ware(records, run),
        *_contents(records, run),
    ]


def standard_place(number: int, standard: Standard) -> str:
    return f"standard {number} ({standard.label})"


def prepared_analytes(standard: Standard, run: Run) -> tuple[str, ...]:
    """What a standard made by steps contains: what it names, or every analyte with a stock solution."""
    return (standard.analytes or tuple(run.file.stocks)) if standard.steps else ()


def analytes_read(run: Run) -> Mapping[str, set[str]]:
    """Analytes read in each solution."""
    read: dict[str, set[str]] = defaultdict(set)
    for reading in run.readings:
        read[reading.solution].add(reading.analyte)
    return read


def analytes_meant(standard: Standard, run: Run) -> set[str]:
    """Analytes that a prepared standard is there for: those it names, or those read in it."""
    return (set(standard.analytes) or analytes_read(run)[standard.label]) if standard.steps else set()


def preparation_chain(standard: Standard, run: Run) -> tuple[Standard, ...] | None:
    """Standards from the one made from the stock solution to this one; `None` where the chain breaks or closes."""
    by_label = {other.label: other for other in run.file.standards}
    chain = [standard]
    while chain[-1].source:
        before = by_label.get(chain[-1].source)
        if before is None or before in chain:
            return None
        chain.append(before)
    return tuple(reversed(chain))


def nominal_volumes(records: Records) -> dict[str, Amount]:
    """Nominal volume of every piece of ware."""
    items = records.register.equipment if records.register else ()
    return {item.id: item.nominal for item in items if item.nominal is not None}


def nominal_ratios(nominals: Mapping[str, Amount], steps: Iterable[DilutionStep]) -> Iterator[float]:
    """Nominal dilution of each step, flask / aliquot; an item without nominal volume is another finding."""
    for step in steps:
        aliquot, flask = nominals.get(step.aliquot), nominals.get(step.to)
        delivered = in_unit(aliquot.value, aliquot.unit, flask.unit) if aliquot and flask else None
        if flask and delivered:
            yield round(flask.value / delivered, 9)


def nominal_level(records: Records, run: Run, standard: Standard, analyte: str, unit: str) -> float | str | None:
    """Nominal concentration of an analyte in a standard, to compare levels with.

    `None` where the standard does not contain it. Where the number cannot be had, which is another finding, the
    standard's label stands for a level of its own."""
    stated = standard.concentration.get(analyte)
    if stated is not None:
        level = in_unit(stated.value, stated.unit, unit)
        return stated.value if level is None else level
    if analyte not in prepared_analytes(standard, run):
        return None
    stock, chain = run.file.stocks.get(analyte), preparation_chain(standard, run)
    assumed = in_unit(stock.calculated_with.value, stock.calculated_with.unit, unit) if stock else None
    if assumed is None or chain is None:
        return standard.label
    steps = [step for link in chain for step in link.steps]
    ratios = list(nominal_ratios(nominal_volumes(records), steps))
    return float(f"{assumed / prod(ratios):.9g}") if len(ratios) == len(steps) else standard.label


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


def _sources(records: Records, run: Run) -> Iterator[Finding]:
    """A standard is taken from another prepared one, and no standard from itself."""
    file = records.file("run")
    by_label = {standard.label: standard for standard in run.file.standards}
    accepted = "another standard that was prepared by steps"
    for number, standard in enumerate(run.file.standards, start=1):
        if not standard.source or not standard.steps:
            continue
        place = f"{standard_place(number, standard)}, from"
        before = by_label.get(standard.source)
        if before is None:
            found = f"the unknown standard {standard.source}"
            yield Finding("stop", file, place, found, accepted, "correct the label, or take from out for the stock")
        elif _circular(by_label, standard):
            found = f"a circle: {standard.label} is made from itself"
            yield Finding("stop", file, place, found, accepted, "correct the label")
        elif not before.steps:
            found = f"{before.label}, which is stated and not prepared"
            yield Finding("stop", file, place, found, accepted, "give its steps, or name it as the stock")


def _circular(by_label: Mapping[str, Standard], standard: Standard) -> bool:
    """Whether a standard stands in the chain of what it is made from; a circle further back is told there."""
    seen: set[str] = set()
    label = standard.source
    while label in by_label and label not in seen:
        if label == standard.label:
            return True
        seen.add(label)
        label = by_label[label].source
    return False


def _ware(records: Records, run: Run) -> Iterator[Finding]:
    """Pipettes and flasks of the register."""
    kinds = {item.id: item.kind for item in records.register.equipment} if records.register else {}
    file = records.file("run")
    for number, standard in enumerate(run.file.standards, start=1):
        for turn, step in enumerate(standard.steps, start=1):
            place = f"{standard_place(number, standard)}, step {turn}"
            for key, item, wanted in (("aliquot", step.aliquot, DELIVERS), ("to", step.to, RECEIVES)):
                accepted = f"a {' or '.join(sorted(wanted))} of the register"
                if item not in kinds:
                    found, remedy = f"{item}, which is not in the register's equipment", "add it or correct its name"
                    yield Finding("stop", file, f"{place}, {key}", found, accepted, remedy)
                elif kinds[item] not in wanted:
                    found = f"{item}, which is a {kinds[item]}"
                    yield Finding("stop", file, f"{place}, {key}", found, accepted, "name the right item")


def _contents(records: Records, run: Run) -> Iterator[Finding]:
    """What a prepared standard contains comes from a stock solution, by way of the standard it is taken from."""
    file = records.file("run")
    known = records.method.analytes
    by_label = {standard.label: standard for standard in run.file.standards}
    for number, standard in enumerate(run.file.standards, start=1):
        place = f"{standard_place(number, standard)}, analytes"
        before = by_label.get(standard.source)
        for analyte in sorted(analytes_meant(standard, run)):
            if analyte not in known:
                if analyte in standard.analytes:
                    accepted = f"the analytes of the method: {', '.join(known) or 'none yet'}"
                    found = f"the unknown analyte {analyte}"
                    yield Finding("stop", file, place, found, accepted, "correct the analyte")
            elif analyte not in run.file.stocks:
                found, accepted = f"{analyte}, of which no stock solution is named", "a stock solution of each analyte"
                remedy = f"add a table [stocks.{analyte}] with item and calculated_with"
                yield Finding("stop", file, place, found, accepted, remedy)
            elif before is not None and before.steps and analyte not in prepared_analytes(before, run):
                found = f"{analyte}, which {before.label} does not contain"
                accepted = f"analytes of the standard it is taken from: {', '.join(prepared_analytes(before, run))}"
                yield Finding("stop", file, place, found, accepted, "correct analytes here or there")
