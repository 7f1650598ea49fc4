"""The part of a device's curve from check solutions of known value that were measured among the samples.

With recoveries r of a line: u² = s² + (mean r - 1)² + u², relative: their scatter, their bias, which is not corrected
and counts in full, and the u of the known values (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.structure import Structure
from ubudget.quantity.expression import Symbol, apply
from ubudget.quantity.graph import Place
from ubudget.records.device_concentration import CheckSolution, check_of

CHECK_SOLUTIONS, CHECK_VALUES, RECOVERIES = "check solutions", "check values", "check recoveries"


def add_from_checks(context: Context, curves: TableBuilder, structure: Structure, unit: str) -> Symbol:
    """Tables of the check solutions, their known values and recoveries, and the sums in the table of curves; gives the
    relative u of the curve."""
    run = context.records.run
    assert run is not None
    checks = run.file.checks
    _build_solutions(context, checks)
    analytes = {analyte for analyte, _ in structure.lines}
    values = [(number, analyte) for number, check in enumerate(checks) for analyte in check.concentration]
    values = [(number, analyte) for number, analyte in values if analyte in analytes]
    _build_values(context, checks, values, unit)
    place = {key: row for row, key in enumerate(values)}
    rows = [
        (row, place[number, item.line[0]], item)
        for row, item in enumerate(structure.measured)
        if (number := check_of(item.solution, checks)) is not None and (number, item.line[0]) in place
    ]
    owner = np.array([structure.lines.index(item.line) for _, _, item in rows], dtype=np.int64)
    table = TableBuilder(RECOVERIES, "Recoveries of the check solutions", len(rows), context.shared)
    table.label("solution", "solution", [item.solution for _, _, item in rows])
    table.label("analyte", "analyte", [item.line[0] for _, _, item in rows])
    table.label("line", "line", [item.line[1] for _, _, item in rows])
    measured, valued = [row for row, _, _ in rows], [at for _, at, _ in rows]
    n = table.pick("readings", SIGNALS, "n", measured)
    used = table.formula("used", "used (1 = yes)", "", apply("if_less", n, 0.5, 0, 1))
    known = table.pick("known value", CHECK_VALUES, "known", valued)
    recovery = apply("ratio_or_zero", table.pick("mean reading", SIGNALS, "mean", measured), known)
    table.formula("recovery", "recovery", "", used * recovery)
    u_known = table.pick("u of the known value", CHECK_SOLUTIONS, "u", [values[at][0] for at in valued])
    table.formula("u² known", "u² of the known value, relative", "", used * (u_known / 100) ** 2)
    mean = table.pick("mean recovery", curves.name, "recovery", owner)
    table.formula("deviation", "deviation from the mean", "", used * (Symbol("recovery") - mean))
    context.tables[RECOVERIES] = table.build()
    return _sums(curves, owner, len(structure.lines))


def _build_solutions(context: Context, checks: Sequence[CheckSolution]) -> None:
    table = TableBuilder(CHECK_SOLUTIONS, "Check solutions", len(checks), context.shared)
    table.label("solution", "solution", [check.label for check in checks])
    u = [context.in_unit(check.u, "%", "run", f"check_solution {row}, u") for row, check in enumerate(checks, start=1)]
    places = [Place("run", ("check_solution", row, "u"), "%") for row in range(len(checks))]
    table.given("u", "u of the known values", "%", nan_where_none(u), places)
    table.label("source", "source", [check.source for check in checks])
    context.tables[CHECK_SOLUTIONS] = table.build()


def _build_values(
    context: Context, checks: Sequence[CheckSolution], values: Sequence[tuple[int, str]], unit: str
) -> None:
    table = TableBuilder(CHECK_VALUES, "Known values of the check solutions", len(values), context.shared)
    table.label("solution", "solution", [checks[number].label for number, _ in values])
    table.label("analyte", "analyte", [analyte for _, analyte in values])
    known = [
        context.in_unit(checks[number].concentration[analyte], unit, "run", f"check_solution {number + 1}, {analyte}")
        for number, analyte in values
    ]
    places = [Place("run", ("check_solution", number, "concentration", analyte), unit) for number, analyte in values]
    table.given("known", "known value", unit, nan_where_none(known), places)
    context.tables[CHECK_VALUES] = table.build()


def _sums(curves: TableBuilder, owner: np.ndarray, size: int) -> Symbol:
    counts = np.bincount(owner, minlength=size)
    stop = np.cumsum(counts)

    def total(column: str) -> Symbol:
        return curves.span(f"all {column}", RECOVERIES, column, stop - counts, stop)

    n = curves.formula("checks", "check solutions used", "", apply("total", total("used")))
    mean = apply("ratio_or_zero", apply("total", total("recovery")), n)
    recovery = curves.formula("recovery", "mean recovery", "", mean, "GUM 4.2.1 eq. 3")
    dof = curves.formula("dof", "degrees of freedom", "", apply("larger", n - 1, 1), "GUM 4.2.6")
    deviation = total("deviation")
    squares = apply("total_product", deviation, deviation)
    s = curves.formula("s recovery", "s of the recoveries", "", apply("sqrt", squares / dof), "GUM 4.2.2 eq. 4")
    u_known = apply("ratio_or_zero", apply("total", total("u² known")), n)
    return curves.formula(
        "u relative",
        "u of the curve, relative",
        "",
        apply("sqrt", s**2 + (recovery - 1) ** 2 + u_known),
        "common practice, no source",
    )
