"""Dilution factor of the measured solution: product over its steps of what was made over the aliquot.

Chains are padded to the run's longest: an absent step is the exact factor 1 without input quantities.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ubudget.bench.building import TableBuilder
from ubudget.bench.solution_steps import StepUse, Wording, build_steps
from ubudget.bench.structure import PlacedStep
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.expression import Expression, Number
from ubudget.records.preparation_chains import Basis
from ubudget.records.volume import Dilution

GROUP = "dilution"


def build_dilutions(
    rows: SymbolRows,
    symbol: str,
    operation: Dilution,
    solutions: Sequence[str],
    steps: Mapping[str, tuple[PlacedStep, ...]],
    basis: Basis,
) -> str:
    """Tables `dilution steps of f` and `dilutions of f`; gives the name of the latter, one row a solution, column
    `symbol`. `basis` is what the concentration read refers to."""
    flat = [(label, number, placed) for label in solutions for number, placed in enumerate(steps[label])]
    density, density_made = (rows.density_rows.get(("symbols", symbol, key), -1) for key in ("density", "density_made"))
    uses = [
        StepUse(
            (label, str(number + 1)),
            placed.step,
            "solutions",
            (placed.row,),
            # A step on the way to several solutions is one filling.
            (placed.row, placed.turn),
            basis,
            basis,
            density,
            density_made,
        )
        for label, number, placed in flat
    ]
    words = Wording(
        f"dilution steps of {symbol}",
        f"Dilution steps, {operation.quantity}",
        (("solution", "solution"), ("step", "step")),
        symbol,
        GROUP,
        factor="factor of the step",
        inverse=True,
    )
    keys = [(label, number) for label, number, _ in flat]
    found = dict(zip(keys, build_steps(rows, uses, words, rows.temperature_of(symbol)), strict=True))
    name = f"dilutions of {symbol}"
    table = TableBuilder(name, f"Measured solutions, {operation.quantity}", len(solutions), rows.context.shared)
    table.label("solution", "solution", list(solutions))
    total: Expression = Number(1)
    for number in range(max((len(steps[label]) for label in solutions), default=0)):
        places = [found.get((label, number)) for label in solutions]
        names = dict.fromkeys(place[0] for place in places if place)
        for step_table in names:
            picked = [place[1] if place and place[0] == step_table else -1 for place in places]
            label = f"step {number + 1}" + ("" if len(names) == 1 else step_table.removeprefix(words.table))
            total = total * table.pick(label, step_table, "factor", picked, absent=1.0)
    table.formula(symbol, symbol, "", total, "product over the steps")
    rows.context.tables[name] = table.build()
    return name
