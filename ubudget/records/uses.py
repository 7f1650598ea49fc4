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

from ubudget.records.method import Method
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
    for item, step in _used(records.method, run):
        if item:
            found.setdefault(item, set()).add(Use(_day(run.file.run.dates, step) or run.file.run.date, step))
    return {item: tuple(sorted(uses)) for item, uses in found.items()}


def citations(method: Method) -> Iterator[tuple[str, Stated | Temperature]]:
    """Every statement of the method that cites a register item, and where it stands."""
    for name, symbol in method.symbols.items():
        stated: list[tuple[str, object]] = [(f"symbol {name}", symbol)]
        stated += [(f"symbol {name}, {part}", getattr(symbol, part, None)) for part in ("preparation", "temperature")]
        stated += [
            (f"symbol {name}, component {number}", component)
            for number, component in enumerate(getattr(symbol, "components", ()), start=1)
        ]
        stated += [
            (f"symbol {name}, for {number}", case) for number, case in enumerate(getattr(symbol, "cases", ()), start=1)
        ]
        for place, statement in stated:
            if isinstance(statement, Stated | Temperature) and statement.item:
                yield place, statement


def calibration_materials(run: Run) -> dict[str, tuple[str, ...]]:
    """Register items whose certified values calibrate the run, each with its analytes; no analyte: any."""
    standards = {standard.label for standard in run.file.standards}
    found: dict[str, tuple[str, ...]] = {}
    for analyte, stock in run.file.stocks.items():
        found[stock.item] = (*found.get(stock.item, ()), analyte)
    for addition in run.file.additions:
        if addition.standard and addition.standard not in standards:
            found.setdefault(addition.standard, ())
    return found


def _day(dates: Dates, step: Step) -> dt.date | None:
    return None if step == "run" else getattr(dates, step)


def _used(method: Method, run: Run) -> Iterator[tuple[str, Step]]:
    for symbol in method.symbols.values():
        if isinstance(symbol, Weighing):
            yield symbol.balance, "weighing"
        elif isinstance(symbol, Volume):
            yield symbol.ware, "digestion"
            for portion in run.portions:
                ware = portion.columns.get(symbol.ware_column)
                if isinstance(ware, str) and (portion.kind == "blank") == (symbol.of == "blank"):
                    yield ware, "digestion"
    for item in calibration_materials(run):
        yield item, "preparation"
    for standard in run.file.standards:
        for step in standard.steps:
            yield step.aliquot, "preparation"
            yield step.to, "preparation"
    for addition in run.file.additions:
        for item in (addition.pipette, addition.flask, addition.aliquot):
            yield item, "preparation"
    for solution in run.solutions:
        for step in solution.steps:
            yield step.aliquot, "measurement"
            yield step.to, "measurement"
    for portion in run.portions:
        yield portion.reference_material, "measurement"
    for _, statement in citations(method):
        yield statement.item, "run"
