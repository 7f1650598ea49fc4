"""What each item of the register was used for, as far as the records say: volumes taken with ware, loads of balances.

In the order of the records: the method's symbols with the samples table, preparations, additions, dilutions.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ubudget.records.amount import Amount
from ubudget.records.preparation import DilutionStep
from ubudget.records.preparation_chains import used_preparations
from ubudget.records.records import Records, Role
from ubudget.records.register import VOLUMETRIC, Equipment
from ubudget.records.run import Portion
from ubudget.records.unit_comparison import in_unit
from ubudget.records.volume import Volume
from ubudget.records.weighing import Weighing


@dataclass(frozen=True)
class Used:
    """One use of an item. `words` name what it was used for, where that is not the run as a whole."""

    item: str
    amount: Amount
    document: Role
    place: str
    words: str = ""


def amounts_used(records: Records) -> Iterator[Used]:
    """Every amount of every item; of ware that is filled or delivers as a whole, its nominal volume."""
    items = {item.id: item for item in records.register.equipment} if records.register else {}
    for name, symbol in records.method.symbols.items():
        if isinstance(symbol, Weighing):
            yield from _loads(records, name, symbol)
        elif isinstance(symbol, Volume):
            yield from _volumes(records, name, symbol, items)
    run = records.run
    if run is None:
        return
    for link in used_preparations(records):
        for turn, step in enumerate(link.steps, start=1):
            table = "prepared_standard" if link.document == "register" else "standard"
            place = f"{table} {int(link.path[1]) + 1} ({link.label}), step {turn}"
            yield from _of_step(step, items, link.document, place, link.label)
    for number, addition in enumerate(run.file.additions, start=1):
        place = f"addition {number} ({addition.solution})"
        words = addition.solution
        yield from _taken(addition.pipette, addition.delivered, items, "run", (place, "delivered"), words)
        for item in (addition.flask, addition.aliquot):
            yield from _taken(item, None, items, "run", (place, ""), words)
    for solution in run.solutions:
        for step in solution.steps:
            place = f"row {solution.row + 1} ({solution.label})"
            yield from _of_step(step, items, "solutions", place, solution.label)


def _loads(records: Records, name: str, symbol: Weighing) -> Iterator[Used]:
    readings = ("tare", "gross", "net")
    for reading in readings:
        amount: Amount | None = getattr(symbol, reading)
        if amount is not None:
            yield Used(symbol.balance, _loaded(amount, symbol.vessel), "method", f"symbol {name}, {reading}")
    for portion in records.run.portions if records.run else ():
        for column in (getattr(symbol, f"{reading}_column") for reading in readings):
            read = portion.columns.get(column)
            if isinstance(read, Amount):
                place = f"row {portion.row + 1} ({portion.sample}), {column}"
                yield Used(symbol.balance, _loaded(read, symbol.vessel), "samples", place, portion.sample)


def _loaded(read: Amount, vessel: Amount | None) -> Amount:
    """The load of the pan, with the vessel that stays on it."""
    more = in_unit(vessel.value, vessel.unit, read.unit) if vessel else None
    value = read.value + (more or 0.0)
    return Amount(value, read.unit, f"{value:g} {read.unit}")


def _volumes(records: Records, name: str, symbol: Volume, items: Mapping[str, Equipment]) -> Iterator[Used]:
    if symbol.ware and not symbol.ware_column and not symbol.value_column:
        yield from _taken(symbol.ware, symbol.value, items, "method", (f"symbol {name}", "value"))
        return
    for portion in records.run.portions if records.run else ():
        if (portion.kind == "blank") == (symbol.of == "blank"):
            yield from _of_portion(portion, symbol, items)


def _of_portion(portion: Portion, symbol: Volume, items: Mapping[str, Equipment]) -> Iterator[Used]:
    item = symbol.ware or str(portion.columns.get(symbol.ware_column, ""))
    read = portion.columns.get(symbol.value_column) if symbol.value_column else symbol.value
    place = f"row {portion.row + 1} ({portion.sample})", symbol.value_column or "value"
    yield from _taken(item, read if isinstance(read, Amount) else None, items, "samples", place, portion.sample)


def _of_step(
    step: DilutionStep, items: Mapping[str, Equipment], document: Role, place: str, words: str
) -> Iterator[Used]:
    yield from _taken(step.aliquot, step.set_to, items, document, (place, "set_to"), words)
    yield from _taken(step.to, None, items, document, (place, ""), words)
    for key in ("aliquot_mass", "total_mass"):
        mass: Amount | None = getattr(step, key)
        if mass is not None:
            yield Used(step.balance, mass, document, f"{place}, {key}", words)


def _taken(
    item: str,
    amount: Amount | None,
    items: Mapping[str, Equipment],
    document: Role,
    place: tuple[str, str],
    words: str = "",
) -> Iterator[Used]:
    """A volume that was set or read, else the nominal one of the item; `place` and the key of such a volume there."""
    ware = items.get(item)
    volume = amount or (ware.nominal if ware is not None and ware.kind in VOLUMETRIC else None)
    if ware is not None and volume is not None:
        text = volume.text or f"{volume.value:g} {volume.unit}"
        where = ", ".join(part for part in place if part) if amount is not None else place[0]
        yield Used(item, Amount(volume.value, volume.unit, text), document, where, words)
