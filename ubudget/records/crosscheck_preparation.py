"""How solutions are prepared: from what, with which items, on which day, and whether volumes and masses meet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from ubudget.records.additions import StandardAdditions
from ubudget.records.amount import Amount
from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_items import BALANCES, DELIVERS, RECEIVES, STOCKS
from ubudget.records.finding import Finding
from ubudget.records.preparation import DilutionStep
from ubudget.records.preparation_chains import (
    DENSITY,
    MASS,
    Chain,
    Preparation,
    Solutions,
    basis_of,
    made_basis,
    needs_density,
    needs_density_made,
    solutions_of,
    used_preparations,
)
from ubudget.records.records import Records
from ubudget.records.unit_comparison import in_unit
from ubudget.records.volume import Dilution


def preparation_findings(records: Records) -> list[Finding]:
    """What the solutions made by steps lack, those of the register that the run uses and those of the run."""
    solutions = solutions_of(records)
    used = sorted(used_preparations(records), key=lambda each: (each.document != "run", each.path))
    return [
        *_names(records, solutions),
        *_sources(records, solutions, used),
        *_items(records, used),
        *_amounts(records, used),
        *_vessels(records, solutions, used),
        *_days(records, used),
        *_dilutions(records),
    ]


def preparation_place(preparation: Preparation) -> str:
    table = "standard" if preparation.document == "run" else "prepared_standard"
    return f"{table} {int(preparation.path[1]) + 1} ({preparation.label})"


def _names(records: Records, solutions: Solutions) -> Iterator[Finding]:
    """A label of the run that is also an item of the register could mean either."""
    if records.register is None or records.run is None:
        return
    ids = {item.id for item in records.register.prepared_standards} | set(solutions.materials)
    for number, standard in enumerate(records.run.file.standards, start=1):
        if standard.label in ids and (standard.steps or standard.concentration):
            place = f"standard {number} ({standard.label})"
            found = f"the label {standard.label}, which is an item of the register too"
            yield Finding("stop", records.file("run"), place, found, "labels of its own", "rename the standard")


def _sources(records: Records, solutions: Solutions, used: list[Preparation]) -> Iterator[Finding]:
    """A solution is made from a stock solution or a prepared solution, and none from itself."""
    stated = {standard.label for standard in records.run.file.standards} if records.run else set()
    accepted = (
        "another standard prepared by steps, or a stock solution, pure substance or prepared standard of the register"
    )
    for preparation in used:
        source = preparation.source
        file, place = records.file(preparation.document), f"{preparation_place(preparation)}, from"
        if not source or source in solutions.prepared:
            if solutions.made_from_itself(preparation.label):
                found = f"a circle: {preparation.label} is made from itself"
                yield Finding("stop", file, place, found, accepted, "correct the label")
        elif source in solutions.materials:
            if solutions.materials[source].kind not in STOCKS:
                found = f"{source}, which is a {solutions.materials[source].kind}"
                yield Finding("stop", file, place, found, accepted, "name the right item")
        elif source in stated:
            found = f"{source}, which is stated and not prepared"
            yield Finding("stop", file, place, found, accepted, "give its steps, or name it as the stock")
        else:
            found = f"the unknown standard {source}"
            yield Finding("stop", file, place, found, accepted, "correct the label, or take from out for the stock")


def _items(records: Records, used: list[Preparation]) -> Iterator[Finding]:
    """Pipettes, flasks and balances of the register."""
    kinds = {item.id: item.kind for item in records.register.equipment} if records.register else {}
    for preparation in used:
        for turn, step in enumerate(preparation.steps, start=1):
            place = f"{preparation_place(preparation)}, step {turn}"
            yield from step_items(step, kinds, records.file(preparation.document), place)


def step_items(step: DilutionStep, kinds: Mapping[str, str], file: str, place: str) -> Iterator[Finding]:
    """Whether the items of a step are in the register and of the right kind."""
    named = (("aliquot", step.aliquot, DELIVERS), ("to", step.to, RECEIVES), ("balance", step.balance, BALANCES))
    for key, item, wanted in named:
        accepted = f"a {' or '.join(sorted(wanted))} of the register"
        if item and item not in kinds:
            found = f"{item}, which is not in the register's equipment"
            yield Finding("stop", file, f"{place}, {key}", found, accepted, "add it or correct its name")
        elif item and kinds[item] not in wanted:
            found = f"{item}, which is a {kinds[item]}"
            yield Finding("stop", file, f"{place}, {key}", found, accepted, "name the right item")


def _amounts(records: Records, used: list[Preparation]) -> Iterator[Finding]:
    """Masses and densities in units that convert, and a total above its aliquot."""
    for preparation in used:
        file = records.file(preparation.document)
        for turn, step in enumerate(preparation.steps, start=1):
            place = f"{preparation_place(preparation)}, step {turn}"
            yield from step_amounts(step, file, place)


def step_amounts(step: DilutionStep, file: str, place: str) -> Iterator[Finding]:
    """Units of the masses and densities of a step, and a total above its aliquot."""
    amounts: list[tuple[str, Amount | None, str]] = [
        ("aliquot_mass", step.aliquot_mass, MASS),
        ("total_mass", step.total_mass, MASS),
        ("density", step.density.value if step.density else None, DENSITY),
        ("density_made", step.density_made.value if step.density_made else None, DENSITY),
    ]
    for key, amount, unit in amounts:
        if amount is not None and in_unit(amount.value, amount.unit, unit) is None:
            found, accepted = f"{amount.text}, which does not convert to {unit}", f"a number in {unit}"
            yield Finding("stop", file, f"{place}, {key}", found, accepted, "correct the unit")
    if step.aliquot_mass and step.total_mass:
        part, whole = (in_unit(mass.value, mass.unit, MASS) for mass in (step.aliquot_mass, step.total_mass))
        if part is not None and whole is not None and part > whole:
            found = f"a total of {step.total_mass.text}, less than its aliquot of {step.aliquot_mass.text}"
            accepted = "the mass of the whole solution"
            yield Finding("stop", file, f"{place}, total_mass", found, accepted, "correct one of the masses")


def _vessels(records: Records, solutions: Solutions, used: list[Preparation]) -> Iterator[Finding]:
    """One mass is of one solution: several stock solutions weighed into one vessel are several masses."""
    run = records.run
    for preparation in used:
        if preparation.source or run is None or preparation.steps[0].aliquot_mass is None:
            continue
        items = {solutions.stocks[a] for a in preparation.analytes or tuple(solutions.stocks) if a in solutions.stocks}
        if len(items) > 1:
            place = f"{preparation_place(preparation)}, step 1, aliquot_mass"
            found = f"one mass for {len(items)} stock solutions: {', '.join(sorted(items))}"
            yield Finding(
                "stop",
                records.file("run"),
                place,
                found,
                "a mass of one solution",
                "name its source with from, and make one standard of each",
            )


def _days(records: Records, used: list[Preparation]) -> Iterator[Finding]:
    """A kept solution is used from the day it was made to its last day."""
    if records.run is None or records.register is None:
        return
    sheet = records.run.file.run
    day = sheet.dates.preparation or sheet.date
    kept = {item.id: item for item in records.register.prepared_standards}
    for preparation in used:
        item = kept.get(preparation.label)
        if preparation.document != "register" or item is None:
            continue
        accepted = f"use from {item.prepared} to {item.use_by}"
        place = preparation_place(preparation)
        if day < item.prepared:
            found = f"used on {day}, before it was prepared"
            yield Finding("attend", records.file("register"), place, found, accepted, "correct the date, or the item")
        elif day > item.use_by:
            found = f"used on {day}, after its last day"
            yield Finding("attend", records.file("register"), place, found, accepted, "prepare it anew")


def _dilutions(records: Records) -> Iterator[Finding]:
    """Dilutions of samples that were weighed: amounts, and densities where concentrations are by volume."""
    run = records.run
    units = [each.unit for each in records.method.symbols.values() if isinstance(each, Calibration | StandardAdditions)]
    basis = basis_of(units[0]) if units else None
    named = {name: each for name, each in records.method.symbols.items() if isinstance(each, Dilution)}
    for solution in run.solutions if run else ():
        place = f"row {solution.row + 1} ({solution.label})"
        for step in solution.steps:
            yield from step_amounts(step, records.file("solutions"), place)
            if basis is None or not step.balance:
                continue
            for name, symbol in named.items():
                lacking = [("density", needs_density(step, basis)), ("density_made", needs_density_made(step, basis))]
                for key, needed in lacking:
                    if needed and getattr(symbol, key) is None:
                        words = "diluted" if key == "density" else "made"
                        found = f"a dilution by mass, concentrations in {units[0]}, without the density of the "
                        found += f"solution {words}"
                        accepted = f'[symbols.{name}.{key}] with value = "… g/mL" and u'
                        yield Finding("stop", records.file("solutions"), place, found, accepted, f"add {key}")


def density_findings(
    records: Records, solutions: Solutions, chain: Chain, analyte: str, unit: str
) -> Iterator[Finding]:
    """Densities that a chain needs so that its last solution has a content in the unit."""
    wanted, certified = basis_of(unit), solutions.certified(chain.stock, analyte)
    source = basis_of(certified.unit) if certified else None
    if wanted is None or source is None:
        return
    for number, link in enumerate(chain.links):
        for turn, step in enumerate(link.steps, start=1):
            file, place = records.file(link.document), f"{preparation_place(link)}, step {turn}"
            if needs_density(step, source) and step.density is None:
                what = "by volume" if step.aliquot else "by mass"
                found = f"an aliquot {what} of a solution with its content by {source}, without density"
                accepted = 'density = { value = "… g/mL", u = "… g/mL" } of the solution taken'
                yield Finding("stop", file, place, found, accepted, "add density")
            last = number == len(chain.links) - 1 and turn == len(link.steps)
            source = made_basis(step, wanted)
            if last and source != wanted:
                found = f"a solution made up by {source}, while contents are in {unit}"
                accepted = 'density_made = { value = "… g/mL", u = "… g/mL" } of the solution made'
                yield Finding("stop", file, place, found, accepted, "add density_made")
            elif step.density_made is not None and not needs_density_made(step, wanted):
                found, accepted = "density_made, which nothing needs", "densities where volume and mass meet"
                yield Finding("stop", file, place, found, accepted, "take density_made out")
