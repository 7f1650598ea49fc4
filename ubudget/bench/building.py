"""Building one table of the graph, column by column."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from ubudget.quantity.derivative import tidy
from ubudget.quantity.expression import Operand, Symbol, as_expression
from ubudget.quantity.graph import (
    DETAIL,
    INFINITE_DOF,
    MAIN,
    Array,
    Column,
    Formula,
    Given,
    Implicit,
    Label,
    Leaf,
    Pick,
    Place,
    Reference,
    Rows,
    Span,
    Table,
    Trait,
)


@dataclass
class Identities:
    """Numbers for things that are the same exactly when their keys are equal."""

    _numbers: dict[Hashable, int] = field(default_factory=dict)

    @property
    def keys(self) -> tuple[Hashable, ...]:
        """The keys by their numbers."""
        return tuple(self._numbers)

    def number(self, key: Hashable) -> int:
        return self._numbers.setdefault(key, len(self._numbers))

    def numbers(self, keys: Sequence[Hashable | None]) -> Rows:
        """One number a key; -1 for None."""
        return np.array([-1 if key is None else self.number(key) for key in keys], dtype=np.int64)


@dataclass
class Shared:
    """What leaves of different tables share: physical deviations, and variance estimates."""

    deviations: Identities = field(default_factory=Identities)
    estimates: Identities = field(default_factory=Identities)


class TableBuilder:
    """Columns are added in reading order; every method gives the `Symbol` for formulas of the same table."""

    def __init__(self, name: str, title: str, size: int, shared: Shared) -> None:
        self.name, self.title, self.size, self._shared = name, title, size, shared
        self._columns: list[Column] = []
        self._references: dict[str, Reference] = {}
        self._leaves: list[Leaf] = []
        self._implicit: dict[str, tuple[Implicit, ...]] = {}
        self._frozen: set[str] = set()
        self._held: set[str] = set()

    @property
    def names(self) -> list[str]:
        return [column.name for column in self._columns]

    def has(self, name: str) -> bool:
        return any(column.name == name for column in self._columns)

    def label(
        self,
        name: str,
        heading: str,
        values: Sequence[str],
        places: Sequence[Place | None] = (),
        open: bool = False,
    ) -> None:
        self._columns.append(Label(name, heading, tuple(values), tuple(places), open))

    def given(
        self,
        name: str,
        heading: str,
        unit: str,
        values: npt.ArrayLike,
        places: Sequence[Place | None] = (),
        rank: int = MAIN,
    ) -> Symbol:
        numbers = np.broadcast_to(np.asarray(values, float), (self.size,))
        # What a cell holds and what the library uses must be the same number (a cell keeps 15 digits).
        array = np.array([float(f"{number:.15g}") for number in numbers], dtype=np.float64)
        self._columns.append(Given(name, heading, unit, array, tuple(places) or (None,) * self.size, rank))
        return Symbol(name)

    def formula(
        self,
        name: str,
        heading: str,
        unit: str,
        expression: Operand,
        clause: str = "",
        others: Sequence[Operand] = (),
        way: Rows | None = None,
        rank: int = MAIN,
    ) -> Symbol:
        ways = tuple(tidy(as_expression(other)) for other in others)
        self._columns.append(
            Formula(name, heading, unit, tidy(as_expression(expression)), clause, ways, way if ways else None, rank)
        )
        return Symbol(name)

    def pick(self, name: str, table: str, column: str, rows: Rows | Sequence[int], absent: float = 0.0) -> Symbol:
        self._references[name] = Pick(table, column, np.asarray(rows, dtype=np.int64), absent)
        return Symbol(name)

    def span(self, name: str, table: str, column: str, start: Rows, stop: Rows) -> Symbol:
        self._references[name] = Span(table, column, start, stop)
        return Symbol(name)

    def leaf(
        self,
        column: str,
        u: str,
        traits: Sequence[Trait],
        *,
        dof: str | None = None,
        members: Sequence[Hashable | None] | None = None,
        estimates: Sequence[Hashable | None] | None = None,
    ) -> None:
        """Marks a column as input quantities. Without `members` each row is a deviation of its own; without
        `estimates` each rests on a variance estimate of its own."""
        own = [(self.name, column, row) for row in range(self.size)]
        self._leaves.append(
            Leaf(
                column,
                u,
                dof,
                tuple(traits),
                self._shared.deviations.numbers(members if members is not None else own),
                self._shared.estimates.numbers(estimates if estimates is not None else [None] * self.size),
            )
        )

    def deviation(
        self,
        name: str,
        heading: str,
        unit: str,
        u: Operand,
        traits: Sequence[Trait],
        *,
        dof: str | None = None,
        members: Sequence[Hashable | None] | None = None,
        estimates: Sequence[Hashable | None] | None = None,
        clause: str = "",
        counts: Sequence[bool] | None = None,
    ) -> Symbol:
        """An input quantity with estimate zero and its standard uncertainty `u(name)`, zero in rows where it does not
        count."""
        self.given(name, heading, unit, np.zeros(self.size), rank=DETAIL)
        if counts is None or all(counts):
            self.formula(f"u({name})", f"u({heading})", unit, u, clause, rank=DETAIL)
        else:
            way = np.array(counts, dtype=np.int64)
            self.formula(f"u({name})", f"u({heading})", unit, 0, clause, [u], way, rank=DETAIL)
        self.leaf(name, f"u({name})", traits, dof=dof, members=members, estimates=estimates)
        return Symbol(name)

    def dof_where(self, name: str, dof: Operand, counts: Sequence[bool]) -> str:
        """Column of the degrees of freedom of an input quantity, infinite in rows where it does not count."""
        if all(counts):
            self.formula(name, name, "", dof, rank=DETAIL)
        else:
            way = np.array(counts, dtype=np.int64)
            self.formula(name, name, "", INFINITE_DOF, "", [dof], way, rank=DETAIL)
        return name

    def implicit(self, column: str, points: str, coordinate: str, gradient: str, start: Rows, stop: Rows) -> None:
        """Says how a fitted parameter depends on a coordinate of its points; once for each that is uncertain."""
        said = Implicit(points, coordinate, gradient, start, stop)
        self._implicit[column] = (*self._implicit.get(column, ()), said)

    def freeze(self, *columns: str) -> None:
        """Marks columns as constants of propagation."""
        self._frozen.update(columns)

    def hold(self, *columns: str) -> None:
        """Marks columns as constants of draws: each trial takes them at the estimates."""
        self._held.update(columns)

    def demote(self, *names: str) -> None:
        """Moves numbers behind what a reader looks for first; labels stay in front of their rows."""
        self._columns = [
            replace(column, rank=DETAIL)
            if column.name in names and column.rank == MAIN and not isinstance(column, Label)
            else column
            for column in self._columns
        ]

    def build(self) -> Table:
        return Table(
            self.name,
            self.title,
            self.size,
            tuple(self._columns),
            dict(self._references),
            tuple(self._leaves),
            dict(self._implicit),
            frozenset(self._frozen),
            frozenset(self._held),
        )


def nan_where_none(values: Sequence[float | None]) -> Array:
    """NaN for what the record does not give."""
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
