"""The one graph of a run: tables of named columns, whose leaves are input quantities.

A table has one row per thing (portion, curve, measured line …). A column is *given* by the records or is a *formula*
over columns of its own row, of a picked row of another table, or of a span of rows. A *leaf* marks a column as an input
quantity: estimate, standard uncertainty, degrees of freedom, distribution, and which physical deviation each row is.
Every rendering - numbers, cells, words, draws - reads these tables and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from ubudget.quantity.expression import Expression

Array = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]

INFINITE_DOF = 1e99
"""Degrees of freedom of an uncertainty taken as exactly known; a number, so that cells can hold it."""


@dataclass(frozen=True)
class Place:
    """Where a given number stands in the records: document, path of keys, unit in which the column shows it."""

    document: str
    path: tuple[str | int, ...]
    unit: str = ""


@dataclass(frozen=True, eq=False)
class Given:
    """Numbers of the records, shape (rows,), at most 15 significant digits; NaN = the record has none in this row.

    `places` knows their fields; a number without place is structure (a count, a mark) that a cell must not change."""

    name: str
    heading: str
    unit: str
    values: Array
    places: tuple[Place | None, ...]
    rank: int = 0


@dataclass(frozen=True, eq=False)
class Label:
    """Texts that name or explain rows."""

    name: str
    heading: str
    values: tuple[str, ...]
    places: tuple[Place | None, ...] = ()
    open: bool = False
    rank: int = 0


@dataclass(frozen=True, eq=False)
class Formula:
    """A calculated column. `clause` cites what it follows.

    Where rows are calculated in different ways, `others` holds the further expressions and `way` (rows,) says which
    one a row follows: 0 = `expression`, 1 = the first of `others`."""

    name: str
    heading: str
    unit: str
    expression: Expression
    clause: str = ""
    others: tuple[Expression, ...] = ()
    way: Rows | None = None
    rank: int = 0

    @property
    def expressions(self) -> tuple[Expression, ...]:
        return (self.expression, *self.others)


Column = Given | Label | Formula

MAIN, DETAIL, PROPAGATION = 0, 1, 2
"""Rank of a column: what a reader looks for first, the deviations behind it, and the propagation of uncertainty."""


@dataclass(frozen=True, eq=False)
class Pick:
    """A column of another table, one picked row for each row; -1 = none, read as the exact neutral value `absent`."""

    table: str
    column: str
    rows: Rows
    absent: float = 0.0

    @cached_property
    def has_absent(self) -> bool:
        """Whether some row picks none."""
        return bool((self.rows < 0).any())


@dataclass(frozen=True, eq=False)
class Span:
    """Rows `start` to `stop` (exclusive) of a column of another table, for each row: the argument of a total."""

    table: str
    column: str
    start: Rows
    stop: Rows


Reference = Pick | Span


@dataclass(frozen=True)
class Trait:
    """What an input quantity is, in words of the budget."""

    symbol: str
    quantity: str
    group: str
    evaluation: str
    """`A` (statistical) or `B` (GUM 2.3.2, 2.3.3)."""
    distribution: str
    source: str
    shape: float = 0.0
    """Top over base of a trapezoid; inexactness over half-width of a curvilinear one."""
    items: tuple[str, ...] = ()
    """Register items on which it rests."""


@dataclass(frozen=True, eq=False)
class Leaf:
    """A column of input quantities.

    `members` (rows,): equal numbers are the same physical deviation, wherever they occur; -1 = exact, no input
    quantity. `estimates` (rows,): equal numbers rest on the same variance estimate and share its degrees of freedom;
    -1 = on one of their own."""

    column: str
    u: str
    dof: str | None
    traits: tuple[Trait, ...]
    members: Rows
    estimates: Rows


@dataclass(frozen=True, eq=False)
class Implicit:
    """How a fitted parameter depends on a coordinate of its points, which its formula shows only as sums.

    Column `gradient` of the table `points` holds the derivative with respect to the column `coordinate` of each point
    (implicit differentiation of the fit); `start` and `stop` (rows,) are the points of each fit."""

    points: str
    coordinate: str
    gradient: str
    start: Rows
    stop: Rows


@dataclass(frozen=True, eq=False)
class Table:
    """Columns over the same rows. `references` names what other tables contribute to the formulas.

    `implicit` holds the fitted parameters, each with the coordinates that are uncertain; `frozen` columns are constants
    of propagation: a fit's basis, whose dependence on the points is part of the gradients already. `held` columns are
    constants of draws as well: what was decided (weights, choices), scales, and where an iteration starts."""

    name: str
    title: str
    size: int
    columns: tuple[Column, ...]
    references: Mapping[str, Reference] = field(default_factory=dict)
    leaves: tuple[Leaf, ...] = ()
    implicit: Mapping[str, tuple[Implicit, ...]] = field(default_factory=dict)
    frozen: frozenset[str] = frozenset()
    held: frozenset[str] = frozenset()

    @cached_property
    def by_name(self) -> dict[str, Column]:
        return {column.name: column for column in self.columns}

    def texts(self, name: str) -> tuple[str, ...]:
        """Values of a label column. Raises `KeyError` where it is none."""
        column = self.by_name[name]
        if not isinstance(column, Label):
            raise KeyError(f"{name} in {self.name} is no text")
        return column.values

    @cached_property
    def leaf_of(self) -> dict[str, Leaf]:
        return {leaf.column: leaf for leaf in self.leaves}

    def with_columns(self, columns: Sequence[Column], references: Mapping[str, Reference]) -> Table:
        """The table with more columns to its right."""
        return Table(
            self.name,
            self.title,
            self.size,
            (*self.columns, *columns),
            {**self.references, **references},
            self.leaves,
            self.implicit,
            self.frozen,
            self.held,
        )


@dataclass(frozen=True)
class Joint:
    """Correlation coefficient of the estimates of two leaves: (table, column, row) each, and where it stands."""

    a: tuple[str, str, int]
    b: tuple[str, str, int]
    table: str
    column: str
    row: int


@dataclass(frozen=True, eq=False)
class Graph:
    """The tables of a run by name, in the order a datum travels, and the declared correlations."""

    tables: Mapping[str, Table]
    joints: tuple[Joint, ...] = ()

    def with_table(self, table: Table) -> Graph:
        """The graph with a table replaced or added."""
        return Graph({**self.tables, table.name: table}, self.joints)
