"""Results by the second route: the value as calculated, with deviations whose u is u(Rw) and u(bias).

Constant and relative part are input quantities of their own, as for the precision of a method. The bias is one
deviation of all results of a case; the within-laboratory deviation is new for each."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.cases import best_rows, lower_end
from ubudget.bench.context import USABLE, Context, method_place
from ubudget.bench.derived import Source
from ubudget.bench.folding import FOLDS
from ubudget.bench.precision import case_words
from ubudget.bench.result_keys import ResultKey
from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE, STATUS
from ubudget.bench.structure import Structure
from ubudget.quantity.expression import Expression, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Place, Trait
from ubudget.records.amount import Amount
from ubudget.records.validation_data import ValidationCase

VALIDATION, VALIDATED = "validation data", "values by validation data"
PARTS = {"Rw": "within-laboratory reproducibility", "bias": "bias"}
"""Part of the second route, and its words; also the group of its contributions."""


def build_validation(context: Context) -> None:
    """Table `validation data`: u(Rw) and u(bias) of each case, constant and relative."""
    route, unit = context.records.method.validation, context.records.method.document.unit
    if route is None or VALIDATION in context.tables:
        return
    table = TableBuilder(VALIDATION, "Validation data: the second route", len(route.cases), context.shared)
    table.label("applies", "applies to", [case_words(case) for case in route.cases])
    for part, words in PARTS.items():
        for kind, shown in (("constant", unit), ("relative", "%")):
            amounts = [getattr(case, f"u_{part}") for case in route.cases]
            mine = [amount if (amount.unit == "%") == (kind == "relative") else None for amount in amounts]
            values = [context.in_unit(amount, shown, "method", "validation") for amount in mine]
            places: list[Place | None] = [
                None if amount is None else method_place("validation", "for", number, f"u_{part}", unit=shown)
                for number, amount in enumerate(mine)
            ]
            name = f"u({part}) {kind}"
            present = np.array([value is not None for value in values]).astype(np.int64)
            given = [table.given(f"{name} stated", f"{words}, {kind}", shown, nan_where_none(values), places)]
            used = [given[0] / 100 if kind == "relative" else given[0]]
            table.formula(name, f"u of the {kind} part", unit if kind == "constant" else "", 0, "", used, present)
        dofs = [getattr(case, f"dof_{part}") for case in route.cases]
        dof_places = [
            None if dof is None else method_place("validation", "for", number, f"dof_{part}")
            for number, dof in enumerate(dofs)
        ]
        table.given(f"dof({part})", f"degrees of freedom, {words}", "", [d or INFINITE_DOF for d in dofs], dof_places)
    table.label("source", "source", [case.source for case in route.cases])
    context.tables[VALIDATION] = table.build()


def chosen_cases(context: Context, structure: Structure, keys: Sequence[ResultKey]) -> list[list[int]]:
    """Rows of the validation data for each result, by rising level; none where no case applies."""
    route = context.records.method.validation
    assert route is not None
    found = []
    for key in keys:
        matrix = structure.portions[key.portions[0]].matrix if key.portions else ""
        found.append(best_rows(route.cases, key.analyte, key.line or "", matrix))
    lacking = {f"{k.analyte} {k.line or ''}".strip() for k, rows in zip(keys, found, strict=True) if not rows}
    for label in sorted(lacking) if route.reported else ():
        remedy = "add a table [[validation.for]]"
        context.find("stop", "method", "validation", f"no case for {label}", "one for each result", remedy)
    return found


def by_level(
    table: TableBuilder, column: str, chosen: Sequence[Sequence[int]], cases: Sequence[ValidationCase], level: Symbol
) -> Expression:
    """A column of the validation data in the band that holds the level; 0 where no case applies."""
    most = max((len(rows) for rows in chosen), default=1) or 1

    def pick(place: int) -> Symbol:
        rows = [row[min(place, len(row) - 1)] if row else -1 for row in chosen]
        return table.pick(f"{column}, band {place + 1}", VALIDATION, column, rows)

    result: Expression = pick(most - 1)
    for place in reversed(range(most - 1)):
        ends = [lower_end(cases[row[place + 1]]) if place + 1 < len(row) else 1e99 for row in chosen]
        end = table.given(f"end of band {place + 1}, {column}", f"upper end of band {place + 1}", "", ends)
        result = apply("if_less", level, end, pick(place), result)
    return result


def add_validated(context: Context, structure: Structure, lines: Source) -> Source:
    """Table `values by validation data` over the results of the lines; gives what is reported from it."""
    route = context.records.method.validation
    assert route is not None
    build_validation(context)
    chosen = chosen_cases(context, structure, lines.keys)
    size = len(lines.keys)
    rows = range(size)
    table = TableBuilder(VALIDATED, "Values by validation data", size, context.shared)
    table.label(SAMPLE, "sample", [key.sample for key in lines.keys])
    table.label(ANALYTE, "analyte", [key.analyte for key in lines.keys])
    table.label(LINE, "line", [key.line or "" for key in lines.keys])
    value = table.pick("value of the line", lines.table, lines.column, rows)
    taken = table.formula("taken", "value as calculated", lines.unit, value)
    # Its own budget is not propagated here: the second route stands for all of it.
    table.freeze("taken")
    total: Expression = taken
    for part, words in PARTS.items():
        dof = f"ν({part})"
        table.formula(dof, dof, "", by_level(table, f"dof({part})", chosen, route.cases, taken))
        for kind in ("constant", "relative"):
            if not any(_has(route.cases[row], part, kind) for case_rows in chosen for row in case_rows):
                continue
            name = f"d_{part}.{kind}"
            u = by_level(table, f"u({part}) {kind}", chosen, route.cases, taken)
            first = [row[0] if row else -1 for row in chosen]
            sources = [route.cases[row].source if row >= 0 else "" for row in first]
            shown = {source: Trait(name, f"{words}, {kind} part", words, "A", "t", source) for source in set(sources)}
            members: list[Hashable] | None = [("bias", kind, row) for row in first] if part == "bias" else None
            deviation = table.deviation(
                name,
                name,
                lines.unit if kind == "constant" else "",
                u,
                [shown[source] for source in sources],
                dof=dof,
                members=members,
                estimates=[("validation", part, row) for row in first],
                clause="ISO 11352:2012, Nordtest TR 537",
            )
            total = total + (deviation if kind == "constant" else deviation * taken)
    table.formula("value", "value", lines.unit, total)
    status: Expression = table.pick("status of the line", lines.table, STATUS, rows)
    table.formula(STATUS, USABLE, "", status)
    for mark in FOLDS:
        if mark.name in context.tables[lines.table].by_name:
            table.formula(mark.name, mark.heading, "", table.pick(f"{mark.name} of it", lines.table, mark.name, rows))
    context.tables[VALIDATED] = table.build()
    return Source(VALIDATED, "value", lines.unit, lines.keys, (None,) * size)


def _has(case: ValidationCase, part: str, kind: str) -> bool:
    amount: Amount = getattr(case, f"u_{part}")
    return amount.relative == (kind == "relative")
