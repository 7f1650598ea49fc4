"""Atomic weights, molar masses and conversion factors: three tables, one below the other.

An element is one physical deviation for all molar masses of the method. Every element has a column of its own, so that
it is one row of the budget, with its number of atoms in the sensitivity coefficient; in a conversion factor such as
M(Al2O3)/(2 M(Al)) the paths above and below the line meet in that one row.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.bench.placed import Placed
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.stated import Entry
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.atomic_weights import STANDARD_WEIGHTS, Interval, SingleValue
from ubudget.quantity.chemical_formula import atoms_of, shared_element
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import ZERO, Expression, Symbol
from ubudget.quantity.graph import Trait
from ubudget.records.molar_mass import Conversion, ConversionFactor, MolarMass

WEIGHTS, MASSES, CONVERSIONS = "atomic weights", "molar masses", "conversion factors"
GROUP = "molar mass"
UNIT = "g/mol"


def enter_atomic_weights(operations: SymbolRows) -> None:
    """Atomic weights that the method states become stated inputs, like any other."""
    used = {element for formula in _formulas(operations) for element in _atoms(operations, formula)}
    for element, stated in operations.context.records.method.atomic_weights.items():
        if element in used:
            known = STANDARD_WEIGHTS.get(element)
            name = known.name if known else element
            path = ("atomic_weights", element)
            quantity = f"atomic weight of {name}, as stated"
            entry = Entry(f"A({element})", "all", quantity, GROUP, UNIT, stated, stated.value, path, "value")
            operations.weight_rows[element] = len(operations.entries)
            operations.entries.append(entry)


def build_molar_masses(operations: SymbolRows) -> None:
    """Tables of atomic weights, molar masses and conversion factors; remembers where their symbols stand."""
    context = operations.context
    formulas = _formulas(operations)
    if not formulas:
        return
    atoms = {formula: _atoms(operations, formula) for formula in formulas}
    elements = list(dict.fromkeys(element for counts in atoms.values() for element in counts))
    standard = [element for element in elements if element not in operations.weight_rows]
    if standard:
        _build_weights(context, standard)
    _build_masses(operations, atoms, elements, standard)
    row_of = {formula: row for row, formula in enumerate(formulas)}
    for symbol, operation in operations.each(MolarMass):
        cases = tuple(case for case, _ in operation.stated)
        rows = tuple(row_of[formula] for _, formula in operation.stated)
        operations.placed[symbol] = Placed(MASSES, "M", cases, rows)
    conversions = _conversions(operations)
    if conversions:
        _build_conversions(context, conversions, atoms, row_of)
        first = 0
        for symbol, operation in operations.each(ConversionFactor):
            rows = tuple(range(first, first + len(operation.stated)))
            operations.placed[symbol] = Placed(CONVERSIONS, "factor", operation.stated, rows)
            first += len(rows)


def _conversions(operations: SymbolRows) -> list[Conversion]:
    return [conversion for _, operation in operations.each(ConversionFactor) for conversion in operation.stated]


def _formulas(operations: SymbolRows) -> list[str]:
    """Every formula once, in the order of the method."""
    formulas = [formula for _, operation in operations.each(MolarMass) for _, formula in operation.stated]
    formulas += [
        formula for conversion in _conversions(operations) for formula in (conversion.source, conversion.target)
    ]
    return list(dict.fromkeys(formulas))


def _atoms(operations: SymbolRows, formula: str) -> dict[str, int]:
    return atoms_of(formula, operations.context.records.method.atomic_weights)


def _build_weights(context: Context, elements: Sequence[str]) -> None:
    known = [STANDARD_WEIGHTS[element] for element in elements]
    table = TableBuilder(WEIGHTS, "Standard atomic weights", len(elements), context.shared)
    table.label("element", "element", elements)
    table.label("name", "name", [weight.name for weight in known])

    def column(name: str, heading: str, values: list[float | None]) -> Symbol:
        return table.given(name, heading, UNIT, nan_where_none(values))

    singles = [weight if isinstance(weight, SingleValue) else None for weight in known]
    intervals = [weight if isinstance(weight, Interval) else None for weight in known]
    value = column("value", "single value", [weight.value if weight else None for weight in singles])
    half = column("U", "± of the single value", [weight.U if weight else None for weight in singles])
    lower = column("lower", "lower bound of the interval", [weight.lower if weight else None for weight in intervals])
    upper = column("upper", "upper bound of the interval", [weight.upper if weight else None for weight in intervals])
    way = np.array([1 if weight else 0 for weight in intervals], dtype=np.int64)
    rule = "rectangular, Pure Appl. Chem. 90 (2018) 395"
    table.formula("A", "atomic weight", UNIT, value, rule, [(lower + upper) / 2], way)
    table.formula("half-width", "half-width", UNIT, half, rule, [(upper - lower) / 2], way)
    table.formula("u", "standard uncertainty u", UNIT, Symbol("half-width") / divisor("rectangular"), rule)
    table.label("source", "source", [weight.source for weight in known])
    traits = [
        Trait(f"A({element})", f"atomic weight of {weight.name}", GROUP, "B", "rectangular", weight.source)
        for element, weight in zip(elements, known, strict=True)
    ]
    table.leaf("A", "u", traits)
    context.tables[WEIGHTS] = table.build()


def _build_masses(
    operations: SymbolRows, atoms: dict[str, dict[str, int]], elements: Sequence[str], standard: Sequence[str]
) -> None:
    table = TableBuilder(MASSES, "Molar masses", len(atoms), operations.context.shared)
    table.label("formula", "formula", list(atoms))
    total: Expression = ZERO
    for element in elements:
        counts = [own.get(element, 0) for own in atoms.values()]
        count = table.given(f"atoms of {element}", f"atoms of {element}", "", counts)
        stated = element in operations.weight_rows
        row = operations.weight_rows[element] if stated else standard.index(element)
        rows = [row if present else -1 for present in counts]
        weight = table.pick(f"A({element})", INPUTS if stated else WEIGHTS, "estimate" if stated else "A", rows)
        total = total + count * weight
    table.formula("M", "molar mass M", UNIT, total, "sum over the atoms")
    operations.context.tables[MASSES] = table.build()


def _build_conversions(
    context: Context, conversions: Sequence[Conversion], atoms: dict[str, dict[str, int]], row_of: dict[str, int]
) -> None:
    table = TableBuilder(CONVERSIONS, "Conversion factors", len(conversions), context.shared)
    elements = [shared_element(atoms[one.source], atoms[one.target], one.element) for one in conversions]
    table.label("from", "from", [one.source for one in conversions])
    table.label("to", "to", [one.target for one in conversions])
    table.label("element", "element counted", elements)
    here = [atoms[one.source][element] for one, element in zip(conversions, elements, strict=True)]
    there = [atoms[one.target][element] for one, element in zip(conversions, elements, strict=True)]
    n_from = table.given("atoms from", "its atoms in from", "", here)
    n_to = table.given("atoms to", "its atoms in to", "", there)
    M_from = table.pick("M(from)", MASSES, "M", [row_of[one.source] for one in conversions])
    M_to = table.pick("M(to)", MASSES, "M", [row_of[one.target] for one in conversions])
    table.formula("factor", "conversion factor", "", M_to * n_from / (M_from * n_to), "equal amounts of the element")
    context.tables[CONVERSIONS] = table.build()
