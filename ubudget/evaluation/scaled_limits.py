"""The validated limits of the method, and the limits of each test portion, as tables of the graph.

The validated limits hold for a nominal test portion. A sample's own limit is the validated one times the ratio of its
sensitivity to the concentration in the solution, ∂w/∂c, to that at the nominal values of mass, volume and dilution: one
derivative of the result equation, with the sample's own values and with nominal ones in their place. What has no
nominal value stands with the sample's own in both and cancels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.bench.building import Shared, TableBuilder, nan_where_none
from ubudget.bench.context import method_place
from ubudget.bench.equation import unit_of_symbol
from ubudget.bench.result_table import ANALYTE, LINE, PORTION_RESULTS, SAMPLE
from ubudget.bench.results import LINE_RESULTS
from ubudget.bench.structure import Line
from ubudget.quantity.derivative import derivative
from ubudget.quantity.expression import ZERO, Expression, Number, Symbol, apply, substitute
from ubudget.quantity.graph import Formula, Graph, Rows
from ubudget.records.additions import StandardAdditions
from ubudget.records.crosscheck_low_levels import LIMITS, fitting
from ubudget.records.low_levels import DetectionLimit, LowLevels
from ubudget.records.read_order import READ_AS
from ubudget.records.unit_comparison import in_unit

METHOD_LIMITS, SCALED = "detection limits", "scaled limits"
SCALE, AT_NOMINAL = "scale", "nominal ∂w/∂c"


@dataclass(frozen=True, eq=False)
class Limits:
    """What the limits of a run rest on: the method's tables and where each result takes part."""

    assembly: Assembly
    graph: Graph

    @cached_property
    def stated(self) -> tuple[DetectionLimit, ...]:
        return self.assembly.records.method.detection_limits

    @property
    def rule(self) -> LowLevels:
        return self.assembly.records.method.low_levels or LowLevels()

    @property
    def unit(self) -> str:
        return self.assembly.records.method.document.unit

    @cached_property
    def equation_table(self) -> str:
        """The table that holds the result equation, by portion and line."""
        if PORTION_RESULTS in self.graph.tables:
            return PORTION_RESULTS
        return LINE_RESULTS if self.assembly.joined else RESULTS

    @cached_property
    def symbols(self) -> list[str]:
        """Symbols of the method for which some table of limits states a nominal value."""
        return list(dict.fromkeys(name for limit in self.stated for name in limit.nominal))

    @cached_property
    def portions(self) -> list[tuple[int, Line]]:
        """Test portion and line of each row of the equation; the row of a method alone is portion -1."""
        structure = self.assembly.structure
        if structure is None:
            return [(-1, (self.assembly.keys[0].analyte, ""))]
        return [(row.portion, row.line) for row in structure.results]

    @cached_property
    def scaled(self) -> dict[tuple[int, Line], tuple[int, int]]:
        """For portion and line with limits: row of the scaled limits, and of the method's."""
        structure = self.assembly.structure
        found: dict[tuple[int, Line], tuple[int, int]] = {}
        for portion, line in self.portions:
            matrix = structure.portions[portion].matrix if structure else ""
            number = fitting(self.stated, *line, matrix)
            if number is not None:
                found[portion, line] = (len(found), number)
        return found

    def lines_of(self, row: int) -> list[list[int]]:
        """Rows of the scaled limits behind a result: portions by line; empty where one of them has no limits."""
        key = self.assembly.keys[row]
        names = self.assembly.lines_of(row) or (key.line or "",)
        found: list[list[int]] = []
        for name in names:
            own = [(portion, (key.analyte, name)) for portion in key.portions or (-1,)]
            read = [place for place in own if place in self._rows]
            if not read and len(names) > 1:
                found.append([])
                continue
            if not read or any(place not in self.scaled for place in read):
                return []
            found.append([self.scaled[place][0] for place in read])
        return found if any(found) else []

    @cached_property
    def _rows(self) -> set[tuple[int, Line]]:
        return set(self.portions)

    def has(self, scaled_row: int) -> tuple[str, ...]:
        """Which limits a row of the scaled limits has."""
        limit = self.stated[self._limit_of[scaled_row]]
        return tuple(name for name in LIMITS if getattr(limit, name) is not None)

    @cached_property
    def _limit_of(self) -> list[int]:
        return [number for _, number in self.scaled.values()]

    @cached_property
    def rows(self) -> list[int]:
        """Results, derived ones aside, of which there is something to say."""
        plain = [row for row in range(len(self.assembly.keys)) if row not in self.assembly.derived]
        return [row for row in plain if self.rule.non_negative or self.lines_of(row)]


def add_scaled_limits(limits: Limits, graph: Graph) -> Graph:
    """Tables `detection limits` and `scaled limits`, where some portion has limits."""
    return _with_scaled(limits, _with_method_limits(limits, graph)) if limits.scaled else graph


def _with_method_limits(limits: Limits, graph: Graph) -> Graph:
    stated, method = limits.stated, limits.assembly.records.method
    table = TableBuilder(METHOD_LIMITS, "Validated limits of the method", len(stated), Shared())
    table.label("analyte", "analyte", [limit.analyte or "all" for limit in stated])
    table.label("line", "line", [limit.line or "all" for limit in stated])
    table.label("matrix", "matrix", [limit.matrix or "all" for limit in stated])

    def given(name: str, heading: str, unit: str, of: str = "") -> None:
        values: list[float | None] = []
        for limit in stated:
            amount = limit.nominal.get(of) if of else getattr(limit, name)
            values.append(None if amount is None else in_unit(amount.value, amount.unit, unit))
        path: tuple[str, ...] = ("nominal", of) if of else (name,)
        places = [
            None if value is None else method_place("detection_limit", number, *path, unit=unit)
            for number, value in enumerate(values)
        ]
        table.given(name, heading, unit, nan_where_none(values), places)

    for name in LIMITS:
        if any(getattr(limit, name) is not None for limit in stated):
            given(name, f"{name} limit", limits.unit)
    for name, heading in (("alpha", "α"), ("beta", "β")):
        places = [method_place("detection_limit", number, name) for number in range(len(stated))]
        error = table.given(name, heading, "", [getattr(limit, name) for limit in stated], places)
        table.formula(f"p of {name}", f"1 - 2{heading}", "", 1 - 2 * error, "two-sided p of the one-sided factor")
    if any(limit.dof is not None for limit in stated):
        dofs = [limit.dof for limit in stated]
        places_of_dof = [
            None if dof is None else method_place("detection_limit", number, "dof") for number, dof in enumerate(dofs)
        ]
        table.given("dof", "degrees of freedom", "", nan_where_none(dofs), places_of_dof)
    for symbol in limits.symbols:
        given(f"nominal {symbol}", f"nominal {symbol}", unit_of_symbol(method, symbol), symbol)
    table.label("source", "source", [limit.source for limit in stated])
    return graph.with_table(table.build())


def _sensitivity(limits: Limits) -> Expression | None:
    """∂w/∂c over columns of the table of the equation; None where nothing is read as a concentration."""
    assembly, home = limits.assembly, limits.graph.tables[limits.equation_table]
    symbols = assembly.records.method.symbols
    read = [name for name, symbol in symbols.items() if isinstance(symbol, (*READ_AS, StandardAdditions))]
    if not read:
        return None

    def expanded(name: str) -> Expression:
        column = home.by_name[name]
        assert isinstance(column, Formula)
        return column.expression

    expression = expanded(assembly.equations.result.name)
    # Intermediates may stand in one another, never in a circle.
    for _ in assembly.equations.intermediates:
        known = {part.name: expanded(part.name) for part in assembly.equations.intermediates}
        expression = substitute(expression, known)
    found = derivative(expression, read[0])
    return None if found == ZERO else found


def _with_scaled(limits: Limits, graph: Graph) -> Graph:
    structure, places = limits.assembly.structure, list(limits.scaled)
    row_of = {place: row for row, place in enumerate(limits.portions)}
    table = TableBuilder(SCALED, "Limits scaled to each test portion", len(places), Shared())
    document = limits.assembly.records.method.document
    samples = [structure.portions[portion].sample if structure else document.id for portion, _ in places]
    table.label(SAMPLE, "sample", samples)
    if limits.equation_table == PORTION_RESULTS and structure:
        table.label("portion", "portion", [str(structure.portions[portion].portion) for portion, _ in places])
    table.label(ANALYTE, "analyte", [line[0] for _, line in places])
    table.label(LINE, "line", [line[1] for _, line in places])
    numbers = [limits.scaled[place][1] for place in places]
    sensitivity = _sensitivity(limits)
    scale: Expression = Number(1)
    if sensitivity is not None:
        own = [row_of[place] for place in places]
        for name in sensitivity.symbols:
            table.pick(f"{name} of the sample", limits.equation_table, name, own)
        here = {name: Symbol(f"{name} of the sample") for name in sensitivity.symbols}
        table.formula("∂w/∂c", "∂w/∂c", "", substitute(sensitivity, dict(here)), "partial derivative, GUM 5.1.3")
        ways, way = _at_nominal(limits, table, sensitivity, numbers)
        heading = "∂w/∂c of the nominal portion"
        table.formula(AT_NOMINAL, heading, "", ways[0], "", ways[1:], way)
        scale = Symbol("∂w/∂c") / Symbol(AT_NOMINAL)
    table.formula(SCALE, "scale", "", apply("abs", scale) if sensitivity is not None else scale)
    for name in LIMITS:
        rows = [number if getattr(limits.stated[number], name) is not None else -1 for number in numbers]
        if max(rows) >= 0:
            stated = table.pick(f"{name} of the method", METHOD_LIMITS, name, rows)
            table.formula(name, f"{name} limit", limits.unit, stated * Symbol(SCALE))
    return graph.with_table(table.build())


def _at_nominal(
    limits: Limits, table: TableBuilder, sensitivity: Expression, numbers: Sequence[int]
) -> tuple[list[Expression], Rows]:
    """∂w/∂c with nominal values in place of the sample's own: one way for each set of symbols that have some."""
    sets: list[frozenset[str]] = []
    way = []
    for number in numbers:
        named = frozenset(limits.stated[number].nominal) & frozenset(sensitivity.symbols)
        if named not in sets:
            sets.append(named)
        way.append(sets.index(named))
    for name in sorted(set().union(*sets)):
        rows = [number if name in limits.stated[number].nominal else -1 for number in numbers]
        table.pick(f"nominal {name}", METHOD_LIMITS, f"nominal {name}", rows, absent=1.0)
    ways = [
        substitute(
            sensitivity,
            {
                name: Symbol(f"nominal {name}" if name in named else f"{name} of the sample")
                for name in sensitivity.symbols
            },
        )
        for named in sets
    ]
    return ways, np.array(way, dtype=np.int64)
