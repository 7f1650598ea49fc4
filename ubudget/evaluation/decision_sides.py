"""One side of the decisions: limit, u there, guard band, limits of acceptance and rejection, code, probability beyond.

A row without a limit on the side has empty cells and code 0 there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import get_args

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.bench.building import TableBuilder
from ubudget.evaluation import decision_equations as equations
from ubudget.evaluation.comparisons import Comparison
from ubudget.evaluation.coverage import EXPANDED, STANDARD
from ubudget.evaluation.decision_equations import TIE, UPPER
from ubudget.evaluation.level_tables import CONSTANT, FUNCTIONS, HIGHEST, LOWEST, RELATIVE, USABLE, K
from ubudget.quantity.expression import Expression, Operand, Symbol, apply
from ubudget.quantity.graph import DETAIL, Rows
from ubudget.records.tolerance_limit import Rule, ToleranceLimit

LIMITS = "tolerance limits"
CENTRAL = "central part"
NAMES = {UPPER: "upper", equations.LOWER: "lower"}
RULES = get_args(Rule)


class DecisionRows:
    """The table of decisions while it is built, with what its rows compare."""

    def __init__(self, table: TableBuilder, assembly: Assembly, comparisons: Sequence[Comparison]) -> None:
        self.table, self.comparisons = table, comparisons
        limits = assembly.records.method.tolerance_limits
        self.limits: list[ToleranceLimit] = [limits[one.limit] for one in comparisons]
        self.at_limit = self.where(lambda one, limit: limit.uncertainty == "at the limit")
        self.comparable = self.where(lambda one, limit: one.reason == 0)
        present = next(name for name in NAMES.values() if any(getattr(limit, name) is not None for limit in limits))
        self.nothing = table.pick("nothing", LIMITS, present, np.full(len(comparisons), -1))
        """Stands in the cells of rows that have no such figure."""

    def where(self, told: Callable[[Comparison, ToleranceLimit], bool]) -> np.ndarray:
        return np.array(
            [told(one, limit) for one, limit in zip(self.comparisons, self.limits, strict=True)], dtype=bool
        )

    def rows(self, of: str, where: np.ndarray) -> Rows:
        """Rows of another table: `result`, `limit` or `function` of each comparison, -1 where it is not wanted."""
        numbers = np.array([getattr(one, of) for one in self.comparisons], dtype=np.int64)
        return np.where(where, numbers, -1)

    def of_result(self, name: str, column: str, where: np.ndarray) -> Symbol:
        return self.table.pick(name, RESULTS, column, self.rows("result", where))

    def of_limit(self, name: str, column: str, where: np.ndarray) -> Symbol:
        return self.table.pick(name, LIMITS, column, self.rows("limit", where))

    def of_function(self, name: str, column: str, where: np.ndarray) -> Symbol:
        return self.table.pick(name, FUNCTIONS, column, self.rows("function", where))

    def column(
        self,
        name: str,
        heading: str,
        ways: Sequence[tuple[np.ndarray, Operand]],
        clause: str = "",
        rank: int = 0,
    ) -> Symbol:
        """A formula whose ways hold for some rows each; where none does, the cell is empty and counts as zero."""
        way = np.zeros(len(self.comparisons), dtype=np.int64)
        for number, (where, _) in enumerate(ways, start=1):
            way[where] = number
        others = [expression for _, expression in ways]
        return self.table.formula(name, heading, "", self.nothing, clause, others, way, rank)


class Side:
    """Columns of one side; `present` says which rows have a limit on it."""

    def __init__(self, rows: DecisionRows, side: int) -> None:
        self._rows, self.side, self.name = rows, side, NAMES[side]
        self.present = rows.comparable & rows.where(lambda _, limit: getattr(limit, self.name) is not None)
        self._from_function = self.present & rows.at_limit

    @property
    def symbols(self) -> Callable[[str], Symbol]:
        return lambda column: Symbol(f"{self.name} {column}")

    def add_limits(self, dof: Operand) -> None:
        """From the tolerance limit to those of acceptance and rejection."""
        rows, present, name = self._rows, self.present, self.name
        own = present & ~rows.at_limit
        stated = rows.of_limit(f"{name} stated", name, present)
        limit = rows.column(f"{name} limit", f"{name} limit", [(present, Symbol("factor") * stated)], "JCGM 106, 3.3.4")
        ways: list[tuple[np.ndarray, Operand]] = [(own, rows.of_result(f"{name} u of the result", STANDARD, own))]
        wide: list[tuple[np.ndarray, Operand]] = [(own, rows.of_result(f"{name} U of the result", EXPANDED, own))]
        u_column = f"{name} u"
        if self._from_function.any():
            ways.append((self._from_function, self._at_limit(limit, self._from_function)))
            k = rows.of_function(f"{name} k", K, self._from_function)
            wide.append((self._from_function, k * Symbol(u_column)))
        u = rows.column(u_column, f"u, {name} limit", ways)
        expanded = rows.column(f"{name} U", f"U, {name} limit", wide)
        guard = self._guard(u, expanded, dof)
        for bound, heading, equation in (
            ("acceptance", "acceptance limit", equations.acceptance_limit),
            ("rejection", "rejection limit", equations.rejection_limit),
        ):
            by_rule: list[tuple[np.ndarray, Operand]] = [
                (where, equation(self.side, rule, limit, guard)) for rule, where in self._by_rule()
            ]
            rows.column(f"{name} {bound}", f"{heading}, {name}", by_rule, "JCGM 106, 8; ILAC-G8, 4.2")

    def add_decision(self, value: Symbol, dof: Operand, prior: np.ndarray) -> None:
        """Code of the decision, probability beyond the limit, and marks of what stands against a statement."""
        rows, name, column = self._rows, self.name, self.symbols
        limit, u = column("limit"), column("u")
        codes: list[tuple[np.ndarray, Operand]] = [
            (
                where,
                equations.side_code(
                    self.side, rule, value, limit, column("w"), column("acceptance"), column("rejection")
                ),
            )
            for rule, where in self._by_rule()
        ]
        rows.column(f"{name} code", f"code, {name} limit", codes, rank=DETAIL)
        tails: list[tuple[np.ndarray, Operand]] = [
            (self.present & ~prior, equations.tail(self.side, value, limit, u, dof))
        ]
        if (self.present & prior).any():
            here = self.present & prior
            mean, sd = (rows.of_limit(f"{name} {part}", part, here) for part in ("prior mean", "prior sd"))
            own = equations.prior_weight(u, Symbol("factor") * sd)
            weight = rows.column(f"{name} weight", "weight of the measurement", [(here, own)], "JCGM 106, 7.1", DETAIL)
            expected = equations.posterior_value(value, Symbol("factor") * mean, weight)
            tails.append((here, equations.tail(self.side, expected, limit, equations.posterior_u(u, weight), dof)))
        rows.column(f"{name} tail", f"probability beyond the {name} limit", tails, "JCGM 106, 7.3")
        missing: Expression = apply("if_less", 0, u, 0, 1)
        rows.column(f"{name} without u", f"no u, {name} limit (1 = so)", [(self.present, missing)], rank=DETAIL)
        if self._from_function.any():
            outside = outside_range(rows, name, limit, self._from_function)
            heading = f"level function does not hold, {name} limit (1 = so)"
            rows.column(f"{name} outside", heading, [(self._from_function, outside)], rank=DETAIL)

    @property
    def from_function(self) -> bool:
        return bool(self._from_function.any())

    def _at_limit(self, limit: Symbol, where: np.ndarray) -> Expression:
        parts = [self._rows.of_function(f"{self.name} {part}", part, where) for part in (CONSTANT, RELATIVE)]
        return equations.u_at(limit, *parts)

    def _guard(self, u: Symbol, expanded: Symbol, dof: Operand) -> Symbol:
        rows, name = self._rows, self.name
        by_multiple = self.present & rows.where(lambda _, limit: limit.guard_multiple is not None)
        by_risk = self.present & rows.where(lambda _, limit: limit.guard_risk is not None)
        ways: list[tuple[np.ndarray, Operand]] = []
        if by_multiple.any():
            multiple = rows.of_limit(f"{name} multiple", "guard multiple", by_multiple)
            ways.append((by_multiple, multiple * expanded))
        if by_risk.any():
            ways.append((by_risk, equations.guard_of_risk(u, Symbol(CENTRAL), dof)))
        return rows.column(f"{name} w", f"guard band w, {name}", ways, "JCGM 106, 8.3")

    def _by_rule(self) -> list[tuple[str, np.ndarray]]:
        """The rules in use, each with its rows."""
        rules = np.array([limit.rule for limit in self._rows.limits])
        found = [(rule, self.present & (rules == rule)) for rule in RULES]
        return [(rule, where) for rule, where in found if where.any()]


def outside_range(rows: DecisionRows, name: str, limit: Symbol, where: np.ndarray) -> Expression:
    """1 where the level function does not hold at a limit; the ends of its range are within."""
    low, high, usable = (rows.of_function(f"{name} {part}", part, where) for part in (LOWEST, HIGHEST, USABLE))
    tie = TIE * apply("abs", limit)
    above = apply("if_less", high + tie, limit, 1, 0)
    return apply("if_less", usable, 0.5, 1, apply("if_less", limit + tie, low, 1, above))
