"""Level functions in the graph: stated or fitted parts, the points of a fit, and U along the range for the charts.

Table `level functions` has one row for each analyte and line with results. Sums of the fit run over the table `level
function points`, so that value and u of every result reach the function live."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ubudget.bench.assembly import REPORTING, RESULTS, Assembly
from ubudget.bench.building import Shared, TableBuilder, nan_where_none
from ubudget.bench.context import method_place
from ubudget.bench.result_table import STATUS
from ubudget.evaluation import decision_equations as equations
from ubudget.evaluation.coverage import EFFECTIVE_DOF, STANDARD
from ubudget.evaluation.level_fit import POINTS, LevelFits
from ubudget.quantity.expression import Expression, Symbol, apply
from ubudget.quantity.graph import DETAIL, INFINITE_DOF, Graph, Place, Table
from ubudget.records.amount import Amount
from ubudget.records.level_function import LevelFunction, level_function_for
from ubudget.records.unit_comparison import in_unit

FUNCTIONS, ALONG = "level functions", "uncertainty by level"
CONSTANT, RELATIVE, LOWEST, HIGHEST, DOF, K, USABLE = "s0²", "s1²", "lowest", "highest", "dof used", "k", "usable"
FROM_RELATIVE = 4
"""Step from which the relative U is drawn: nearer to zero it rises beyond any scale."""
STEPS = 20
"""Levels at which U is drawn, closer together near the lower end."""


@dataclass(frozen=True)
class Fitted:
    """One row of the table: the function of an analyte and line, and the rows of its results."""

    analyte: str
    line: str
    unit: str
    number: int
    function: LevelFunction
    results: tuple[int, ...]


def functions_of(assembly: Assembly) -> list[Fitted]:
    """The level functions that the results of a run have, in the order of the results."""
    method = assembly.records.method
    rows: dict[tuple[str, str, str, int], list[int]] = {}
    for row, key in enumerate(assembly.keys):
        derived = assembly.derived.get(row)
        # A function without analytes is for what is measured; a derived result has one that names it.
        number = level_function_for(method.level_functions, derived.definition.name if derived else key.analyte)
        if number is None or (derived and not method.level_functions[number].analytes):
            continue
        unit = derived.definition.unit if derived else method.document.unit
        rows.setdefault((key.analyte, key.line or "", unit, number), []).append(row)
    return [
        Fitted(analyte, line, unit, number, method.level_functions[number], tuple(results))
        for (analyte, line, unit, number), results in rows.items()
    ]


def rows_by_result(functions: list[Fitted]) -> dict[int, int]:
    """Row of the level function of each result that has one."""
    return {result: row for row, function in enumerate(functions) for result in function.results}


def add_level_functions(assembly: Assembly, graph: Graph, functions: list[Fitted]) -> Graph:
    """The graph with the tables of its level functions, where it has some."""
    if not functions:
        return graph
    shared = Shared()
    fitted = [function.function.origin == "fitted" for function in functions]
    if any(fitted):
        graph = graph.with_table(_points(assembly, functions, shared))
    graph = graph.with_table(_functions(assembly, functions, shared))
    return graph.with_table(_along(functions, shared))


def _points(assembly: Assembly, functions: list[Fitted], shared: Shared) -> Table:
    pairs = [(row, result) for row, function in enumerate(functions) for result in _points_of(function)]
    homes, results = [row for row, _ in pairs], [result for _, result in pairs]
    keys = [assembly.keys[result] for result in results]
    table = TableBuilder(POINTS, "Results to which level functions are fitted", len(pairs), shared)
    table.label("sample", "sample", [key.sample for key in keys])
    table.label("analyte", "analyte", [key.analyte for key in keys])
    table.label("line", "line", [key.line or "" for key in keys])
    status = table.pick("status of the result", RESULTS, STATUS, results)
    counted = table.formula("mark", "counts (1 = yes)", "", apply("if_less", status, 0.5, 1, 0))

    def where_counted(value: Expression, otherwise: float) -> Expression:
        return apply("if_less", counted, 0.5, otherwise, value)

    x = table.formula("x", "level x", "", where_counted(table.pick("value", RESULTS, assembly.value, results), 0))
    u = table.formula("u", "u", "", where_counted(table.pick("u of the result", RESULTS, STANDARD, results), 0))
    fitted = equations.u_at(
        x, table.pick(CONSTANT, FUNCTIONS, CONSTANT, homes), table.pick(RELATIVE, FUNCTIONS, RELATIVE, homes)
    )
    table.formula("fitted", "u(x)", "", fitted, "QUAM:2012.P1, E.5")
    table.formula("residual", "u - u(x)", "", u - Symbol("fitted"))
    table.formula("x²", "x²", "", x**2, rank=DETAIL)
    table.formula("u²", "u²", "", u**2, rank=DETAIL)
    table.formula("for lowest", "x, for the range", "", where_counted(x, INFINITE_DOF), rank=DETAIL)
    table.formula("for highest", "x, for the range", "", where_counted(x, -INFINITE_DOF), rank=DETAIL)
    dof = table.pick("ν of the result", RESULTS, EFFECTIVE_DOF, results)
    table.formula("ν", "ν_eff", "", where_counted(dof, INFINITE_DOF), rank=DETAIL)
    return table.build()


def _points_of(function: Fitted) -> tuple[int, ...]:
    return function.results if function.function.origin == "fitted" else ()


def _functions(assembly: Assembly, functions: list[Fitted], shared: Shared) -> Table:
    table = TableBuilder(FUNCTIONS, "Level functions u² = s0² + (s1·x)²", len(functions), shared)
    table.label("analyte", "analyte", [function.analyte for function in functions])
    table.label("line", "line", [function.line for function in functions])
    table.label("origin", "origin", [function.function.origin for function in functions])
    table.label("unit", "unit", [function.unit or "1" for function in functions])
    _stated(table, functions)
    fits = LevelFits(table, [len(_points_of(function)) for function in functions])
    fits.add_sums()
    constant = fits.formula(CONSTANT, "s0²", Symbol("constant") ** 2, fits.constant, "QUAM:2012.P1, E.5")
    relative = fits.formula(RELATIVE, "s1²", (Symbol("relative") / 100) ** 2, fits.relative, "QUAM:2012.P1, E.5")
    table.formula("s0", "constant part s0", "", apply("sqrt", constant))
    table.formula("s1", "relative part s1", "%", 100 * apply("sqrt", relative))
    for name, stated, heading, points, operation in (
        (LOWEST, "from", "holds from", "for lowest", "smallest"),
        (HIGHEST, "to", "holds to", "for highest", "largest"),
    ):
        ends = [function.function.lowest if name == LOWEST else function.function.highest for function in functions]
        own = [end is None for end in ends]
        fits.formula(name, heading, Symbol(stated), fits.extreme(points, operation, 0.0), "", own)
    fits.formula(DOF, "degrees of freedom", Symbol("dof"), fits.extreme("ν", "smallest", INFINITE_DOF))
    first = np.zeros(len(functions), dtype=np.int64)
    if assembly.records.method.coverage.rule == "t":
        p = table.pick("p of coverage", REPORTING, "p", first)
        table.formula(K, "coverage factor k", "", apply("student", p, equations.whole_dof(Symbol(DOF))), "GUM G.3.4")
    else:
        table.formula(K, "coverage factor k", "", table.pick("k of coverage", REPORTING, "k", first), "GUM 6.3")
    fits.formula(USABLE, "holds (1 = yes)", 1, fits.determined())
    table.label("source", "source", [function.function.source for function in functions])
    return table.build()


def _stated(table: TableBuilder, functions: list[Fitted]) -> None:
    """What the method says of each function; a part that it does not state is zero."""
    for name, heading, unit in (
        ("constant", "stated s0", ""),
        ("relative", "stated s1", "%"),
        ("from", "stated from", ""),
        ("to", "stated to", ""),
        ("dof", "stated degrees of freedom", ""),
    ):
        fields = [_field(function, name) for function in functions]
        table.given(name, heading, unit, nan_where_none([value for value, _ in fields]), [place for _, place in fields])


def _field(function: Fitted, key: str) -> tuple[float | None, Place | None]:
    said = function.function
    path: tuple[str | int, ...] = ("level_function", function.number, key)
    declared = said.origin == "declared"
    if key == "dof":
        otherwise = INFINITE_DOF if declared else None
        return (otherwise, None) if said.dof is None else (said.dof, method_place(*path))
    stated = {"constant": said.constant, "relative": said.relative, "from": said.lowest, "to": said.highest}
    amount: Amount | None = stated[key]
    if amount is None:
        return (0.0 if declared else None), None
    unit = "%" if key == "relative" else function.unit
    return in_unit(amount.value, amount.unit, unit), method_place(*path, unit=unit)


def _along(functions: list[Fitted], shared: Shared) -> Table:
    """U and relative U at levels from one end of each range to the other."""
    homes = np.repeat(np.arange(len(functions)), STEPS)
    parts = np.tile((np.arange(1, STEPS + 1) / STEPS) ** 2, len(functions))
    table = TableBuilder(ALONG, "Expanded uncertainty along the range of each level function", len(homes), shared)
    table.label("analyte", "analyte", [functions[home].analyte for home in homes])
    table.label("line", "line", [functions[home].line for home in homes])
    table.label("unit", "unit", [functions[home].unit or "1" for home in homes])
    part = table.given("part", "part of the range", "", parts)
    lowest = table.pick(LOWEST, FUNCTIONS, LOWEST, homes)
    x = table.formula("x", "level x", "", lowest + part * (table.pick(HIGHEST, FUNCTIONS, HIGHEST, homes) - lowest))
    variances = [table.pick(name, FUNCTIONS, name, homes) for name in (CONSTANT, RELATIVE)]
    u = table.formula("u", "u(x)", "", equations.u_at(x, *variances), "QUAM:2012.P1, E.5")
    expanded = table.formula("U", "U(x) = k·u(x)", "", table.pick(K, FUNCTIONS, K, homes) * u, "GUM 6.2.1")
    table.formula("relative U", "relative U(x)", "%", 100 * apply("ratio_or_zero", expanded, apply("abs", x)))
    return table.build()
