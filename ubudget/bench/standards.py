"""Standards as quantities: prepared from stock solutions by steps of pipette and flask, or one from another.

x = c_stock * (x stated / c assumed) where a concentration is stated, c_stock * product of V_pipette/V_flask where the
preparation is. Stocks, pipettes and flasks that several standards share are one deviation in all of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.limits import Limits
from ubudget.bench.stocks import STOCKS
from ubudget.bench.volume import TemperatureRows, add_volume
from ubudget.quantity.expression import Expression, Symbol
from ubudget.quantity.graph import Place
from ubudget.records.run import DilutionStep, Standard

STANDARDS, STEPS = "standards", "preparation steps"
EFFECT = "standard repeatability"
GROUP = "standards"


@dataclass(frozen=True)
class StandardRow:
    """One standard for one analyte: its number in the run, and its chain of steps from the stock."""

    number: int
    standard: Standard
    analyte: str
    chain: tuple[tuple[int, int], ...]
    """(standard, step) of every step, from the stock on."""


def standard_rows(standards: Sequence[Standard], analytes: Sequence[str], stocked: Sequence[str]) -> list[StandardRow]:
    """Rows by analyte, then as listed; a prepared standard holds the analytes it names, or all with a stock."""
    place = {standard.label: number for number, standard in enumerate(standards)}
    rows = []
    for analyte in analytes:
        for number, standard in enumerate(standards):
            prepared = bool(standard.steps) and analyte in (standard.analytes or stocked)
            if analyte in standard.concentration:
                rows.append(StandardRow(number, standard, analyte, ()))
            elif prepared:
                rows.append(StandardRow(number, standard, analyte, _chain(standards, place, number)))
    return rows


def _chain(standards: Sequence[Standard], place: Mapping[str, int], number: int) -> tuple[tuple[int, int], ...]:
    standard = standards[number]
    own = tuple((number, step) for step in range(len(standard.steps)))
    if not standard.source:
        return own
    return (*_chain(standards, place, place[standard.source]), *own)


def build_standards(
    context: Context,
    rows: Sequence[StandardRow],
    unit: str,
    ware: Mapping[str, tuple[int, Limits]],
    ware_unit: str,
    stock_rows: Mapping[str, int],
    temperature: TemperatureRows | None,
) -> None:
    """Tables `preparation steps` (one row a step) and `standards` (one row a standard and analyte, column `x`)."""
    run = context.records.run
    assert run is not None
    step_row = _build_steps(context, run.file.standards, ware, ware_unit, temperature)
    table = TableBuilder(STANDARDS, "Standards", len(rows), context.shared)
    table.label("standard", "standard", [row.standard.label for row in rows])
    table.label("analyte", "analyte", [row.analyte for row in rows])
    given = [row.standard.concentration.get(row.analyte) for row in rows]
    values = [
        context.in_unit(amount, unit, "run", f"standard {row.number + 1} ({row.standard.label}), {row.analyte}")
        for amount, row in zip(given, rows, strict=True)
    ]
    stated = table.given(
        "stated",
        "concentration as calculated",
        unit,
        [0.0 if value is None else value for value in values],
        [
            Place("run", ("standard", row.number, "concentration", row.analyte), unit) if amount is not None else None
            for amount, row in zip(given, rows, strict=True)
        ],
    )
    stocks = [stock_rows.get(row.analyte, -1) for row in rows]
    total: Expression = stated
    if any(row >= 0 for row in stocks):
        c_stock = table.pick("c_stock", STOCKS, "value", stocks, absent=1.0)
        calculated = [-1 if amount is None else stock for stock, amount in zip(stocks, given, strict=True)]
        assumed = table.pick("c_assumed", STOCKS, "calculated with", calculated, absent=1.0)
        total = c_stock * (stated / assumed)
    chains = [[step_row[step] for step in row.chain] for row in rows]
    longest = max((len(chain) for chain in chains), default=0)
    if longest:
        factor: Expression | None = None
        for turn in range(longest):
            picked = [chain[turn] if turn < len(chain) else -1 for chain in chains]
            # The first step of a standard without steps is absent as 0: it adds nothing to what is stated.
            step = table.pick(f"step {turn + 1}", STEPS, "factor", picked, absent=0.0 if turn == 0 else 1.0)
            factor = step if factor is None else factor * step
        assert factor is not None
        total = total + Symbol("c_stock") * factor
    table.formula("x", "concentration", unit, total, "c_stock times the steps of preparation")
    context.tables[STANDARDS] = table.build()


def _build_steps(
    context: Context,
    standards: Sequence[Standard],
    ware: Mapping[str, tuple[int, Limits]],
    unit: str,
    temperature: TemperatureRows | None,
) -> dict[tuple[int, int], int]:
    """Row of each (standard, step)."""
    flat = [
        (number, turn, step) for number, standard in enumerate(standards) for turn, step in enumerate(standard.steps)
    ]
    if not flat:
        return {}
    mark = context.mark(EFFECT)
    table = TableBuilder(STEPS, "Preparation of the standards", len(flat), context.shared)
    table.label("standard", "standard", [standards[number].label for number, _, _ in flat])
    table.label("source", "taken from", [standards[number].source or "stock" for number, _, _ in flat])
    table.label("aliquot item", "pipette", [step.aliquot for _, _, step in flat])
    table.label("flask item", "flask", [step.to for _, _, step in flat])

    def volume(name: str, word: str, keys: Sequence[str]) -> Symbol:
        limits = [ware[key][1] for key in keys]
        return add_volume(
            table,
            f"x.{name}",
            unit,
            limits,
            [ware[key][0] for key in keys],
            mark,
            word=word,
            group=GROUP,
            # One temperature shared by pipette and flask leaves their ratio as it is.
            temperature=None if temperature and temperature.shared else temperature,
            # An unnumbered flask or tube is new for each standard: its deviation shows in the scatter of the levels.
            own_calibration_mark=mark,
        )

    aliquot = volume("aliquot", "delivery", [step.aliquot for _, _, step in flat])
    flask = volume("flask", "filling", [step.to for _, _, step in flat])
    table.formula("factor", "aliquot / flask", "", aliquot / flask)
    context.tables[STEPS] = table.build()
    return {(number, turn): row for row, (number, turn, _) in enumerate(flat)}


def ware_of_standards(standards: Sequence[Standard]) -> list[str]:
    """Register items that the preparation of standards uses."""

    def items(step: DilutionStep) -> tuple[str, str]:
        return step.aliquot, step.to

    return [key for standard in standards for step in standard.steps for key in items(step)]


def rows_by_key(rows: Sequence[StandardRow]) -> dict[tuple[str, str], int]:
    """Row of each (standard, analyte)."""
    return {(row.standard.label, row.analyte): number for number, row in enumerate(rows)}
