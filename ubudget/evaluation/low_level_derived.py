"""Derived results where results beneath them are below a limit: the value by the method's rule, beside that as
measured.

A result below its limit counts as zero, as half the limit or as the limit (Directive 2009/90/EC, article 5: half the
quantification limit in means, zero in sums), or the derived result is given as two bounds. It is below its limit where
the reporting rule gives it without value. Value and U as measured stay; what the rule gives has no U.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.bench.building import Shared, TableBuilder
from ubudget.bench.folding import fold
from ubudget.bench.result_table import ANALYTE, SAMPLE
from ubudget.evaluation.low_levels import COUNTED, FORM, LESS, LOW_LEVELS, VALUE_U, add_shown_limit
from ubudget.quantity.derivative import derivative
from ubudget.quantity.expression import Expression, Number, Symbol, apply, substitute
from ubudget.quantity.graph import Formula, Graph, Pick, Table
from ubudget.records.derived import Derived
from ubudget.records.low_levels import AS_MEASURED, BOUNDS, HALF, LIMIT, ZERO

DERIVED_LOW = "low levels of derived results "
"""Tables numbered as the derived results are."""
BY_RULE, BELOW, LOWEST, HIGHEST = "value by the rule", "results below", "lower bound", "upper bound"
BY_RULE_FORM, BOUNDS_FORM = 4, 5


@dataclass(frozen=True)
class _Component:
    """A result beneath a derived one: the table of its limits, row for row (-1 = none is known)."""

    name: str
    table: str
    rows: list[int]


def add_derived_low_levels(assembly: Assembly, graph: Graph) -> Graph:
    """A table for each derived result whose rule is another than as measured, where results beneath have limits."""
    if LOW_LEVELS not in graph.tables or FORM not in graph.tables[LOW_LEVELS].by_name:
        return graph
    for number, definition in enumerate(assembly.records.method.derived, start=1):
        name = f"derived results {number}"
        if definition.below_limits == AS_MEASURED or name not in graph.tables:
            continue
        home = graph.tables[name]
        result = next(row.definition for row in assembly.derived.values() if row.table == name)
        assert result == definition
        components = _components(graph, home, definition)
        if components:
            table = _Rule(graph, home, definition, components).build(f"{DERIVED_LOW}{number}")
            graph = graph.with_table(table)
    return graph


def _result_rows(graph: Graph) -> dict[tuple[str, str], dict[int, int]]:
    """Row of the reported results for each row of the columns that they are joined from."""
    found: dict[tuple[str, str], dict[int, int]] = {}
    column = graph.tables[RESULTS].by_name["value"]
    assert isinstance(column, Formula)
    for symbol in column.expression.symbols:
        pick = graph.tables[RESULTS].references.get(symbol)
        if isinstance(pick, Pick):
            found[pick.table, pick.column] = {int(source): row for row, source in enumerate(pick.rows) if source >= 0}
    return found


def _components(graph: Graph, home: Table, definition: Derived) -> list[_Component]:
    """Symbols of a derived equation that are results with limits, or derived results with a rule."""
    joined = _result_rows(graph)
    value = graph.tables[LOW_LEVELS].references["value reported"]
    assert isinstance(value, Pick)
    low_row = {int(row): number for number, row in enumerate(value.rows)}
    result = _result_name(definition)
    equation = home.by_name[result]
    assert isinstance(equation, Formula)
    found = []
    for name in equation.expression.symbols:
        column = home.by_name.get(name)
        if not isinstance(column, Formula):
            continue
        picks = [home.references[symbol] for symbol in column.expression.symbols if symbol in home.references]
        table, rows = LOW_LEVELS, [-1] * home.size
        for pick in picks:
            if not isinstance(pick, Pick) or (pick.table, pick.column) not in joined:
                continue
            own = f"{DERIVED_LOW}{pick.table.rpartition(' ')[2]}"
            if own in graph.tables and pick.table.startswith("derived results "):
                table = own
            for row, source in enumerate(pick.rows.tolist()):
                if source >= 0:
                    rows[row] = source if table == own else low_row.get(joined[pick.table, pick.column][source], -1)
        if max(rows) >= 0:
            found.append(_Component(name, table, rows))
    return found


def _result_name(definition: Derived) -> str:
    return definition.equation.partition("=")[0].strip()


@dataclass(frozen=True, eq=False)
class _Rule:
    graph: Graph
    home: Table
    definition: Derived
    components: Sequence[_Component]

    def build(self, name: str) -> Table:
        home, unit = self.home, self.definition.unit
        title = f"{self.definition.name}: results below limits count as {self.definition.below_limits}"
        if self.definition.below_limits == BOUNDS:
            title = f"{self.definition.name}: bounds where results are below limits"
        table = TableBuilder(name, title, home.size, Shared())
        table.label(SAMPLE, "sample", list(home.texts(SAMPLE)))
        table.label(ANALYTE, "derived result", list(home.texts(ANALYTE)))
        equation = home.by_name[_result_name(self.definition)]
        assert isinstance(equation, Formula)
        measured = {
            symbol: table.pick(f"{symbol} measured", home.name, symbol, np.arange(home.size))
            for symbol in equation.expression.symbols
        }
        below: list[Expression] = []
        counted: dict[str, dict[str, Expression]] = {"value": {}, "low": {}, "high": {}, "limit": {}}
        for one in self.components:
            self._count(table, one, measured[one.name], equation.expression, measured, below, counted)
        total = table.formula(BELOW, "results below a limit", "", fold("add", below))

        def of(kind: str) -> Expression:
            return substitute(equation.expression, {**measured, **counted[kind]})

        form: Expression
        if self.definition.below_limits == BOUNDS:
            table.formula(LOWEST, LOWEST, unit, of("low"), "each result at the end that lowers it")
            table.formula(HIGHEST, HIGHEST, unit, of("high"), "each result at the end that raises it")
            table.formula(BY_RULE, "middle of the bounds", unit, (Symbol(LOWEST) + Symbol(HIGHEST)) / 2)
            form = apply("if_less", total, 0.5, VALUE_U, BOUNDS_FORM)
        else:
            table.formula(BY_RULE, "value by the rule", unit, of("value"))
            form = apply("if_less", total, 0.5, VALUE_U, BY_RULE_FORM)
        table.formula(COUNTED, "value with all results at their limits", unit, of("limit"))
        complete = [all(one.rows[row] >= 0 for one in self.components) for row in range(home.size)]
        if any(complete) and self.definition.below_limits != BOUNDS:
            all_below = apply("if_less", total, len(self.components) - 0.5, form, LESS)
            if self.definition.own_limit:
                under = apply("if_less", Symbol(BY_RULE), Symbol(COUNTED), LESS, form)
                all_below = apply("if_less", total, 0.5, VALUE_U, under)
            way = np.array(complete, dtype=np.int64)
            table.formula(FORM, "form", "", form, "", [all_below], way)
        else:
            table.formula(FORM, "form", "", form)
        if self.definition.below_limits != BOUNDS:
            limit = table.formula("limit reported", "limit that is reported", unit, apply("abs", Symbol(COUNTED)))
            add_shown_limit(table, limit, unit)
        return table.build()

    def _count(
        self,
        table: TableBuilder,
        one: _Component,
        as_measured: Symbol,
        equation: Expression,
        measured: dict[str, Symbol],
        below: list[Expression],
        counted: dict[str, dict[str, Expression]],
    ) -> None:
        """How one result counts: as measured, or by the rule where it is reported without value."""
        unit = getattr(self.home.by_name[one.name], "unit", "")
        form = table.pick(f"form of {one.name}", one.table, FORM, one.rows)
        limit = table.pick(f"limit of {one.name}", one.table, COUNTED, one.rows)
        mark = table.formula(f"{one.name} below", f"{one.name} below its limit", "", apply("if_less", form, 0.5, 0, 1))
        below.append(mark)
        value: Expression = as_measured
        low: Expression = Number(0)
        high: Expression = limit
        if one.table != LOW_LEVELS:
            value = table.pick(f"{one.name} by its rule", one.table, BY_RULE, one.rows)
            if LOWEST in self.graph.tables[one.table].by_name:
                low = table.pick(f"lower bound of {one.name}", one.table, LOWEST, one.rows)
                high = table.pick(f"upper bound of {one.name}", one.table, HIGHEST, one.rows)
            else:
                low, high = (apply("if_equal", form, LESS, end, value) for end in (Number(0), limit))
        rule = self.definition.below_limits
        if one.table != LOW_LEVELS and rule != BOUNDS:
            instead: Expression = apply("if_equal", form, LESS, _by_rule(rule, limit), value)
        else:
            instead = _by_rule(rule, limit)
        known = np.array([row >= 0 for row in one.rows], dtype=np.int64)
        counts = table.formula(
            f"{one.name} counted",
            f"{one.name} as it counts",
            unit,
            as_measured,
            "",
            [apply("if_less", mark, 0.5, as_measured, instead)],
            known,
        )
        counted["value"][one.name] = counts
        at_limit = table.formula(
            f"{one.name} at its limit", f"{one.name} at its limit", unit, as_measured, "", [limit], known
        )
        counted["limit"][one.name] = at_limit
        if rule == BOUNDS:
            slope = substitute(derivative(equation, one.name), dict(measured))
            for kind, falling, rising in (("low", high, low), ("high", low, high)):
                end = apply("if_less", slope, 0, falling, rising)
                words = f"{one.name} for the {'lower' if kind == 'low' else 'upper'} bound"
                counted[kind][one.name] = table.formula(
                    words, words, unit, as_measured, "", [apply("if_less", mark, 0.5, as_measured, end)], known
                )


def _by_rule(rule: str, limit: Symbol) -> Expression:
    """What counts in place of a result below its limit."""
    return {ZERO: Number(0), HALF: limit / 2, LIMIT: limit, BOUNDS: limit / 2}[rule]
