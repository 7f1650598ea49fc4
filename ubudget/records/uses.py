"""When the run used each item of the register, and for what: certificates are judged on those days.

Balances on the day of weighing, ware of samples and blanks on that of digestion; standards, stock solutions and
additions on that of preparation; dilutions of sample solutions and reference materials on that of measurement; what a
stated figure cites on the run's own date. A step without a date has the run's.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.method import Method
from ubudget.records.preparation_chains import solutions_of, used_preparations
from ubudget.records.records import Records
from ubudget.records.run import Dates, Run
from ubudget.records.stated import Stated
from ubudget.records.temperature import Temperature
from ubudget.records.volume import Volume
from ubudget.records.weighing import Weighing

Step = Literal["weighing", "digestion", "preparation", "measurement", "run"]


@dataclass(frozen=True, order=True)
class Use:
    day: dt.date
    step: Step


def uses_of(records: Records) -> dict[str, tuple[Use, ...]]:
    """The days on which the run used each item, in order; nothing where a method stands alone."""
    run = records.run
    if run is None:
        return {}
    found: dict[str, set[Use]] = {}
    for item, step in _used(records, run):
        if item:
            found.setdefault(item, set()).add(Use(_day(run.file.run.dates, step) or run.file.run.date, step))
    for item, day in _on_other_days(run):
        if item:
            found.setdefault(item, set()).add(Use(day, "measurement"))
    for item, day in _kept(records):
        if item:
            found.setdefault(item, set()).add(Use(day, "preparation"))
    return {item: tuple(sorted(uses)) for item, uses in found.items()}


def citations(method: Method) -> Iterator[tuple[str, Stated | Temperature]]:
    """Every statement of the method that cites a register item, and where it stands."""
    for name, symbol in method.symbols.items():
        stated: list[tuple[str, object]] = [(f"symbol {name}", symbol)]
        stated += [
            (f"symbol {name}, {part}", getattr(symbol, part, None))
            for part in ("preparation", "temperature", "standards")
        ]
        stated += [
            (f"symbol {name}, component {number}", component)
            for number, component in enumerate(getattr(symbol, "components", ()), start=1)
        ]
        stated += [
            (f"symbol {name}, for {number}", case) for number, case in enumerate(getattr(symbol, "cases", ()), start=1)
        ]
        if isinstance(symbol, DeviceConcentration):
            stated += [(f"symbol {name}, curve {number}", part) for number, part in enumerate(symbol.curve, start=1)]
        for place, statement in stated:
            if isinstance(statement, Stated | Temperature) and statement.item:
                yield place, statement


def calibration_materials(records: Records) -> dict[str, tuple[str, ...]]:
    """Register items whose values calibrate the run, each with its analytes; no analyte: any.

    Stock solutions that the run names, what prepared standards are made from, and prepared standards that are kept."""
    run = records.run
    if run is None:
        return {}
    solutions = solutions_of(records)
    standards = {standard.label for standard in run.file.standards}
    found: dict[str, tuple[str, ...]] = {}

    def add(item: str, analyte: str) -> None:
        if analyte not in found.setdefault(item, ()):
            found[item] = (*found[item], analyte)

    for analyte, stock in run.file.stocks.items():
        add(stock.item, analyte)
    for link in used_preparations(records):
        for analyte in records.method.analytes:
            chain = solutions.chain(link.label, analyte) if solutions.contains(link.label, analyte) else None
            if chain is not None:
                kept = [each.label for each in chain.links if each.document == "register"]
                for item in (chain.stock, *kept):
                    add(item, analyte)
    for addition in run.file.additions:
        if addition.standard and addition.standard not in standards and addition.standard not in solutions.prepared:
            found.setdefault(addition.standard, ())
    return found


def _kept(records: Records) -> Iterator[tuple[str, dt.date]]:
    """What prepared standards of the register were made with, on the day they were made."""
    days = {item.id: item.prepared for item in records.register.prepared_standards} if records.register else {}
    for link in used_preparations(records):
        if link.document != "register":
            continue
        for item in (link.source, *(key for step in link.steps for key in (step.aliquot, step.to, step.balance))):
            yield item, days[link.label]


def _on_other_days(run: Run) -> Iterator[tuple[str, dt.date]]:
    """Items used with solutions of a calibration block that was measured on a day of its own."""
    read: dict[str, set[dt.date]] = {}
    for reading in run.readings:
        day = run.file.day_of(reading.block)
        if day is not None:
            read.setdefault(reading.solution, set()).add(day)
    for solution in run.solutions:
        for day in read.get(solution.label, ()):
            for step in solution.steps:
                for item in (step.aliquot, step.to, step.balance):
                    yield item, day
    for portion in run.portions:
        for day in read.get(portion.solution, ()):
            yield portion.reference_material, day


def _day(dates: Dates, step: Step) -> dt.date | None:
    return None if step == "run" else getattr(dates, step)


def _used(records: Records, run: Run) -> Iterator[tuple[str, Step]]:
    method = records.method
    for symbol in method.symbols.values():
        if isinstance(symbol, Weighing):
            yield symbol.balance, "weighing"
        elif isinstance(symbol, Volume):
            yield symbol.ware, "digestion"
            for portion in run.portions:
                ware = portion.columns.get(symbol.ware_column)
                if isinstance(ware, str) and (portion.kind == "blank") == (symbol.of == "blank"):
                    yield ware, "digestion"
    for stock in run.file.stocks.values():
        yield stock.item, "preparation"
    solutions = solutions_of(records)
    taken = [addition.standard for addition in run.file.additions]
    for link in used_preparations(records):
        if link.document == "run":
            taken.append(link.source)
            for step in link.steps:
                for item in (step.aliquot, step.to, step.balance):
                    yield item, "preparation"
    for item in taken:
        # A standard of the run is no item of the register.
        kept = item in solutions.prepared and solutions.prepared[item].document == "register"
        yield item if kept or item in solutions.materials else "", "preparation"
    for addition in run.file.additions:
        for item in (addition.pipette, addition.flask, addition.aliquot):
            yield item, "preparation"
    for solution in run.solutions:
        for step in solution.steps:
            for item in (step.aliquot, step.to, step.balance):
                yield item, "measurement"
    for portion in run.portions:
        yield portion.reference_material, "measurement"
    for check in run.file.checks:
        yield check.item, "measurement"
    for _, statement in citations(method):
        yield statement.item, "run"
