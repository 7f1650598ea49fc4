"""Standards as quantities: as stated on the scale of their stock solution, or as prepared step by step.

x = c_stock * (x stated / c assumed), or c_stock times the steps of preparation. Stocks, pipettes, flasks and solutions
that several standards share are one deviation in all of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.kept_standards import KEPT, build_kept_standards
from ubudget.bench.solution_steps import StepUse, TableRow, Wording, build_steps
from ubudget.bench.stocks import Stocks
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.bench.volume import TemperatureRows
from ubudget.quantity.expression import Expression, Number
from ubudget.quantity.graph import Place
from ubudget.records.preparation_chains import Chain, Solutions, basis_of, made_basis
from ubudget.records.run import Standard

STANDARDS, STEPS = "standards", "preparation steps"
EFFECT = "standard repeatability"
GROUP = "standards"
Step = tuple[str, int, str]
"""Solution, number of the step, and the stock solution taken in it where it is the first."""


@dataclass(frozen=True)
class StandardRow:
    """One standard for one analyte: its number in the run, and its way from the stock solution."""

    number: int
    standard: Standard
    analyte: str
    chain: Chain | None
    """`None` where the concentration is stated."""

    @property
    def steps(self) -> tuple[Step, ...]:
        """Every step, from the stock on."""
        if self.chain is None:
            return ()
        flat = [(link.label, turn) for link in self.chain.links for turn in range(len(link.steps))]
        return tuple((label, turn, "" if place else self.chain.stock) for place, (label, turn) in enumerate(flat))


def standard_rows(
    solutions: Solutions, standards: Sequence[Standard], analytes: Sequence[str], kept: Sequence[str] = ()
) -> list[StandardRow]:
    """Rows by analyte, then as listed; prepared standards of the register that are `kept` follow those of the run."""
    listed = [*standards, *(Standard(label=label) for label in kept)]
    rows = []
    for analyte in analytes:
        for number, standard in enumerate(listed):
            if analyte in standard.concentration:
                rows.append(StandardRow(number, standard, analyte, None))
            elif standard.label in solutions.prepared and solutions.contains(standard.label, analyte):
                chain = solutions.chain(standard.label, analyte)
                rows += [StandardRow(number, standard, analyte, chain)] if chain else []
    return rows


def build_standards(
    rows: SymbolRows,
    standards: Sequence[StandardRow],
    unit: str,
    stocks: Stocks,
    read: Sequence[str],
    temperature: TemperatureRows | None,
) -> None:
    """Tables of the preparation steps and `standards` (one row a standard and analyte, column `x`).

    `read` are the solutions that serve as points of a curve."""
    context = rows.context
    step_row = _build_steps(rows, standards, unit, stocks, read, temperature)
    kept_row = build_kept_standards(rows, [(row.chain, row.analyte) for row in standards if row.chain])
    table = TableBuilder(STANDARDS, "Standards", len(standards), context.shared)
    table.label("standard", "standard", [row.standard.label for row in standards])
    table.label("analyte", "analyte", [row.analyte for row in standards])
    ways: list[Expression] = []
    way = []
    if any(row.chain is None for row in standards):
        ways.append(_as_stated(context, table, standards, unit, stocks))
    prepared = {False: -1, True: -1}
    if any(row.chain for row in standards):
        factor = _prepared_factor(table, standards, step_row, kept_row)
        for crossing in (False, True):
            found = [stocks.row(row.chain.stock, row.analyte, crossing) if row.chain else -1 for row in standards]
            if max(found) >= 0:
                name = "c_stock prepared" if any(row.chain is None for row in standards) else "c_stock"
                c_stock = table.pick(
                    f"{name} by {stocks.other_basis}" if crossing else name, stocks.table(crossing), "value", found, 1.0
                )
                prepared[crossing] = len(ways)
                ways.append(c_stock * factor * (Number(stocks.other_factor) if crossing else 1))
    for row in standards:
        way.append(prepared[stocks.crosses(row.chain.stock, row.analyte)] if row.chain else 0)
    clause = "c_stock times the steps of preparation"
    table.formula("x", "concentration", unit, ways[0], clause, ways[1:], np.array(way, dtype=np.int64))
    context.tables[STANDARDS] = table.build()


def _as_stated(
    context: Context, table: TableBuilder, standards: Sequence[StandardRow], unit: str, stocks: Stocks
) -> Expression:
    """The stated concentration, on the scale of the stock solution where the run names one."""
    given = [row.standard.concentration.get(row.analyte) if row.chain is None else None for row in standards]
    values = [
        context.in_unit(amount, unit, "run", f"standard {row.number + 1} ({row.standard.label}), {row.analyte}")
        for amount, row in zip(given, standards, strict=True)
    ]
    stated = table.given(
        "stated",
        "concentration as calculated",
        unit,
        [0.0 if value is None else value for value in values],
        [
            Place("run", ("standard", row.number, "concentration", row.analyte), unit) if amount is not None else None
            for amount, row in zip(given, standards, strict=True)
        ],
    )
    calculated = [
        -1 if amount is None else stocks.calculating(row.analyte) for amount, row in zip(given, standards, strict=True)
    ]
    if max(calculated) < 0:
        return stated
    c_stock = table.pick("c_stock", stocks.table(False), "value", calculated, absent=1.0)
    assumed = table.pick("c_assumed", stocks.table(False), "calculated with", calculated, absent=1.0)
    return c_stock * (stated / assumed)


def _prepared_factor(
    table: TableBuilder,
    standards: Sequence[StandardRow],
    step_row: Mapping[Step, TableRow],
    kept_row: Mapping[tuple[str, str], int],
) -> Expression:
    """Product over the steps, and over what keeping has done to the solutions on the way; absent ones are 1."""
    factor: Expression = Number(1)
    for turn in range(max(len(row.steps) for row in standards)):
        places = [step_row[row.steps[turn]] if turn < len(row.steps) else None for row in standards]
        names = dict.fromkeys(place[0] for place in places if place)
        for name in names:
            rows = [place[1] if place and place[0] == name else -1 for place in places]
            label = f"step {turn + 1}" + ("" if len(names) == 1 else name.removeprefix(STEPS))
            factor = factor * table.pick(label, name, "factor", rows, absent=1.0)
    kept = [
        [
            kept_row[link.label, row.analyte]
            for link in (row.chain.links if row.chain else ())
            if (link.label, row.analyte) in kept_row
        ]
        for row in standards
    ]
    for turn in range(max(map(len, kept))):
        rows = [each[turn] if turn < len(each) else -1 for each in kept]
        factor = factor * table.pick(f"kept solution {turn + 1}", KEPT, "factor", rows, absent=1.0)
    return factor


def _build_steps(
    rows: SymbolRows,
    standards: Sequence[StandardRow],
    unit: str,
    stocks: Stocks,
    read: Sequence[str],
    temperature: TemperatureRows | None,
) -> dict[Step, TableRow]:
    """Table and row of each step.

    Errors of a step that one read standard alone rests on show in the scatter of the levels: there the method's word on
    them holds. Those that several rest on are common to them and are counted always."""
    wanted = basis_of(unit) or "volume"
    levels = Counter(
        (step, row.standard.label) for row in standards for step in row.steps if row.standard.label in read
    )
    resting = Counter(step for step, _ in levels)
    uses: dict[Step, StepUse] = {}
    for row in standards:
        if row.chain is None:
            continue
        source = wanted if not stocks.crosses(row.chain.stock, row.analyte) else stocks.other_basis
        flat = [(link, turn) for link in row.chain.links for turn in range(len(link.steps))]
        for key, (link, turn) in zip(row.steps, flat, strict=True):
            step = link.steps[turn]
            made = made_basis(step, wanted)
            before = link.source or "stock" if turn == 0 else link.label
            path = (*link.path, "step", turn)
            density, density_made = (rows.density_rows.get((*path, each), -1) for each in ("density", "density_made"))
            covered = resting[key] == 1
            use = StepUse(
                (link.label, before),
                step,
                link.document,
                path,
                (link.label, turn),
                source,
                made,
                density,
                density_made,
                covered,
            )
            uses.setdefault(key, use)
            source = made
    if not uses:
        return {}
    # Steps in the order of the records, as a reader looks for them.
    order = sorted(uses, key=lambda key: (uses[key].document != "register", uses[key].path, key[2]))
    words = Wording(
        STEPS,
        "Preparation of the standards",
        (("standard", "standard"), ("source", "taken from")),
        "x",
        GROUP,
        EFFECT,
    )
    found = build_steps(rows, [uses[key] for key in order], words, temperature)
    return dict(zip(order, found, strict=True))


def rows_by_key(rows: Sequence[StandardRow]) -> dict[tuple[str, str], int]:
    """Row of each (standard, analyte)."""
    return {(row.standard.label, row.analyte): number for number, row in enumerate(rows)}
