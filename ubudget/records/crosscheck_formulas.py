"""Chemical formulas of a method: readable, of elements with an atomic weight, and comparable where compared."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.quantity.atomic_weights import STANDARD_WEIGHTS, WITHOUT_STANDARD_WEIGHT
from ubudget.quantity.chemical_formula import FormulaError, atoms_of, shared_element
from ubudget.records.finding import Finding
from ubudget.records.method import Method
from ubudget.records.molar_mass import Conversion, ConversionFactor, MolarMass
from ubudget.records.unit_comparison import in_unit

VARIABLE = ("Li", "B", "Pb")
"""Elements whose atomic weight in commercial reagents may lie far from the standard one (Pure Appl. Chem. 93 (2021)
629-646)."""


def formula_findings(method: Method, file: str) -> list[Finding]:
    read: dict[str, int] = {}
    findings = [*_molar_masses(method, file, read), *_conversions(method, file, read)]
    return [*findings, *_atomic_weights(method, file, read)]


def _molar_masses(method: Method, file: str, read: dict[str, int]) -> Iterator[Finding]:
    for name, symbol in method.symbols.items():
        if not isinstance(symbol, MolarMass):
            continue
        place = f"symbol {name}, formula"
        if not symbol.stated:
            yield Finding("stop", file, place, "no formula", 'e.g. formula = "K2Cr2O7"', "add the formula")
        for _, formula in symbol.stated:
            yield from _formula(method, file, place, formula, read)


def _conversions(method: Method, file: str, read: dict[str, int]) -> Iterator[Finding]:
    for name, symbol in method.symbols.items():
        if not isinstance(symbol, ConversionFactor):
            continue
        place = f"symbol {name}"
        if not symbol.stated:
            yield Finding("stop", file, place, "no from and to", 'e.g. from = "Al", to = "Al2O3"', "add both")
        for conversion in symbol.stated:
            faults = [
                *_formula(method, file, f"{place}, from", conversion.source, read),
                *_formula(method, file, f"{place}, to", conversion.target, read),
            ]
            yield from faults
            if not faults:
                yield from _comparable(method, file, place, conversion)


def _comparable(method: Method, file: str, place: str, conversion: Conversion) -> Iterator[Finding]:
    source = atoms_of(conversion.source, method.atomic_weights)
    target = atoms_of(conversion.target, method.atomic_weights)
    if shared_element(source, target, conversion.element):
        return
    shared = [element for element in source if element in target]
    pair = f"{conversion.source} and {conversion.target}"
    if conversion.element and shared:
        found = f"element {conversion.element}, which {pair} do not share"
    elif shared:
        found = f"{pair}, which share {' and '.join(shared)}"
    else:
        found = f"{pair}, which share no element"
    accepted = "two substances that share the element that is counted"
    remedy = f'add element = "{shared[0]}", or the one that is counted' if shared else "correct the formulas"
    yield Finding("stop", file, place, found, accepted, remedy)


def _formula(method: Method, file: str, place: str, formula: str, read: dict[str, int]) -> Iterator[Finding]:
    try:
        read.update(atoms_of(formula, method.atomic_weights))
    except FormulaError as error:
        yield Finding("stop", file, place, error.found, error.accepted, "correct the formula")


def _atomic_weights(method: Method, file: str, read: dict[str, int]) -> Iterator[Finding]:
    for element, stated in method.atomic_weights.items():
        place = f"atomic weight {element}"
        if in_unit(stated.value.value, stated.value.unit, "g/mol") is None:
            found = f"the unit {stated.value.unit or '1'}"
            yield Finding("stop", file, f"{place}, value", found, "a molar mass, e.g. in g/mol", "add the unit")
        if element not in STANDARD_WEIGHTS and element not in WITHOUT_STANDARD_WEIGHT:
            found = f"the unknown element {element}"
            yield Finding("stop", file, place, found, "the symbol of an element", "correct the symbol")
        elif element not in read:
            found = f"the atomic weight of {element}, which no formula holds"
            yield Finding("attend", file, place, found, "elements of the method's formulas", "delete it")
    for element in VARIABLE:
        if element in read and element not in method.atomic_weights:
            name = STANDARD_WEIGHTS[element].name
            yield Finding(
                "note",
                file,
                "formulas",
                f"the standard atomic weight of {name}, which commercial reagents may not have",
                "the standard interval, or the supplier's isotopic statement where the molar mass matters",
                f"state it in a table [atomic_weights.{element}] if it is known",
            )
