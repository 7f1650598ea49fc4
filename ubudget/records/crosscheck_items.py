"""Register items: every item that is named exists, is of the right kind, and is stated once."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.finding import Finding
from ubudget.records.preparation import PreparedStandard
from ubudget.records.records import Records
from ubudget.records.register import VOLUMETRIC, Equipment, Reference, ReferenceMaterial
from ubudget.records.uses import citations
from ubudget.records.volume import Volume
from ubudget.records.weighing import Weighing

DELIVERS = frozenset({"pipette", "graduated pipette", "piston pipette", "burette"})
BALANCES = frozenset({"balance"})
RECEIVES = frozenset({"flask", "cylinder", "tube"})
STOCKS = frozenset({"stock solution", "pure substance"})
MATERIALS = frozenset({"matrix reference material"})


def item_findings(records: Records) -> list[Finding]:
    return [*_register(records), *_named(records)]


def _register(records: Records) -> Iterator[Finding]:
    """The register against itself."""
    if records.register is None:
        return
    file = records.file("register")
    seen: set[str] = set()
    tables: tuple[tuple[str, tuple[Equipment | ReferenceMaterial | PreparedStandard | Reference, ...]], ...] = (
        ("equipment", records.register.equipment),
        ("reference_material", records.register.reference_materials),
        ("prepared_standard", records.register.prepared_standards),
        ("reference", records.register.references),
    )
    for table, items in tables:
        for number, item in enumerate(items, start=1):
            place = f"{table} {number} ({item.id})"
            if not item.id:
                yield Finding("stop", file, place, "an empty id", "an id", "name the item")
            elif item.id in seen:
                found = f"the id {item.id} a second time"
                yield Finding("stop", file, place, found, "each id once", "rename or delete one")
            seen.add(item.id)


def _named(records: Records) -> Iterator[Finding]:
    """Items named in method, run, samples and solutions."""
    kinds = _kinds(records)
    method_file = records.file("method")
    for name, symbol in records.method.symbols.items():
        if isinstance(symbol, Weighing) and symbol.balance:
            place = f"symbol {name}, balance"
            yield from _item(symbol.balance, frozenset({"balance"}), kinds, method_file, place)
        elif isinstance(symbol, Volume) and symbol.ware:
            yield from _item(symbol.ware, VOLUMETRIC, kinds, method_file, f"symbol {name}, ware")
    for place, statement in citations(records.method):
        if statement.item not in kinds:
            yield Finding(
                "stop",
                method_file,
                f"{place}, item",
                f"{statement.item}, which is not in the register",
                "an item of the register",
                "add the item to the register or correct its name",
            )
    if records.run is None:
        return
    run = records.run
    for analyte, stock in run.file.stocks.items():
        yield from _item(stock.item, STOCKS, kinds, records.file("run"), f"stock {analyte}, item")
    for number, check in enumerate(run.file.checks, start=1):
        if check.item:
            accepted = STOCKS | MATERIALS
            yield from _item(check.item, accepted, kinds, records.file("run"), f"check_solution {number}, item")
    standards = {standard.label for standard in run.file.standards}
    standards |= {item.id for item in records.register.prepared_standards} if records.register else set()
    for number, addition in enumerate(run.file.additions, start=1):
        place = f"addition {number} ({addition.solution})"
        named = [("pipette", addition.pipette, DELIVERS), ("flask", addition.flask, RECEIVES)]
        named += [("aliquot", addition.aliquot, DELIVERS)]
        if addition.standard not in standards:
            named += [("standard", addition.standard, STOCKS)]
        for key, item, accepted in named:
            if item:
                yield from _item(item, accepted, kinds, records.file("run"), f"{place}, {key}")
    samples = records.file("samples")
    columns = [
        (symbol.ware_column, symbol.of)
        for symbol in records.method.symbols.values()
        if isinstance(symbol, Volume) and symbol.ware_column
    ]
    for portion in run.portions:
        place = f"row {portion.row + 1} ({portion.sample})"
        if portion.reference_material:
            yield from _item(portion.reference_material, MATERIALS, kinds, samples, f"{place}, material")
        for column, of in columns:
            ware = portion.columns.get(column)
            if isinstance(ware, str) and (portion.kind == "blank") == (of == "blank"):
                yield from _item(ware, VOLUMETRIC, kinds, samples, f"{place}, {column}")
    for solution in run.solutions:
        place = f"row {solution.row + 1} ({solution.label}), dilution"
        for step in solution.steps:
            for item, accepted in ((step.aliquot, DELIVERS), (step.to, RECEIVES), (step.balance, BALANCES)):
                if item:
                    yield from _item(item, accepted, kinds, records.file("solutions"), place)


def _kinds(records: Records) -> dict[str, str]:
    """Id of every item and its kind."""
    if records.register is None:
        return {}
    items: tuple[Equipment | ReferenceMaterial, ...] = (
        *records.register.equipment,
        *records.register.reference_materials,
    )
    return {item.id: item.kind for item in items}


def _item(item: str, accepted: frozenset[str], kinds: dict[str, str], file: str, place: str) -> Iterator[Finding]:
    wanted = " or ".join(sorted(accepted))
    if item not in kinds:
        yield Finding(
            "stop",
            file,
            place,
            f"{item}, which is not in the register",
            f"a {wanted} of the register",
            "add the item to the register or correct its name",
        )
    elif kinds[item] not in accepted:
        found = f"{item}, which is a {kinds[item]}"
        yield Finding("stop", file, place, found, f"a {wanted} of the register", "name the right item")


def material_called(records: Records, item: str) -> ReferenceMaterial | None:
    """The reference solution or material with this id."""
    materials = records.register.reference_materials if records.register else ()
    return next((material for material in materials if material.id == item), None)
