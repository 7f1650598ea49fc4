"""Concentrations that the device gave: their scatter, and what its curve adds, as one deviation for each line.

The curve itself is not there. Its part comes from a declared u, from check solutions, or from standards that the device
read back. A deviation of the curve is the same for all solutions of a line: it does not fall with the number of
readings, and a blank shares it with the samples.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace

import numpy as np

from ubudget.bench.blank import build_blanks
from ubudget.bench.building import TableBuilder
from ubudget.bench.cases import best_rows
from ubudget.bench.context import COUNTED, USABLE, Context
from ubudget.bench.corrections import Corrections
from ubudget.bench.device_checks import add_from_checks
from ubudget.bench.device_standards import add_from_standards
from ubudget.bench.inverse import EFFECT, NO_READING, POOLED, SIGNALS, build_pooled, from_readings, from_summaries
from ubudget.bench.kinds import Kind
from ubudget.bench.precision import case_words
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.stated import Entry, cited_items, is_relative, shape_parameter
from ubudget.bench.structure import Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.expression import Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import Trait
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.method import Blank

DEVICE_CURVES = "device curves"
GROUP, STANDARDS_GROUP = "curve", "standards"
_AS_READ = Kind("as the device reads", 0, lambda fit: None, lambda curve, y: y + curve("offset"), lambda curve, y: None)
"""Takes the place of a curve for the blanks: the reading is the concentration already."""


@dataclass(frozen=True)
class _Evidence:
    """Where the u of each line's curve stands, and on what it rests; the traits are named when the column is."""

    traits: list[Trait]
    relative: Operand | None
    absolute: Operand | None
    dof: str | None
    estimates: list[Hashable]


def enter_device(rows: SymbolRows) -> None:
    """Enters what the method declares of curves, and of the values of exported standards, as stated inputs."""
    for symbol, operation in rows.each(DeviceConcentration)[:1]:
        if operation.curve_from == "declared":
            for number, part in enumerate(operation.curve):
                path = ("symbols", symbol, "curve", number)
                words = "curve of the device, as declared"
                entry = Entry(f"{symbol}.curve", case_words(part), words, GROUP, operation.unit, part, None, path)
                rows.device_rows[f"curve {number}"] = len(rows.entries)
                rows.entries.append(entry)
        if operation.curve_from == "exported standards" and operation.standards is not None:
            of_standards = ("symbols", symbol, "standards")
            words, stated = "values of the exported standards, relative", operation.standards
            entry = Entry(f"{symbol}.standards", "all", words, STANDARDS_GROUP, "", stated, None, of_standards)
            rows.device_rows["standards"] = len(rows.entries)
            rows.entries.append(entry)


def build_device(rows: SymbolRows, structure: Structure) -> None:
    """Tables `device curves`, `measured lines`, and those of the evidence; blanks as well."""
    for symbol, operation in rows.each(DeviceConcentration)[:1]:
        _build_curves(rows, structure, symbol, operation)
        _build_signals(rows.context, structure, symbol, operation)
        for name, blank in rows.each(Blank)[:1]:
            unit = operation.unit
            build_blanks(rows.context, structure, name, blank, _AS_READ, unit, Corrections(), curves=DEVICE_CURVES)


def _build_curves(rows: SymbolRows, structure: Structure, symbol: str, operation: DeviceConcentration) -> None:
    context, lines = rows.context, structure.lines
    table = TableBuilder(DEVICE_CURVES, "What the device's curve adds", len(lines), context.shared)
    table.label("analyte", "analyte", [analyte for analyte, _ in lines])
    table.label("line", "line", [line for _, line in lines])
    estimated: list[Hashable] = [("device curve", *line) for line in lines]
    scale: Expression = Number(1)
    if operation.curve_from == "check solutions":
        relative = add_from_checks(context, table, structure, operation.unit)
        words, source = "curve of the device, from check solutions", "recoveries of check solutions: scatter and bias"
        items = [_items_of_checks(context, analyte) for analyte, _ in lines]
        traits = [Trait("", words, GROUP, "A", "t", source, items=of_line) for of_line in items]
        evidence = _Evidence(traits, relative, None, "dof", estimated)
    elif operation.curve_from == "exported standards":
        absolute = add_from_standards(context, table, structure, operation)
        words, source = "curve of the device, from standards read back", "residuals of the exported standards"
        traits = [Trait("", words, GROUP, "A", "t", source) for _ in lines]
        evidence = _Evidence(traits, None, absolute, "dof", estimated)
        scale = scale + _values_of_standards(rows, table, structure, symbol)
    else:
        evidence = _declared(rows, table, structure, symbol, operation)
    offset: Expression = Number(0)
    for part, u, unit in (("relative", evidence.relative, ""), ("absolute", evidence.absolute, operation.unit)):
        if u is None:
            continue
        name = f"{symbol}.curve, {part}"
        traits = [replace(trait, symbol=name) for trait in evidence.traits]
        deviation = table.deviation(
            name, name, unit, u, traits, dof=evidence.dof, estimates=evidence.estimates if evidence.dof else None
        )
        scale, offset = (scale + deviation, offset) if part == "relative" else (scale, offset + deviation)
    table.formula("scale", "factor of the curve", "", scale)
    table.formula("offset", "deviation of the curve", operation.unit, offset)
    context.tables[DEVICE_CURVES] = table.build()


def _items_of_checks(context: Context, analyte: str) -> tuple[str, ...]:
    run = context.records.run
    checks = run.file.checks if run is not None else ()
    return tuple(dict.fromkeys(check.item for check in checks if check.item and analyte in check.concentration))


def _declared(
    rows: SymbolRows, table: TableBuilder, structure: Structure, symbol: str, operation: DeviceConcentration
) -> _Evidence:
    chosen = []
    for analyte, line in structure.lines:
        found = best_rows(operation.curve, analyte, line, "")
        chosen.append(rows.device_rows[f"curve {found[0]}"] if found else -1)
    entries = [rows.entries[row] for row in chosen]
    u = table.pick("u declared", INPUTS, "u", chosen)
    relative = np.array([is_relative(entry) for entry in entries])
    finite = any(entry.stated.dof or entry.stated.reliability for entry in entries)
    if finite:
        table.formula("dof", "degrees of freedom", "", table.pick("dof declared", INPUTS, "dof", chosen))
    table.label("source", "source", [entry.stated.source for entry in entries])
    parts: dict[str, Operand | None] = {"relative": None, "absolute": None}
    for name, here, value, unit in (
        ("relative", relative, u / 100, ""),
        ("absolute", ~relative, u, operation.unit),
    ):
        if here.any():
            column = f"u {name}"
            table.formula(column, f"u of the curve, {name}", unit, 0, "", [value], here.astype(np.int64))
            parts[name] = Symbol(column)
    traits = [_trait(entry, "curve of the device, as declared", GROUP) for entry in entries]
    estimates: list[Hashable] = [("stated", row) for row in chosen]
    return _Evidence(traits, parts["relative"], parts["absolute"], "dof" if finite else None, estimates)


def _trait(entry: Entry, quantity: str, group: str) -> Trait:
    stated = entry.stated
    distribution = stated.limits or ("t" if stated.dof or stated.reliability else "normal")
    evaluation, shape = stated.evaluation or "B", shape_parameter(stated)
    return Trait("", quantity, group, evaluation, distribution, stated.source, shape, cited_items(stated))


def _values_of_standards(rows: SymbolRows, table: TableBuilder, structure: Structure, symbol: str) -> Symbol:
    """The relative deviation that the values of the standards share, one for each analyte."""
    row = rows.device_rows["standards"]
    entry = rows.entries[row]
    u = table.pick("u of the standards", INPUTS, "u", [row] * table.size)
    name = f"{symbol}.standards"
    finite = entry.stated.dof or entry.stated.reliability
    dof = None
    if finite:
        dof = f"ν of {name}"
        table.formula(dof, dof, "", table.pick("dof of the standards", INPUTS, "dof", [row] * table.size))
    trait = replace(_trait(entry, "values of the standards", STANDARDS_GROUP), symbol=name)
    return table.deviation(
        name,
        name,
        "",
        u / 100 if is_relative(entry) else u,
        [trait] * table.size,
        dof=dof,
        members=[("device standards", symbol, analyte) for analyte, _ in structure.lines],
        estimates=[("stated", row)] * table.size if finite else None,
    )


def _build_signals(context: Context, structure: Structure, symbol: str, operation: DeviceConcentration) -> None:
    items, unit = structure.measured, operation.unit
    line_rows = [structure.lines.index(item.line) for item in items]
    counted = context.mark(EFFECT) == COUNTED
    table = TableBuilder(SIGNALS, "Measured lines", len(items), context.shared)
    table.label("solution", "solution", [item.solution for item in items])
    table.label("analyte", "analyte", [item.line[0] for item in items])
    table.label("line", "line", [item.line[1] for item in items])
    if all(item.reading.mean is None for item in items):
        n, s = from_readings(context, structure, table, unit, Corrections())
    else:
        n, s = from_summaries(table, structure, unit)
    estimates: list[Hashable] | None = None
    if operation.scatter == "own":
        table.formula("dof", "degrees of freedom", "", apply("larger", n - 1, 1), "GUM 4.2.6")
    else:
        build_pooled(context, structure, table, operation.pooled_over, line_rows, unit)
        s = table.pick("pooled s", POOLED, "s", line_rows)
        table.formula("dof", "degrees of freedom", "", table.pick("pooled dof", POOLED, "dof", line_rows))
        estimates = [("pooled", POOLED, " ".join(structure.lines[row]).strip()) for row in line_rows]
    u = apply("ratio_or_zero", s, apply("sqrt", n))
    table.formula("reading", "concentration, mean", unit, Symbol("mean"))
    table.formula("u(reading)", "u of the mean", unit, u if counted else Number(0), "GUM 4.2.3")
    mark = f"{operation.scatter} scatter of the readings" if counted else context.mark(EFFECT)
    table.leaf(
        "reading",
        "u(reading)",
        [Trait(f"{symbol}.reading", "readings of the solution", "reading", "A", "t", mark) for _ in items],
        dof="dof" if counted else None,
        estimates=estimates if counted else None,
    )
    scale = table.pick("scale of the curve", DEVICE_CURVES, "scale", line_rows)
    offset = table.pick("offset of the curve", DEVICE_CURVES, "offset", line_rows)
    table.formula("c", symbol, unit, scale * (Symbol("reading") + offset), "as the device gave it")
    table.formula("range", "outside the calibrated range (-1 below, 1 above)", "", 0)
    table.formula("status", USABLE, "", apply("if_less", n, 0.5, NO_READING, 0))
    context.tables[SIGNALS] = table.build()
