"""Uncertainty of the standards carried through a fit: exact, by implicit differentiation, item by item.

dp/dl = sum over points of (dp/dx_i)(dx_i/dl), and of (dp/dy_i)(dy_i/dl) where ordinates are corrected by volumes. Where
all points of a fit rest on one and the same deviation (a stock, one pipette) that is one sum; where they rest on
several (each flask its own) there is one sum for each.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ubudget.evaluation.paths import Draft, Path, first_present, leaf_at, taken
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import (
    PROPAGATION,
    Formula,
    Given,
    Implicit,
    Label,
    Pick,
    Rows,
    Span,
    Table,
)

BY_ITEM = " by item: "
"""Stands in the names of tables that hold one sum for each fit and item, behind the name of the fits' own table."""
PathsOf = Callable[[Draft, str, str], list[Path]]


def implicit_paths(draft: Draft, home: Table, parameter: str, paths_of: PathsOf) -> list[Path]:
    """Paths of a fitted parameter through the uncertain coordinates of its points."""
    return [
        path
        for implicit in home.implicit[parameter]
        for path in _by_coordinate(draft, home, parameter, implicit, paths_of)
    ]


def _by_coordinate(draft: Draft, home: Table, parameter: str, implicit: Implicit, paths_of: PathsOf) -> list[Path]:
    found: list[Path] = []
    seen: list[str] = []
    for path in paths_of(draft, implicit.points, implicit.coordinate):
        # One quantity may enter by several ways: a pipette used for the standard and for the one it was made from.
        symbol = leaf_at(draft.graph, path.leaf).traits[first_present(path.rows)].symbol
        seen.append(symbol)
        name = symbol if implicit.coordinate == "x" else f"{symbol} by {implicit.coordinate}"
        name += f", way {seen.count(symbol)}" if seen.count(symbol) > 1 else ""
        members = taken(leaf_at(draft.graph, path.leaf).members, path.rows)
        distinct = [
            list(dict.fromkeys(int(member) for member in members[start:stop] if member >= 0))
            for start, stop in zip(implicit.start, implicit.stop, strict=True)
        ]
        product = _product(draft, implicit, path, name, members)
        most = max((len(items) for items in distinct), default=0)
        if most == 1:
            found.append(_one_item(draft, home, parameter, implicit, path, name, product))
        elif most > 1:
            found += _several_items(draft, home, parameter, implicit, path, name, product, members, distinct)
    return found


def _product(draft: Draft, implicit: Implicit, path: Path, quantity: str, members: Rows) -> str:
    """Column of the points: (dp/dx_i)(dx_i/dl) or (dp/dy_i)(dy_i/dl), 0 where a point does not rest on the quantity."""
    name = f"{implicit.gradient}·∂{implicit.coordinate}/∂{quantity}"
    sensitivity: Expression = path.sensitivity
    if isinstance(sensitivity, Number) and (members < 0).any():
        present = np.where(members >= 0, np.arange(members.size), -1)
        draft.add_column(implicit.points, Formula(f"one of {name}", "1", "", sensitivity))
        pick = Pick(implicit.points, f"one of {name}", present, 0.0)
        sensitivity = draft.add_reference(implicit.points, f"present {name}", pick)
    draft.add_column(implicit.points, Formula(name, name, "", Symbol(implicit.gradient) * sensitivity))
    return name


def _one_item(
    draft: Draft, home: Table, parameter: str, implicit: Implicit, path: Path, quantity: str, product: str
) -> Path:
    span = Span(implicit.points, product, implicit.start, implicit.stop)
    total = apply("total", draft.add_reference(home.name, f"all {product} for {parameter}", span))
    label = f"c({parameter}; {quantity})"
    clause = "implicit differentiation of the fit, GUM 5.1.3"
    draft.add_column(home.name, Formula(label, label, "", total, clause))
    rows = np.array(
        [_first_row(path.rows[start:stop]) for start, stop in zip(implicit.start, implicit.stop, strict=True)],
        dtype=np.int64,
    )
    return Path(path.leaf, rows, Symbol(label))


def _first_row(rows: Rows) -> int:
    present = rows[rows >= 0]
    return int(present[0]) if present.size else -1


def _several_items(
    draft: Draft,
    home: Table,
    parameter: str,
    implicit: Implicit,
    path: Path,
    symbol: str,
    product: str,
    members: Rows,
    distinct: list[list[int]],
) -> list[Path]:
    key = f"item of {symbol}"
    numbers = np.zeros(members.size)
    rows_of_item: list[list[int]] = []
    for fit, (start, stop) in enumerate(zip(implicit.start, implicit.stop, strict=True)):
        rows_of_item.append([])
        for number, member in enumerate(distinct[fit], start=1):
            where = start + np.flatnonzero(members[start:stop] == member)
            numbers[where] = number
            rows_of_item[-1].append(int(path.rows[where[0]]))
    draft.add_column(implicit.points, Given(key, key, "", numbers, (None,) * members.size))
    name = f"{home.name}{BY_ITEM}{symbol}"
    fits = [fit for fit, items in enumerate(distinct) for _ in items]
    draft.add_table(_items_table(draft, home, name, symbol, path, fits, rows_of_item))
    start, stop = implicit.start[fits], implicit.stop[fits]
    keys = draft.add_reference(name, "all items", Span(implicit.points, key, start, stop))
    values = draft.add_reference(name, f"all {product}", Span(implicit.points, product, start, stop))
    label = f"c({parameter}; item)"
    clause = "implicit differentiation of the fit, GUM 5.1.3"
    draft.add_column(name, Formula(label, label, "", apply("total_where", keys, Symbol("number"), values), clause))
    first = np.cumsum([0] + [len(items) for items in distinct])[:-1]
    paths = []
    for turn in range(max(len(items) for items in distinct)):
        has = np.array([turn < len(items) for items in distinct])
        item_rows = np.where(has, first + turn, -1)
        leaf_rows = np.array([rows[turn] if turn < len(rows) else -1 for rows in rows_of_item], dtype=np.int64)
        shown = f"c({parameter}; {symbol}, item {turn + 1})"
        pick = draft.add_reference(home.name, f"{shown} by item", Pick(name, label, item_rows, 0.0))
        draft.add_column(home.name, Formula(shown, shown, "", pick))
        paths.append(Path(path.leaf, leaf_rows, Symbol(shown)))
    return paths


def _items_table(
    draft: Draft,
    home: Table,
    name: str,
    symbol: str,
    path: Path,
    fits: list[int],
    rows_of_item: list[list[int]],
) -> Table:
    """One row for each fit and item: which item, and the numbers by which the points name it."""
    traits = leaf_at(draft.graph, path.leaf).traits
    names = zip(
        *(home.texts(label) for label in ("solution", "analyte", "line", "block") if label in home.by_name), strict=True
    )
    fit_names = [" ".join(parts).strip() for parts in names]
    items = [row for rows in rows_of_item for row in rows]
    numbers = np.array([number for rows in rows_of_item for number in range(1, len(rows) + 1)], dtype=np.float64)
    columns = (
        Label("fit", "fitted line", tuple(fit_names[fit] for fit in fits)),
        Label("item", "item", tuple(traits[row].source for row in items)),
        Given("number", "item number", "", numbers, (None,) * len(items), PROPAGATION),
    )
    return Table(name, f"{home.title}, {symbol}: share of each item", len(items), columns)
