"""Limits of results near zero as further tables of the graph: those of the method, scaled to each sample, and the
class.

The validated limits hold for a nominal test portion. A sample's own limit is the validated one times the ratio of its
sensitivity to the concentration in the solution, ∂w/∂c, to that at the nominal values of mass, volume and dilution: one
derivative of the result equation, with the sample's own values and with nominal ones in their place. What has no
nominal value stands with the sample's own in both and cancels. In a mean of portions the limits are averaged, since
averaging earns no lower limit that was not validated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.bench.building import Shared, TableBuilder, nan_where_none
from ubudget.bench.context import method_place
from ubudget.bench.equation import unit_of_symbol
from ubudget.bench.folding import fold
from ubudget.bench.result_table import ANALYTE, LINE, PORTION_RESULTS, SAMPLE
from ubudget.bench.results import LINE_RESULTS
from ubudget.bench.several_lines import REPORTED_VALUES
from ubudget.bench.structure import Line
from ubudget.evaluation.coverage import EXPANDED
from ubudget.quantity.derivative import derivative
from ubudget.quantity.expression import ZERO, Expression, Number, Symbol, apply, substitute
from ubudget.quantity.graph import DETAIL, Formula, Graph, Rows
from ubudget.records.additions import StandardAdditions
from ubudget.records.crosscheck_low_levels import LIMITS, fitting
from ubudget.records.low_levels import (
    LESS_DETECTION,
    LESS_QUANTIFICATION,
    MEASURED,
    DetectionLimit,
    LowLevels,
)
from ubudget.records.read_order import READ_AS
from ubudget.records.unit_comparison import in_unit

METHOD_LIMITS, SCALED, LOW_LEVELS = "detection limits", "scaled limits", "low levels"
CLASS, FORM, SHOWN, PLACES, COUNTED = "class", "form", "limit shown", "decimals of the limit", "limit counted"
LOW_END, HIGH_END = "lower end", "upper end"
SCALE, AT_NOMINAL = "scale", "nominal ∂w/∂c"
VALUE_U, LESS, LESS_THAN_DETECTION, ABSENT = 0, 1, 2, 3
"""Forms: value with U; less than quantification or detection limit; not detected."""
CLASSES = ("not below", "below the quantification limit", "below the detection limit", "below the decision limit")


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


def add_low_levels(assembly: Assembly, graph: Graph) -> Graph:
    """Tables `detection limits`, `scaled limits` and `low levels`, where the method states limits."""
    method = assembly.records.method
    if not method.detection_limits and not (method.low_levels and method.low_levels.non_negative):
        return graph
    limits = Limits(assembly, graph)
    if limits.scaled:
        graph = _with_method_limits(limits, graph)
        graph = _with_scaled(limits, graph)
    return _with_results(limits, graph) if limits.rows else graph


# --- the method's limits and their scale ---


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


# --- the results ---


def _with_results(limits: Limits, graph: Graph) -> Graph:
    assembly, rows = limits.assembly, limits.rows
    keys = [assembly.keys[row] for row in rows]
    table = TableBuilder(LOW_LEVELS, "Results and their limits", len(rows), Shared())
    table.label(SAMPLE, "sample", [key.sample for key in keys])
    table.label(ANALYTE, "analyte", [key.analyte for key in keys])
    table.label(LINE, "line", [key.line or "" for key in keys])
    x = table.formula("x", "value", limits.unit, table.pick("value reported", RESULTS, assembly.value, rows))
    behind = [limits.lines_of(row) for row in rows]
    present = [_present(limits, lines) for lines in behind]
    if any(present):
        _add_limits(limits, table, rows, behind, present)
        _add_class(limits, table, x, present)
    if limits.rule.non_negative:
        U = table.pick("U of the result", RESULTS, EXPANDED, rows)
        clause = "cut at zero, QUAM:2012 appendix F"
        table.formula(LOW_END, "interval from", limits.unit, apply("larger", x - U, 0), clause)
        table.formula(HIGH_END, "interval to", limits.unit, apply("larger", x + U, 0), clause)
    return graph.with_table(table.build())


def _present(limits: Limits, lines: list[list[int]]) -> tuple[str, ...]:
    """The limits that every portion and line behind a result has."""
    own = [limits.has(row) for line in lines for row in line]
    return tuple(name for name in LIMITS if own and all(name in names for names in own))


def _add_limits(
    limits: Limits,
    table: TableBuilder,
    rows: Sequence[int],
    behind: Sequence[list[list[int]]],
    present: Sequence[tuple[str, ...]],
) -> None:
    """Limits of each result: mean over its portions; of a value from several lines, by the weights of the lines."""
    assembly = limits.assembly
    most_lines = max(len(lines) for lines in behind)
    most = max(len(line) for lines in behind for line in lines)
    first_joined = sum(assembly.keys[row].line is not None or not assembly.lines_of(row) for row in rows)
    joined = [row for row in range(len(assembly.keys)) if assembly.lines_of(row)]
    numbers: list[Symbol | Number] = []
    weights: list[Symbol | Number] = []
    for i in range(most_lines):
        counts = [max(1, len(lines[i])) if i < len(lines) else 1 for lines in behind]
        word = f" of line {i + 1}" if most_lines > 1 else ""
        several = most > 1
        numbers.append(table.given(f"portions{word}", f"portions averaged{word}", "", counts) if several else Number(1))
        own = [joined.index(row) if row in joined else -1 for row in rows]
        if first_joined < len(rows):
            weights.append(table.pick(f"weight{word}", REPORTED_VALUES, f"weight {i + 1}", own, absent=1.0))
        else:
            weights.append(Number(1))
    for name in LIMITS:
        if not any(name in names for names in present):
            continue
        lines_total: list[Expression] = []
        for i in range(most_lines):
            parts: list[Expression] = []
            for j in range(most):
                chosen = [
                    lines[i][j] if name in names and i < len(lines) and j < len(lines[i]) else -1
                    for lines, names in zip(behind, present, strict=True)
                ]
                if max(chosen) >= 0:
                    parts.append(table.pick(f"{name} {i + 1} {j + 1}", SCALED, name, chosen))
            if parts:
                total = fold("add", parts)
                lines_total.append(weights[i] * total / numbers[i])
        table.formula(name, f"{name} limit", limits.unit, fold("add", lines_total))


def form_below(rule: str, present: tuple[str, ...]) -> int:
    """The form that a rule gives where these limits are known; the next lower limit stands in for a missing one."""
    if rule == MEASURED:
        return VALUE_U
    if rule == LESS_QUANTIFICATION and "quantification" in present:
        return LESS
    if rule in (LESS_QUANTIFICATION, LESS_DETECTION) and "detection" in present:
        return LESS_THAN_DETECTION
    return ABSENT if "detection" in present or "decision" in present else VALUE_U


def _add_class(limits: Limits, table: TableBuilder, x: Symbol, present: Sequence[tuple[str, ...]]) -> None:
    patterns = list(dict.fromkeys(present))
    way = np.array([patterns.index(names) for names in present], dtype=np.int64)
    upward = tuple(reversed(LIMITS))
    rules = dict(zip(upward, limits.rule.rules, strict=True))

    def nested(number: Callable[[str, tuple[str, ...]], int]) -> list[Expression]:
        """The number of the lowest limit that the value is below, for each set of limits."""
        found = []
        for names in patterns:
            expression: Expression = Number(0)
            for name in reversed(names):
                expression = apply("if_less", x, Symbol(name), number(name, names), expression)
            found.append(expression)
        return found

    by_class = nested(lambda name, names: upward.index(name) + 1)
    by_form = nested(lambda name, names: form_below(rules[name], names))
    table.formula(CLASS, "class", "", by_class[0], "", by_class[1:], way)
    form = table.formula(FORM, "form", "", by_form[0], "", by_form[1:], way)
    shown: list[Expression] = []
    counted: list[Expression] = []
    for names in patterns:
        counted.append(Symbol(names[-1]) if names else Number(0))
        expression = counted[-1]
        for number, wanted in ((ABSENT, ("detection", "decision")), (LESS_THAN_DETECTION, ("detection",))):
            known = [name for name in wanted if name in names]
            if known:
                expression = apply("if_equal", form, number, Symbol(known[0]), expression)
        if "quantification" in names:
            expression = apply("if_equal", form, LESS, Symbol("quantification"), expression)
        shown.append(expression)
    heading = "limit that is reported, else the highest"
    table.formula("limit reported", heading, limits.unit, shown[0], "", shown[1:], way, rank=DETAIL)
    table.formula(COUNTED, "highest limit", limits.unit, counted[0], "", counted[1:], way, rank=DETAIL)
    add_shown_limit(table, Symbol("limit reported"), limits.unit)


def add_shown_limit(table: TableBuilder, limit: Symbol, unit: str) -> None:
    """A limit as it is written: three significant digits by ordinary rounding, without zeros at its end."""
    decade = apply("whole", apply("log10", limit) + 1e-12)
    three = apply("if_less", 0, limit, 2 - decade, 0)
    digits = table.formula("places of the limit", "places for three digits", "", three, rank=DETAIL)
    shown = table.formula(SHOWN, "limit as written", unit, apply("round", limit, digits))
    places: Expression = digits
    for fewer in (1, 2, 3):
        change = apply("abs", apply("round", shown, digits - fewer) - shown)
        places = apply("if_less", change, 1e-9 * apply("larger", shown, 1e-300), digits - fewer, places)
    table.formula(PLACES, "decimals of the limit", "", apply("if_less", 0, limit, places, 0), rank=DETAIL)


def quantification_limits(graph: Graph) -> dict[int, int]:
    """Row of the table `low levels` by row of the results, for those with a quantification limit: the limit scaled to
    the sample is the column `quantification` there."""
    table = graph.tables.get(LOW_LEVELS)
    if table is None or "quantification" not in table.by_name:
        return {}
    column, value = table.by_name["quantification"], table.references["value reported"]
    assert isinstance(column, Formula)
    picks = [ref for name, ref in table.references.items() if name.startswith("quantification ")]
    rows = getattr(value, "rows", ())
    return {
        int(row): number
        for number, row in enumerate(rows)
        if any(getattr(pick, "rows", [-1] * table.size)[number] >= 0 for pick in picks)
    }
