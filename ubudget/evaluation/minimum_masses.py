"""Test portions below the smallest net mass that their balance may weigh."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.bench.assembly import Assembly
from ubudget.bench.minimum import below
from ubudget.bench.portions import PORTIONS
from ubudget.quantity.numbers import Numbers
from ubudget.records.crosscheck_run import portion_place
from ubudget.records.finding import Finding
from ubudget.records.weighing import Weighing


def minimum_findings(assembly: Assembly, numbers: Numbers) -> Iterator[Finding]:
    """One finding for each weighing below the minimum of the rule that its symbol names."""
    records, structure = assembly.records, assembly.structure
    portions = structure.portions if structure is not None else (None,)
    for name, symbol in records.method.symbols.items():
        if not isinstance(symbol, Weighing) or symbol.minimum is None:
            continue
        marks, masses, least = (numbers.column(PORTIONS, column) for column in (below(name), name, f"minimum {name}"))
        for portion, mark, mass, minimum in zip(portions, marks, masses, least, strict=True):
            if not mark:
                continue
            place = f"{portion_place(portion)}, {name}" if portion else f"symbol {name}"
            yield Finding(
                "attend",
                records.file("samples" if portion else "method"),
                place,
                f"a net mass of {mass:.4g} {symbol.unit}, below the minimum of {minimum:.4g} {symbol.unit}",
                f"the minimum of {symbol.minimum.rule} on this balance, or more",
                "weigh a larger test portion, or use a finer balance",
            )
