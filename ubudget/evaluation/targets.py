"""Results against their target uncertainties (VIM 2.34), as tables of the graph.

Table `stated targets` holds the figures of the method; table `targets` has one row for each result that has one: U
beside the target, the share of each group, and the factor by which u of the largest group would have to shrink, the
other input quantities and k as they stand.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.bench.building import Shared, TableBuilder
from ubudget.bench.cases import fits, specificity
from ubudget.bench.context import USABLE, method_place
from ubudget.bench.precision import case_words
from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE, STATUS
from ubudget.evaluation.coverage import EXPANDED, FACTOR, STANDARD
from ubudget.evaluation.propagation import CovarianceSlot, Propagated
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Graph, Table
from ubudget.records.crosscheck_targets import band_of, unit_of_case
from ubudget.records.method import Method
from ubudget.records.stated_targets import StatedTarget, stated_targets
from ubudget.records.unit_comparison import in_unit

STATED_TARGETS, TARGETS = "stated targets", "targets"
TARGET, RATIO, MET = "target", "U/target", "met"
LARGEST, LARGEST_SHARE, SHRINK = "largest group", "share of the largest", "factor of the largest"
RESULT_STATUS = "status of the result"
NONE = -1


@dataclass(frozen=True)
class Band:
    """A target from one level of a result on, up to the next; row of the stated targets, `NONE` where there is none."""

    start: float
    row: int


@dataclass(frozen=True)
class Kind:
    """What chooses the targets of a result."""

    analyte: str
    line: str
    matrix: str
    unit: str


def kind_of(assembly: Assembly, row: int) -> Kind:
    """A derived result goes by its name and in its own unit."""
    key, structure = assembly.keys[row], assembly.structure
    matrix = structure.portions[key.portions[0]].matrix if structure and key.portions else ""
    derived = assembly.derived.get(row)
    if derived:
        return Kind(derived.definition.name, "", matrix, derived.definition.unit)
    return Kind(key.analyte, key.line or "", matrix, assembly.records.method.document.unit)


def bands_of(method: Method, stated: Sequence[StatedTarget], kind: Kind) -> list[Band]:
    """The targets of a result by rising level; empty where no target is stated for it at any level."""
    cases, unit = [one.target for one in stated], kind.unit
    # A figure in a unit is for results of that kind; % is for all.
    fitting = [
        number
        for number, target in enumerate(cases)
        if (target.amount.relative or in_unit(1.0, unit_of_case(target, method), unit) == 1.0)
        and fits(target, kind.analyte, kind.line, kind.matrix)
    ]
    narrowness = [(specificity(cases[number]), cases[number].banded) for number in fitting]
    ranked = [
        sorted(
            (*band_of(cases[number], unit), number)
            for number, own in zip(fitting, narrowness, strict=True)
            if own == one
        )
        for one in sorted(set(narrowness), reverse=True)
    ]
    return list(_filled(-math.inf, math.inf, ranked)) if ranked else []


def _filled(low: float, high: float, ranked: Sequence[Sequence[tuple[float, float, int]]]) -> Iterator[Band]:
    """Bands from `low` to `high`: those of the narrowest cases, and between them what wider cases say."""
    if not low < high:
        return
    if not ranked:
        yield Band(low, NONE)
        return
    for start, stop, number in ranked[0]:
        yield from _filled(low, min(start, high), ranked[1:])
        if max(low, start) < min(stop, high):
            yield Band(max(low, start), number)
        low = max(low, stop)
    yield from _filled(low, high, ranked[1:])


def add_targets(assembly: Assembly, graph: Graph, propagated: Propagated) -> Graph:
    """The graph with both tables, as it is where the method has no target for a result."""
    stated = stated_targets(assembly.records.method)
    if not stated:
        return graph
    kinds = [kind_of(assembly, row) for row in range(len(assembly.keys))]
    bands_by_kind = {kind: bands_of(assembly.records.method, stated, kind) for kind in dict.fromkeys(kinds)}
    bands = [bands_by_kind[kind] for kind in kinds]
    rows = [row for row, own in enumerate(bands) if own]
    if not rows:
        return graph
    graph = graph.with_table(_stated_table(assembly, stated))
    home = graph.tables[RESULTS]
    table = TableBuilder(TARGETS, "Results against their target uncertainties", len(rows), Shared())
    for name, heading in ((SAMPLE, "sample"), (ANALYTE, "analyte"), (LINE, "line")):
        texts = home.texts(name)
        table.label(name, heading, [texts[row] for row in rows])
    units = [kinds[row].unit for row in rows]
    table.label("unit", "unit", [own or "1" for own in units])
    unit = units[0] if len(set(units)) == 1 else ""

    def of_result(column: str) -> Symbol:
        return table.pick(f"{column} of the result", RESULTS, column, rows)

    value = table.formula("value", "value", unit, of_result(assembly.value))
    U = table.formula("U", "expanded uncertainty U", unit, of_result(EXPANDED))
    _add_target(table, stated, [bands[row] for row in rows], value, of_result(FACTOR), unit)
    target = Symbol(TARGET)
    table.formula(RATIO, "U/target", "", apply("ratio_or_zero", U, target))
    met = apply("if_less", target, U, 0, 1)
    table.formula(MET, "met (1 = yes)", "", apply("if_equal", target, 0, 0, met), "U ≤ target")
    _add_groups(table, propagated, of_result, target, U)
    table.formula(RESULT_STATUS, USABLE, "", of_result(STATUS))
    # The sheet says the same in words above these figures.
    table.demote(*table.names)
    return graph.with_table(table.build())


def rows_of_targets(graph: Graph) -> dict[int, int]:
    """Row of the table `targets` by row of the results."""
    table = graph.tables.get(TARGETS)
    if table is None:
        return {}
    rows = getattr(table.references[f"{STATUS} of the result"], "rows", ())
    return {int(result): row for row, result in enumerate(rows)}


def _stated_table(assembly: Assembly, stated: Sequence[StatedTarget]) -> Table:
    method = assembly.records.method
    table = TableBuilder(STATED_TARGETS, "Target uncertainties of the method", len(stated), Shared())
    table.label("applies", "applies to", [case_words(one.target) for one in stated])
    kinds = ["expanded uncertainty U" if one.target.U else "standard uncertainty u" for one in stated]
    table.label("kind", "target for", kinds)
    units = ["%" if one.target.amount.relative else unit_of_case(one.target, method) for one in stated]
    amounts = [one.target.amount for one in stated]
    figures = [in_unit(amount.value, amount.unit, unit) for amount, unit in zip(amounts, units, strict=True)]
    places = [method_place(*one.path, unit=unit) for one, unit in zip(stated, units, strict=True)]
    table.given(TARGET, "target", "", [figure or 0.0 for figure in figures], places)
    table.label("of", "of", ["% of the result" if unit == "%" else unit or "1" for unit in units])
    table.label("source", "source", [one.target.source for one in stated])
    return table.build()


def _add_target(
    table: TableBuilder,
    stated: Sequence[StatedTarget],
    bands: Sequence[Sequence[Band]],
    value: Symbol,
    k: Symbol,
    unit: str,
) -> None:
    """Column of the target as an expanded uncertainty in the unit of the result: that of the level it lies in."""
    most = max(len(own) for own in bands)
    expression: Expression = Number(0)
    for place in reversed(range(most)):
        rows = [own[min(place, len(own) - 1)].row for own in bands]
        figure = table.pick(f"stated, band {place + 1}", STATED_TARGETS, TARGET, rows)
        amounts = [None if row == NONE else stated[row].target for row in rows]
        way = np.array([0 if one is None else one.amount.relative + 2 * (one.u is not None) for one in amounts])
        share = figure / 100 * apply("abs", value)
        name = f"target, band {place + 1}" if most > 1 else TARGET
        heading = f"target U, band {place + 1}" if most > 1 else "target U"
        # A target for u counts with the coverage factor of the result.
        here = table.formula(name, heading, unit, figure, "", [share, k * figure, k * share], way)
        if place == most - 1:
            expression = here
            continue
        ends = [own[place + 1].start if place + 1 < len(own) else 1e99 for own in bands]
        end = table.given(f"end of band {place + 1}", f"band {place + 1} ends at", unit, ends)
        expression = apply("if_less", value, end, here, expression)
    if most > 1:
        table.formula(TARGET, "target U", unit, expression)


def _add_groups(
    table: TableBuilder, propagated: Propagated, of_result: Callable[[str], Symbol], target: Symbol, U: Symbol
) -> None:
    """Share of each group, the largest with its number, and the factor on its u that would meet the target.

    With q = (target/U)², s the group's share and b that of its covariances with others, f solves
    s f² + b f + (1 - s - b) = q; 0 = even without the group the rest exceeds the target."""
    slots = propagated.slots
    u = of_result(STANDARD)
    shares: list[Symbol] = []
    crossing: list[Expression] = []
    names = group_names(propagated)
    if not names:
        return
    for number, name in enumerate(names, start=1):
        squares = [of_result(slot.contribution) for slot in slots if slot.group == name]
        inner = [of_result(c.contribution) for c in propagated.covariances if set(_ends(propagated, c)) == {name}]
        outer = [
            of_result(c.contribution)
            for c in propagated.covariances
            if name in _ends(propagated, c) and len(set(_ends(propagated, c))) > 1
        ]
        variance: Expression = apply("sum_squares", *squares) if squares else Number(0)
        if inner:
            variance = variance + apply("add_all", *inner)
        heading = f"share: {name}"
        shares.append(table.formula(f"share {number}", heading, "", apply("ratio_or_zero", variance, u**2)))
        across = apply("add_all", *outer) if outer else Number(0)
        crossing.append(apply("ratio_or_zero", across, u**2) if outer else Number(0))
    largest: Expression = shares[0]
    for share in shares[1:]:
        largest = apply("larger", largest, share)
    s = table.formula(LARGEST_SHARE, "share of the largest group", "", largest)
    number_of: Expression = Number(len(shares))
    b: Expression = crossing[-1]
    for number in reversed(range(len(shares) - 1)):
        number_of = apply("if_equal", shares[number], s, number + 1, number_of)
    first = table.formula(LARGEST, "number of the largest group", "", number_of)
    for number in reversed(range(len(shares) - 1)):
        if propagated.covariances:
            b = apply("if_equal", first, number + 1, crossing[number], b)
    q = apply("ratio_or_zero", target, U) ** 2
    if propagated.covariances:
        b = table.formula("crossing", "share of its covariances with others", "", b)
        root = apply("sqrt", apply("larger", b**2 + 4 * s * (q - 1 + s + b), 0))
        factor = apply("larger", apply("ratio_or_zero", root - b, 2 * s), 0)
    else:
        factor = apply("sqrt", apply("larger", apply("ratio_or_zero", q - 1 + s, s), 0))
    table.formula(SHRINK, "factor on u of the largest group", "", apply("smaller", factor, 1), "0 = not by it alone")


def group_names(propagated: Propagated) -> list[str]:
    """Groups of the input quantities, in the order of the budget."""
    return list(dict.fromkeys(slot.group for slot in propagated.slots))


def _ends(propagated: Propagated, covariance: CovarianceSlot) -> tuple[str, str]:
    return propagated.slots[covariance.a].group, propagated.slots[covariance.b].group
