"""Both routes to the uncertainty of a result, held against each other: by its budget, and by validation data.

What the long-term scatter u(Rw) has beyond the contributions of type A shows that the budget lacks one (F test,
one-sided at 5 %; ISO 11352:2012, Nordtest TR 537, section 3)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.assembly import Assembly
from ubudget.bench.building import Shared, TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE, STATUS
from ubudget.bench.results import LINE_RESULTS
from ubudget.bench.validation_values import VALIDATED, by_level, chosen_cases
from ubudget.evaluation.coverage import SAFE_TRUNCATION
from ubudget.evaluation.paths import Draft
from ubudget.evaluation.propagation import Beforehand, CovarianceSlot, Propagated, Slot
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Formula, Graph, Label, Pick, Reference, Table
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding
from ubudget.records.method import Method, Precision
from ubudget.records.unit_comparison import in_unit
from ubudget.records.validation_data import ValidationCase

BOTH, RESULTS = "both routes", "results"
BY_BUDGET, OF_TYPE_A, DOF_OF_TYPE_A = "u by the budget", "u of type A", "ν of type A"
"""Columns of the results of the lines."""
BY_VALIDATION, RATIO, P_OF_F, EXCEEDS = "u by validation data", "u over u", "probability of F", "exceeds"
SIGNIFICANT = 0.05
MOST_DOF = 1e4
NAMED = 5
"""Results that a finding names before the others are only counted."""


def beforehand_of_lines(assembly: Assembly, column: str) -> tuple[Beforehand, ...]:
    """The budget of the lines, where results are reported by the other route and their own slots are those of it."""
    if VALIDATED not in assembly.graph.tables:
        return ()
    return (Beforehand(LINE_RESULTS, column, _add_to_draft),)


def _add_to_draft(draft: Draft, table: str, slots: list[Slot], covariances: list[CovarianceSlot]) -> None:
    columns, references = _budget_columns(draft.graph, table, slots, covariances)
    for column in columns:
        draft.add_column(table, column)
    for name, reference in references.items():
        draft.add_reference(table, name, reference)


def _budget_columns(
    graph: Graph, table: str, slots: Sequence[Slot], covariances: Sequence[CovarianceSlot]
) -> tuple[list[Formula], dict[str, Reference]]:
    """u by the budget; u of its contributions of type A, and their effective degrees of freedom (GUM G.4.1), each
    contribution for itself."""
    unit = ""
    variance: Expression = apply("sum_squares", *(Symbol(slot.contribution) for slot in slots)) if slots else Number(0)
    if covariances:
        terms = [Symbol(covariance.contribution) for covariance in covariances]
        variance = apply("larger", variance + apply("add_all", *terms), 0)
    columns = [Formula(BY_BUDGET, BY_BUDGET, unit, apply("sqrt", variance), "GUM 5.1.2 eq. 10")]
    references: dict[str, Reference] = {}
    parts: list[Expression] = []
    dof_terms: list[Expression] = []
    for slot in slots:
        leaf = graph.tables[slot.table].leaf_of[slot.column]
        statistical = np.array([row >= 0 and leaf.traits[row].evaluation == "A" for row in slot.rows])
        if not statistical.any():
            continue
        own = np.arange(len(slot.rows))
        part = f"{slot.contribution} of type A"
        references[part] = Pick(table, slot.contribution, np.where(statistical, own, -1), 0.0)
        parts.append(Symbol(part))
        if leaf.dof is not None:
            dof = f"ν of {slot.contribution}"
            references[dof] = Pick(slot.table, leaf.dof, np.where(statistical, slot.rows, -1), INFINITE_DOF)
            dof_terms.append(Symbol(part) ** 4 / Symbol(dof))
    scatter: Expression = apply("sqrt", apply("sum_squares", *parts)) if parts else Number(0)
    columns.append(Formula(OF_TYPE_A, "u of contributions of type A", unit, scatter, "GUM 5.1.2 eq. 10"))
    total = apply("add_all", *dof_terms) if dof_terms else Number(0)
    share = apply("ratio_or_zero", total, Symbol(OF_TYPE_A) ** 4)
    nu = 1 / apply("larger", share, 1 / INFINITE_DOF)
    columns.append(Formula(DOF_OF_TYPE_A, "their degrees of freedom", "", nu, "GUM G.4.1 eq. G.2b"))
    return columns, references


def add_both_routes(assembly: Assembly, graph: Graph, propagated: Propagated) -> Graph:
    """The table `both routes`, one row for each result of a line, where the method has validation data."""
    route, structure = assembly.records.method.validation, assembly.structure
    if route is None or structure is None:
        return graph
    joined = LINE_RESULTS in graph.tables
    home = graph.tables[LINE_RESULTS if joined else RESULTS]
    if BY_BUDGET not in home.by_name:
        if joined:
            return graph
        columns, references = _budget_columns(graph, home.name, propagated.slots, propagated.covariances)
        home = home.with_columns(columns, references)
        graph = graph.with_table(home)
    return graph.with_table(_table(assembly, graph, home))


def _table(assembly: Assembly, graph: Graph, home: Table) -> Table:
    route, structure = assembly.records.method.validation, assembly.structure
    assert route is not None and structure is not None
    keys = assembly.keys
    chosen = chosen_cases(Context(assembly.records), structure, keys)
    kept = [row for row in range(home.size) if chosen[row]]
    table = TableBuilder(BOTH, "Both routes", len(kept), Shared())
    for name, words in ((SAMPLE, "sample"), (ANALYTE, "analyte"), (LINE, "line")):
        column = home.by_name[name]
        assert isinstance(column, Label)
        table.label(name, words, [column.values[row] for row in kept])
    unit = assembly.records.method.document.unit
    value = assembly.equations.result.name
    level = table.formula("level", "result", unit, table.pick("value of the result", home.name, value, kept))
    own = [chosen[row] for row in kept]
    spread = {
        part: apply(
            "sqrt",
            apply(
                "sum_squares",
                by_level(table, f"u({part}) constant", own, route.cases, level),
                by_level(table, f"u({part}) relative", own, route.cases, level) * level,
            ),
        )
        for part in ("Rw", "bias")
    }
    u_Rw = table.formula("u(Rw)", "u(Rw)", unit, spread["Rw"], "ISO 11352:2012")
    u_bias = table.formula("u(bias)", "u(bias)", unit, spread["bias"], "ISO 11352:2012")
    other = table.formula(
        BY_VALIDATION, "u by validation data", unit, apply("sqrt", apply("sum_squares", u_Rw, u_bias))
    )
    budget = table.formula(BY_BUDGET, BY_BUDGET, unit, table.pick("u of the budget", home.name, BY_BUDGET, kept))
    table.formula(RATIO, "u by validation data over u by the budget", "", apply("ratio_or_zero", other, budget))
    scatter = table.formula(OF_TYPE_A, "of type A", unit, table.pick("u of its type A", home.name, OF_TYPE_A, kept))
    ratio = table.formula("F", "F = (u(Rw)/u of type A)²", "", apply("ratio_or_zero", u_Rw, scatter) ** 2)
    nu = table.formula("ν(Rw)", "ν of u(Rw)", "", by_level(table, "dof(Rw)", own, route.cases, level))
    nu_budget = table.pick("ν of its type A", home.name, DOF_OF_TYPE_A, kept)
    p = apply("f_upper", ratio, _whole(nu), _whole(nu_budget))
    table.formula(P_OF_F, "probability of such an F", "", apply("if_less", 0, scatter, p, 1))
    over = apply("if_less", Symbol(P_OF_F), SIGNIFICANT, 1, 0)
    status = table.pick("status of the result", home.name, STATUS, kept)
    table.formula(EXCEEDS, "long-term scatter beyond the budget (1 = yes)", "", apply("if_less", status, 0.5, over, 0))
    return table.build()


def _whole(dof: Expression) -> Expression:
    """Degrees of freedom as FDIST takes them: whole, and few enough that no program loses digits."""
    return apply("larger", apply("whole", apply("smaller", dof, MOST_DOF) + SAFE_TRUNCATION), 1)


def route_findings(assembly: Assembly, graph: Graph, numbers: Numbers) -> list[Finding]:
    """Results whose long-term scatter is beyond what their budget counts, and results outside all bands, each once."""
    if BOTH not in graph.tables:
        return []
    return [*_beyond_budget(assembly, graph, numbers), *_outside_bands(assembly, graph, numbers)]


def _beyond_budget(assembly: Assembly, graph: Graph, numbers: Numbers) -> list[Finding]:
    home = graph.tables[BOTH]
    beyond = np.flatnonzero(numbers.column(BOTH, EXCEEDS) > 0)
    if not beyond.size:
        return []
    ratio = numbers.column(BOTH, "F")
    names = [f"{_named(home, row)} (F = {ratio[row]:.2g})" for row in beyond.tolist()]
    return [
        Finding(
            "attend",
            assembly.records.file("method"),
            "validation",
            f"u(Rw) beyond the contributions of type A in the budget: {_first(names)}",
            "a probability of F of 5 % or more",
            f"look for an effect that the budget lacks: {', '.join(effects_to_doubt(assembly.records.method))}",
        )
    ]


def _outside_bands(assembly: Assembly, graph: Graph, numbers: Numbers) -> list[Finding]:
    """Results at levels that no band of their case holds: the nearest band is taken, and a person must look."""
    route, structure = assembly.records.method.validation, assembly.structure
    if route is None or structure is None:
        return []
    unit, home = assembly.records.method.document.unit, graph.tables[BOTH]
    chosen = [rows for rows in chosen_cases(Context(assembly.records), structure, assembly.keys) if rows]
    bands = [_band(case, unit) for case in route.cases]
    outside = [
        f"{_named(home, row)} ({level:.3g} {unit})"
        for row, (level, rows) in enumerate(zip(numbers.column(BOTH, "level").tolist(), chosen, strict=True))
        if not any(bands[number][0] <= level < bands[number][1] for number in rows)
    ]
    if not outside:
        return []
    found = f"results outside the level bands: {_first(outside)}"
    remedy = "add a band for these levels, or widen level_from and level_to where the studies allow it"
    file = assembly.records.file("method")
    return [Finding("attend", file, "validation", found, "results within a band of their case", remedy)]


def _named(home: Table, row: int) -> str:
    return " ".join(filter(None, (home.texts(name)[row] for name in (SAMPLE, ANALYTE, LINE))))


def _first(words: Sequence[str]) -> str:
    more = f" and {len(words) - NAMED} more" if len(words) > NAMED else ""
    return f"{', '.join(words[:NAMED])}{more}"


def _band(case: ValidationCase, unit: str) -> tuple[float, float]:
    """From and below which level a case holds; the records were checked: both ends convert."""
    low, high = case.level_from, case.level_to
    start = -np.inf if low is None else in_unit(low.value, low.unit, unit)
    end = np.inf if high is None else in_unit(high.value, high.unit, unit)
    assert start is not None and end is not None
    return start, end


def effects_to_doubt(method: Method) -> list[str]:
    """What could explain the gap: what the method holds negligible, and the parts of precision that it does not state;
    where there is none of these, effects that runs commonly differ by (common practice, no source)."""
    parts = {symbol.part for symbol in method.symbols.values() if isinstance(symbol, Precision)}
    marks = method.effects.items()
    doubted = [f"{effect} (held negligible)" for effect, mark in marks if mark.startswith("negligible")]
    doubted += [f"precision {part} (no symbol)" for part in ("within run", "between runs") if part not in parts]
    return doubted or ["digestion, day, analyst"]
