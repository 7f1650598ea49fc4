"""Volumetric ware: its class and standard, part volumes read from it, temperature and expansion."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.amount import Amount
from ubudget.records.calibration import Calibration
from ubudget.records.expansions import LIQUIDS, WARE_MATERIALS
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.register import Equipment
from ubudget.records.temperature import Temperature
from ubudget.records.unit_comparison import in_unit
from ubudget.records.volume import Dilution, Volume
from ubudget.records.ware_limits import STANDARD_OF_KIND, STANDARDS, Standard, goes_by_class, rows_of, standard_of


def ware_findings(records: Records) -> list[Finding]:
    """The register's ware against the tables of limits, and part volumes against the ware they are read from."""
    return [*_classes(records), *_part_volumes_of_run(records), *_temperatures(records)]


# -- class and standard ---------------------------------------------------------------------------------------------


def _classes(records: Records) -> Iterator[Finding]:
    file = records.file("register")
    for number, item in enumerate(records.register.equipment if records.register else (), start=1):
        yield from class_findings(item, file, f"equipment {number} ({item.id})")


def class_findings(item: Equipment, file: str, place: str) -> Iterator[Finding]:
    """Class and standard of one item, and its row in the table of limits."""
    own = "a tolerance of its own"
    if item.accuracy_class is None and not item.standard and item.kind != "piston pipette":
        return
    if item.kind == "weight" and not item.standard:
        return  # its class is one of OIML R 111, judged with the balances
    if item.standard and item.standard not in STANDARDS:
        accepted = ", ".join(STANDARDS)
        remedy = "name one of them; for another standard state the tolerance, and the standard in tolerance_source"
        yield Finding("stop", file, f"{place}, standard", f"the unknown standard {item.standard}", accepted, remedy)
        return
    standard = standard_of(item)
    if standard is None:
        found = f"an accuracy class of a {item.kind}, for whose limits no table is held"
        kinds = ", ".join(STANDARD_OF_KIND)
        yield Finding("stop", file, place, found, f"{own}, or ware of the kinds {kinds}", "state the tolerance")
        return
    if standard.kind != item.kind:
        found = f"{item.standard} ({standard.kind}) for a {item.kind}"
        accepted = STANDARD_OF_KIND.get(item.kind, own)
        yield Finding("stop", file, f"{place}, standard", found, accepted, "correct the standard or the kind")
        return
    if item.accuracy_class is not None and item.accuracy_class not in standard.classes:
        held = ", ".join(name for name in standard.classes if name) or "no class"
        found = f"class {item.accuracy_class}, which {standard.edition} does not have"
        yield Finding("stop", file, f"{place}, accuracy_class", found, held, "correct the class")
        return
    certified = any(certificate.properties for certificate in item.certificates)
    if goes_by_class(item) and not certified:
        yield from _row_of(item, standard, file, place)


def _row_of(item: Equipment, standard: Standard, file: str, place: str) -> Iterator[Finding]:
    """Exactly one row of the table is that of the item."""
    nominal = item.nominal
    if nominal is None or in_unit(nominal.value, nominal.unit, standard.unit) is None:
        return
    named = f", class {item.accuracy_class}" if item.accuracy_class else ""
    rows = rows_of(item, standard)
    if len(rows) > 1:
        divisions = ", ".join(f"{row.division:g} {standard.unit}" for row in rows if row.division)
        found = f"{nominal.text} of {standard.edition}, which has several divisions"
        remedy = "add the division; or state a tolerance"
        yield Finding("stop", file, f"{place}, division", found, f"one of {divisions}", remedy)
    elif not rows:
        held = [row for row in standard.rows if (item.accuracy_class or "") in row.limits]
        volumes = ", ".join(dict.fromkeys(_row_words(row.nominal, row.division) for row in held))
        found = f"{nominal.text}{_division_words(item)}, for which {standard.edition}{named} is held without limits"
        remedy = "correct nominal, division or class; or state tolerance or certificate"
        accepted = f"in {standard.unit}: {volumes}"
        yield Finding("stop", file, f"{place}, nominal", found, accepted, remedy)


def _row_words(nominal: float, division: float | None) -> str:
    return f"{nominal:g}" + (f" ({division:g})" if division is not None else "")


def _division_words(item: Equipment) -> str:
    return f" in divisions of {item.division.text}" if item.division else ""


# -- part volumes ---------------------------------------------------------------------------------------------------


def part_volume_findings(symbol: Volume, file: str, place: str) -> Iterator[Finding]:
    """A volume symbol against itself."""
    named = bool(symbol.ware or symbol.ware_column)
    if symbol.value is not None and symbol.value_column:
        accepted = "one of them"
        yield Finding("stop", file, place, "value and value_column together", accepted, "keep one")
    if symbol.value_column and not named and symbol.nominal is None:
        found, accepted = "a value_column without ware", "ware, ware_column, or nominal with tolerance"
        yield Finding("stop", file, place, found, accepted, "name the ware")
    for key in ("reading_half_width", "drop_half_width"):
        if getattr(symbol, key) is not None and not symbol.is_reading:
            found = f"{key} of a volume that is not read"
            accepted = "value or value_column beside it; for ware filled to its mark meniscus"
            yield Finding("stop", file, f"{place}, {key}", found, accepted, "add the reading or take it out")
    if symbol.meniscus is not None and symbol.reading_half_width is not None:
        found = "meniscus beside reading_half_width: setting the meniscus counted twice"
        yield Finding("attend", file, place, found, "one of them", "keep reading_half_width for a part volume")
    own = ("nominal", "tolerance", "repeatability", "meniscus")
    stated = [key for key in own if getattr(symbol, key) is not None]
    if named and stated:
        found = f"{', '.join(stated)} beside ware of the register, which brings its own"
        remedy = "take it out, or state it in the register"
        yield Finding("attend", file, place, found, "limits in one place", remedy)


def _part_volumes_of_run(records: Records) -> Iterator[Finding]:
    """Part volumes are above zero and not above the ware's volume; a certified value at nominal does not correct
    them."""
    items = {item.id: item for item in records.register.equipment} if records.register else {}
    for name, symbol in records.method.symbols.items():
        if not isinstance(symbol, Volume) or not symbol.is_reading:
            continue
        used: dict[str, Equipment] = {}
        blanks = sum(portion.kind == "blank" for portion in records.run.portions) if records.run else 0
        if symbol.of == "blank" and symbol.value_column and blanks > 1:
            found = f"{blanks} blanks, each with a volume of its own"
            accepted = "one blank where its volume is read"
            remedy = "keep one, or give the mean volume as an input"
            yield Finding("stop", records.file("samples"), symbol.value_column, found, accepted, remedy)
        if symbol.ware in items:
            used[symbol.ware] = items[symbol.ware]
            if symbol.value is not None:
                place = f"symbol {name}, value"
                yield from _within(symbol.value, items[symbol.ware], records.file("method"), place)
        for portion in records.run.portions if records.run else ():
            if (portion.kind == "blank") != (symbol.of == "blank"):
                continue
            item = items.get(symbol.ware or str(portion.columns.get(symbol.ware_column, "")))
            read = portion.columns.get(symbol.value_column)
            place = f"row {portion.row + 1} ({portion.sample}), {symbol.value_column}"
            if item is not None:
                used[item.id] = item
            if isinstance(read, Amount) and read.value <= 0:
                accepted = "a volume above zero"
                found = f"a volume of {read.text}"
                yield Finding("stop", records.file("samples"), place, found, accepted, "correct the value")
            elif isinstance(read, Amount) and item is not None:
                yield from _within(read, item, records.file("samples"), place)
        for item in used.values():
            yield from _certified_apart(name, item, records.file("method"))


def _within(read: Amount, item: Equipment, file: str, place: str) -> Iterator[Finding]:
    nominal = item.nominal
    most = None if nominal is None else in_unit(nominal.value, nominal.unit, read.unit)
    if nominal is not None and most is not None and read.value > most:
        found = f"{read.value:g} {read.unit} from {item.id} of {nominal.text}"
        remedy = "correct the value; ware filled twice is two volumes"
        yield Finding("attend", file, place, found, f"at most {nominal.text}", remedy)


def _certified_apart(name: str, item: Equipment, file: str) -> Iterator[Finding]:
    """A certified value that differs from nominal, while other volumes are read."""
    nominal = item.nominal
    for certificate in item.certificates:
        for certified in certificate.properties:
            if certified.at is not None:
                continue  # it corrects the volumes read
            here = in_unit(certified.value.value, certified.value.unit, nominal.unit) if nominal else None
            if nominal is not None and here is not None and here != nominal.value:
                found = (
                    f"part volumes of {item.id}, certified {certified.value.text} at {nominal.text} "
                    f"({certificate.number}): the correction is not applied to them"
                )
                accepted = "a correction that is negligible, or counted in U"
                remedy = "check it, or add the correction to the equation as an input"
                yield Finding("attend", file, f"symbol {name}", found, accepted, remedy)


# -- temperature ----------------------------------------------------------------------------------------------------


def _temperatures(records: Records) -> Iterator[Finding]:
    """Liquids and materials that are known, and one uncertainty for the one expansion of a liquid.

    In a workbook that uncertainty is one open cell, and an edit of that cell stands for all symbols."""
    file = records.file("method")
    edited = any(edit.document == "method" and edit.path[-1] == "expansion_u" for edit in records.edits)
    first: dict[str, tuple[str, Temperature]] = {}
    for name, symbol in records.method.symbols.items():
        temperature = symbol.temperature if isinstance(symbol, (Volume, Dilution, Calibration)) else None
        if temperature is None:
            continue
        place = f"symbol {name}, temperature"
        liquid, material = temperature.liquid, temperature.ware_material
        if liquid and liquid not in LIQUIDS:
            found, accepted = f"the unknown liquid {liquid}", ", ".join(LIQUIDS)
            remedy = "name one of them, or state expansion with its source"
            yield Finding("stop", file, f"{place}, liquid", found, accepted, remedy)
        if material and material not in WARE_MATERIALS:
            found, accepted = f"the unknown material {material}", ", ".join(WARE_MATERIALS)
            yield Finding("stop", file, f"{place}, ware_material", found, accepted, "name one of them, or leave it out")
        before = first.setdefault(liquid, (name, temperature)) if liquid else (name, temperature)
        if not edited and _stated(before[1]) != _stated(temperature):
            found = f"expansion_u of {liquid} other than for symbol {before[0]}"
            accepted = "one uncertainty for the one expansion of a liquid"
            yield Finding("stop", file, f"{place}, expansion_u", found, accepted, "make them equal")


def _stated(temperature: Temperature) -> tuple[float, str] | None:
    u = temperature.expansion_u
    return None if u is None else (u.value, u.unit)
