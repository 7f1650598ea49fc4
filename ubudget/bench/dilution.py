"""Dilution factor of the measured solution: product over its steps of flask volume / aliquot volume.

Chains are padded to the run's longest: an absent step is the exact factor 1 without input quantities.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.limits import Limits
from ubudget.bench.volume import DELIVERY, FILLING, TemperatureRows, add_volume
from ubudget.quantity.expression import Expression, Number
from ubudget.records.run import DilutionStep

GROUP = "dilution"


def build_dilutions(
    context: Context,
    symbol: str,
    quantity: str,
    solutions: Sequence[str],
    steps: Mapping[str, tuple[DilutionStep, ...]],
    ware: Mapping[str, tuple[int, Limits]],
    unit: str,
    temperature: TemperatureRows | None,
) -> str:
    """Tables `dilution steps of f` and `dilutions of f`; gives the name of the latter, one row a solution, column
    `symbol`."""
    flat = [(label, number, step) for label in solutions for number, step in enumerate(steps[label])]
    step_table = f"dilution steps of {symbol}"
    if flat:
        table = TableBuilder(step_table, f"Dilution steps, {quantity}", len(flat), context.shared)
        table.label("solution", "solution", [label for label, _, _ in flat])
        table.label("step", "step", [str(number + 1) for _, number, _ in flat])
        table.label("aliquot item", "pipette", [step.aliquot for _, _, step in flat])
        table.label("flask item", "flask", [step.to for _, _, step in flat])
        volumes = []
        for word, name, keys in (
            ("delivery", "aliquot", [step.aliquot for _, _, step in flat]),
            ("filling", "flask", [step.to for _, _, step in flat]),
        ):
            volumes.append(
                add_volume(
                    table,
                    f"{symbol}.{name}",
                    unit,
                    [ware[key][1] for key in keys],
                    [ware[key][0] for key in keys],
                    context.mark(DELIVERY if word == "delivery" else FILLING),
                    word=word,
                    group=GROUP,
                    temperature=temperature,
                )
            )
        aliquot, flask = volumes
        table.formula("factor", "factor of the step", "", flask / aliquot)
        context.tables[step_table] = table.build()
    name = f"dilutions of {symbol}"
    table = TableBuilder(name, f"Measured solutions, {quantity}", len(solutions), context.shared)
    table.label("solution", "solution", list(solutions))
    starts = np.cumsum([0] + [len(steps[label]) for label in solutions])[:-1]
    lengths = np.array([len(steps[label]) for label in solutions], dtype=np.int64)
    total: Expression = Number(1)
    for number in range(int(lengths.max(initial=0))):
        rows = np.where(lengths > number, starts + number, -1)
        total = total * table.pick(f"step {number + 1}", step_table, "factor", rows, absent=1.0)
    table.formula(symbol, symbol, "", total, "product over the steps")
    context.tables[name] = table.build()
    return name
