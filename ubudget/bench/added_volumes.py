"""Additions as quantities: concentration added, and the factor on the reading where the volume changes.

x = c_standard * V/V_flask where every solution of a series is made to one volume; x = c_standard * V/V0 where the
standard is added to a volume V0 of the sample solution, whose readings are then multiplied by (V0 + V)/V0.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ubudget.bench.building import TableBuilder
from ubudget.bench.standards import EFFECT, STANDARDS, build_standards, rows_by_key, standard_rows
from ubudget.bench.stocks import STOCKS, build_stocks
from ubudget.bench.structure import Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.bench.volume import add_volume
from ubudget.bench.ware import WARE
from ubudget.quantity.expression import Expression, Symbol
from ubudget.quantity.graph import Place
from ubudget.records.additions import Addition, StandardAdditions
from ubudget.records.preparation_chains import solutions_of

ADDITIONS, ADDED_VOLUMES = "additions", "added volumes"
GROUP = "additions"
Numbered = Sequence[tuple[int, Addition]]
"""Additions with their numbers in the run."""


def ware_of_additions(additions: Sequence[Addition]) -> list[str]:
    """Register items that deliver or receive additions."""
    named = [(addition.pipette, addition.flask, addition.aliquot) for addition in additions]
    return [key for keys in named for key in keys if key]


def changes_volume(operation: StandardAdditions) -> bool:
    return operation.form == "volume change"


def build_additions_table(
    rows: SymbolRows, structure: Structure, symbol: str, operation: StandardAdditions
) -> tuple[dict[tuple[str, str], int], dict[str, int]]:
    """Tables `added volumes` and `additions` (column `x`), with the tables of stocks and standards that they need.

    Gives the row of each (solution, analyte) in the latter, and of each solution in the former."""
    context = rows.context
    run = context.records.run
    assert run is not None
    additions = run.file.additions
    analytes = list(dict.fromkeys(analyte for analyte, _ in structure.lines))
    read = {(reading.solution, reading.analyte) for reading in run.readings}
    keys = [(n, a, analyte) for n, a in enumerate(additions) for analyte in analytes if (a.solution, analyte) in read]
    solutions = solutions_of(context.records)
    kept = [a.standard for a in additions if getattr(solutions.prepared.get(a.standard), "document", "") == "register"]
    labels = {*(standard.label for standard in run.file.standards), *kept}
    named = [(a.standard, analyte) for _, a, analyte in keys if a.standard and a.standard not in labels]
    standards = []
    if any(addition.standard in labels for addition in additions):
        standards = standard_rows(solutions, run.file.standards, analytes, list(dict.fromkeys(kept)))
        named += [(row.chain.stock, row.analyte) for row in standards if row.chain]
    stocks = build_stocks(context, analytes, operation.unit, named)
    stock_of_analyte = {analyte: stocks.calculating(analyte) for analyte in run.file.stocks}
    prepared: dict[tuple[str, str], int] = {}
    if standards:
        # An addition's standard is common to all solutions it was added to: no point of the line has it alone.
        build_standards(rows, standards, operation.unit, stocks, (), None)
        prepared = rows_by_key(standards)
    volume_row = _build_volumes(rows, symbol, operation, [(n, a) for n, a in enumerate(additions) if a.standard])

    table = TableBuilder(ADDITIONS, "Additions", len(keys), context.shared)
    table.label("solution", "solution", [a.solution for _, a, _ in keys])
    table.label("sample solution", "added to", [a.added_to for _, a, _ in keys])
    table.label("analyte", "analyte", [analyte for _, _, analyte in keys])
    table.label("standard", "standard added", [a.standard for _, a, _ in keys])
    terms = (
        [_stated(rows, table, keys, operation.unit, stock_of_analyte)]
        if any(a.concentration for a in additions)
        else []
    )
    if volume_row:
        ratio = table.pick("V/V_total", ADDED_VOLUMES, "ratio", [volume_row.get(a.solution, -1) for _, a, _ in keys])
        of_stock = [-1 if a.standard in labels else stocks.row(a.standard, analyte) for _, a, analyte in keys]
        of_standard = [prepared.get((a.standard, analyte), -1) for _, a, analyte in keys]
        if max(of_stock) >= 0:
            terms.append(table.pick("c_added", STOCKS, "value", of_stock) * ratio)
        if max(of_standard) >= 0:
            terms.append(table.pick("c_prepared", STANDARDS, "x", of_standard) * ratio)
    total = terms[0]
    for term in terms[1:]:
        total = total + term
    heading = "added for each V0" if changes_volume(operation) else "concentration added"
    table.formula("x", heading, operation.unit, total, "c of the standard times V/V_total")
    context.tables[ADDITIONS] = table.build()
    return {(a.solution, analyte): row for row, (_, a, analyte) in enumerate(keys)}, volume_row


def _stated(
    rows: SymbolRows,
    table: TableBuilder,
    keys: Sequence[tuple[int, Addition, str]],
    unit: str,
    stock_of_analyte: Mapping[str, int],
) -> Expression:
    """Concentrations as calculated, on the scale of the stock solution where the run names one."""
    amounts = [addition.concentration.get(analyte) for _, addition, analyte in keys]
    values = [
        rows.context.in_unit(amount, unit, "run", f"addition {number + 1} ({addition.solution}), {analyte}") or 0.0
        for amount, (number, addition, analyte) in zip(amounts, keys, strict=True)
    ]
    places = [
        None if amount is None else Place("run", ("addition", number, "concentration", analyte), unit)
        for amount, (number, _, analyte) in zip(amounts, keys, strict=True)
    ]
    stated = table.given("stated", "added as calculated", unit, values, places)
    scale = [
        -1 if amount is None else stock_of_analyte.get(analyte, -1)
        for amount, (_, _, analyte) in zip(amounts, keys, strict=True)
    ]
    if max(scale) < 0:
        return stated
    c_stock = table.pick("c_stock", STOCKS, "value", scale, absent=1.0)
    assumed = table.pick("c_assumed", STOCKS, "calculated with", scale, absent=1.0)
    return c_stock * (stated / assumed)


def _build_volumes(rows: SymbolRows, symbol: str, operation: StandardAdditions, additions: Numbered) -> dict[str, int]:
    """Table `added volumes`, one row an addition by volume; gives the row of each solution."""
    if not additions:
        return {}
    context, unit = rows.context, rows.ware_unit
    mark = context.mark(EFFECT)
    change = changes_volume(operation)
    table = TableBuilder(ADDED_VOLUMES, "Volumes of the additions", len(additions), context.shared)
    table.label("solution", "solution", [a.solution for _, a in additions])
    table.label("pipette", "pipette", [a.pipette for _, a in additions])
    totals = [a.aliquot if change else a.flask for _, a in additions]
    table.label("total item", "sample solution by" if change else "flask", totals)

    def volume(name: str, word: str, keys: Sequence[str], reading: Symbol | None) -> Symbol:
        return add_volume(
            context,
            table,
            f"{symbol}.{name}",
            unit,
            [rows.ware[key][1] for key in keys],
            [rows.ware[key][0] for key in keys],
            mark,
            word=word,
            group=GROUP,
            reading=reading,
            # Ware that is new for each addition scatters the points about their line, as filling does.
            own_calibration_mark=mark,
        )

    pipettes = [a.pipette for _, a in additions]
    added = volume("added", "delivery", pipettes, _delivered(rows, table, additions))
    total = volume("V0" if change else "flask", "delivery" if change else "filling", totals, None)
    table.formula("ratio", "V/V0" if change else "V/V_flask", "", added / total)
    if change:
        table.formula("correction", "(V0 + V)/V0", "", 1 + Symbol("ratio"), "volume correction of the reading")
    context.tables[ADDED_VOLUMES] = table.build()
    return {a.solution: row for row, (_, a) in enumerate(additions)}


def _delivered(rows: SymbolRows, table: TableBuilder, additions: Numbered) -> Symbol | None:
    """Volume delivered by adjustable pipettes; None where every pipette delivers its nominal volume."""
    if all(a.delivered is None for _, a in additions):
        return None
    unit = rows.ware_unit
    set_to = table.given(
        "delivered",
        "volume set",
        unit,
        [
            rows.context.in_unit(a.delivered, unit, "run", f"addition {number + 1} ({a.solution}), delivered") or 0.0
            for number, a in additions
        ],
        [Place("run", ("addition", number, "delivered"), unit) if a.delivered else None for number, a in additions],
    )
    fixed = [-1 if a.delivered else rows.ware[a.pipette][0] for _, a in additions]
    nominal = table.pick("volume of a fixed pipette", WARE, "volume", fixed)
    return table.formula("volume", "volume V", unit, set_to + nominal)
