"""Law of propagation of uncertainty, as columns of the graph (GUM 5.1.2 eq. 10, 5.2.2 eqs 13 and 16).

Partial derivatives, sensitivity coefficients and contributions are formula columns like any other: numbers and cells
come from the same expressions. Each table gets the local partials of its own equations; a sensitivity coefficient is
the product of the partials along a path, summed over paths that end in the same input quantity.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ubudget.evaluation.fit_paths import implicit_paths
from ubudget.evaluation.gathering import gathered
from ubudget.evaluation.paths import Draft, Path, first_present, leaf_at, taken
from ubudget.quantity.derivative import NoDerivative, derivative, tidy
from ubudget.quantity.expression import ONE, ZERO, Expression, Number, Symbol, apply
from ubudget.quantity.graph import Formula, Given, Graph, Label, Pick, Reference, Rows, Table


@dataclass(frozen=True, eq=False)
class Slot:
    """One input quantity of every result: a column of sensitivity coefficients and one of contributions c u(x)."""

    table: str
    column: str
    rows: Rows
    """Row of the leaf for each result; -1 = this result has none."""
    members: Rows
    estimates: Rows
    sensitivity: str
    contribution: str
    symbol: str
    group: str


@dataclass(frozen=True, eq=False)
class CovarianceSlot:
    """A declared correlation between two slots: column of 2 c_a c_b u(a) u(b) r (GUM eq. 16)."""

    a: int
    b: int
    rows: Rows
    """Row of the declared coefficient for each result; -1 = none declared for its quantities."""
    contribution: str


@dataclass(frozen=True, eq=False)
class Propagated:
    """The graph with its partials, sensitivities and contributions, and the slots of the results."""

    graph: Graph
    table: str
    column: str
    slots: tuple[Slot, ...]
    covariances: tuple[CovarianceSlot, ...]


@dataclass(frozen=True)
class Beforehand:
    """A column that is propagated before the results, and what is made of its contributions."""

    table: str
    column: str
    add: Callable[[Draft, str, list[Slot], list[CovarianceSlot]], None]


def propagate(
    graph: Graph, table: str, column: str, *, gather: bool = False, beforehand: Sequence[Beforehand] = ()
) -> Propagated:
    """Adds to the graph all that the combined standard uncertainty of `column` needs, except the sum itself.

    `gather`: the rows of the table come from several tables, whose input quantities of one kind share a slot.
    Raises `NoDerivative` where an input quantity passes through an operation without partials."""
    draft = Draft(graph)
    for one in beforehand:
        own = _slots(draft, one.table, _paths(draft, one.table, one.column))
        one.add(draft, one.table, own, _covariances(draft, one.table, own))
    paths = _paths(draft, table, column)
    if gather:
        paths = _gathered(draft, table, paths)
    slots = _slots(draft, table, paths)
    covariances = _covariances(draft, table, slots)
    return Propagated(draft.finished(), table, column, tuple(slots), tuple(covariances))


def _paths(draft: Draft, table: str, column: str) -> list[Path]:
    key = (table, column)
    if key not in draft.paths:
        draft.paths[key] = _follow(draft, draft.graph.tables[table], column)
    return draft.paths[key]


def _follow(draft: Draft, home: Table, name: str) -> list[Path]:
    if name in home.frozen:
        return []
    by_points = implicit_paths(draft, home, name, _shown_paths) if name in home.implicit else []
    if name in home.leaf_of:
        rows = np.where(home.leaf_of[name].members >= 0, np.arange(home.size), -1)
        return [Path((home.name, name), rows, ONE), *by_points]
    column = home.by_name[name]
    if isinstance(column, (Given, Label)) or name in home.implicit:
        return by_points
    found: dict[tuple[tuple[str, str], bytes], Path] = {}
    for symbol in dict.fromkeys(symbol for way in column.expressions for symbol in way.symbols):
        onward = _onward(draft, home, symbol)
        if not onward:
            continue
        partial = _local_partial(draft, home, column, symbol)
        for path in onward:
            step = replace(path, sensitivity=tidy(partial * path.sensitivity))
            if step.sensitivity == ZERO:
                continue
            key = (path.leaf, path.rows.tobytes())
            if key in found:
                step = replace(step, sensitivity=tidy(found[key].sensitivity + step.sensitivity))
            found[key] = step
    return list(found.values())


def _onward(draft: Draft, home: Table, symbol: str) -> list[Path]:
    """Paths that begin with a symbol of a formula, in the names of the table where the formula stands."""
    reference = home.references.get(symbol)
    if reference is None:
        return _paths(draft, home.name, symbol)
    beyond = _shown_paths(draft, reference.table, reference.column)
    if not isinstance(reference, Pick):
        if beyond:
            raise NoDerivative(f"{symbol} in {home.name}: a total over input quantities")
        return []
    picked = [_picked(draft, home, symbol, reference, path) for path in beyond]
    return [path for path in picked if (path.rows >= 0).any()]


def _picked(draft: Draft, home: Table, symbol: str, pick: Pick, path: Path) -> Path:
    rows = np.where(pick.rows >= 0, path.rows[pick.rows], -1) if path.rows.size else np.full(home.size, -1)
    sensitivity = path.sensitivity
    if isinstance(sensitivity, Symbol):
        local = Pick(pick.table, sensitivity.name, pick.rows, 0.0)
        sensitivity = draft.add_reference(home.name, f"{symbol}: {sensitivity.name}", local)
    return Path(path.leaf, rows, sensitivity)


def _local_partial(draft: Draft, home: Table, column: Formula, symbol: str) -> Expression:
    partial, *others = (derivative(way, symbol) for way in column.expressions)
    if isinstance(partial, (Number, Symbol)) and all(other == partial for other in others):
        return partial
    return draft.add_column(
        home.name,
        Formula(
            f"∂{column.name}/∂{symbol}",
            f"∂{column.name}/∂{symbol}",
            "",
            partial,
            "partial derivative, GUM 5.1.3",
            tuple(others),
            column.way,
        ),
    )


def _shown_paths(draft: Draft, table: str, column: str) -> list[Path]:
    """The paths of a column, each sensitivity a number or a column of its table, so that other tables can pick it."""
    paths = _paths(draft, table, column)
    draft.paths[(table, column)] = [_shown(draft, draft.graph.tables[table], column, path) for path in paths]
    return draft.paths[(table, column)]


def _shown(draft: Draft, home: Table, name: str, path: Path) -> Path:
    added = draft.columns.setdefault(home.name, {})
    if isinstance(path.sensitivity, Number):
        return path
    if isinstance(path.sensitivity, Symbol) and (
        path.sensitivity.name in home.by_name or path.sensitivity.name in added
    ):
        return path
    trait = leaf_at(draft.graph, path.leaf).traits[first_present(path.rows)]
    label = _unused(f"c({name}; {trait.symbol})", added)
    formula = Formula(label, label, "", path.sensitivity, "sensitivity coefficient, GUM 5.1.3")
    return replace(path, sensitivity=draft.add_column(home.name, formula))


def _gathered(draft: Draft, table: str, paths: list[Path]) -> list[Path]:
    home = draft.graph.tables[table]

    def reference_of(symbol: str) -> Reference | None:
        return home.references.get(symbol) or draft.references.get(table, {}).get(symbol)

    return gathered(
        paths, reference_of, lambda path, where, number: _masked(draft, home, path, where, number, "of part")
    )


def _slots(draft: Draft, table: str, paths: list[Path]) -> list[Slot]:
    """One slot a path; where two paths of a row end in the same physical deviation, the later joins the earlier."""
    home = draft.graph.tables[table]
    members = [taken(leaf_at(draft.graph, path.leaf).members, path.rows) for path in paths]
    kept = [member >= 0 for member in members]
    joins: dict[int, list[tuple[int, np.ndarray]]] = {}
    spans = [_span(member) for member in members]
    for later in range(len(paths)):
        for earlier in range(later):
            if spans[earlier][1] < spans[later][0] or spans[later][1] < spans[earlier][0]:
                continue
            same = kept[earlier] & kept[later] & (members[earlier] == members[later])
            if same.any():
                joins.setdefault(earlier, []).append((later, same))
                kept[later] = kept[later] & ~same
    slots: list[Slot] = []
    for number, path in enumerate(paths):
        if not kept[number].any():
            continue
        whole = bool((kept[number] == (path.rows >= 0)).all())
        sensitivity = path.sensitivity if whole else _masked(draft, home, path, kept[number], number)
        for later, same in joins.get(number, []):
            sensitivity = sensitivity + _masked(draft, home, paths[later], same, later)
        rows = np.where(kept[number], path.rows, -1)
        slots.append(_slot(draft, home, path.leaf, rows, tidy(sensitivity)))
    # Contributions stand side by side, so that a sheet can sum their squares over one range.
    for slot in slots:
        product = Symbol(slot.sensitivity) * Symbol(f"u({slot.symbol})")
        clause = "contribution, GUM 5.1.3"
        draft.add_column(home.name, Formula(slot.contribution, slot.contribution, "", product, clause))
    return slots


def _span(members: Rows) -> tuple[int, int]:
    """The smallest and the largest number of the deviations of a path; paths that do not overlap share none."""
    present = members[members >= 0]
    return (int(present.min()), int(present.max())) if present.size else (-1, -1)


def _masked(draft: Draft, home: Table, path: Path, where: np.ndarray, number: int, word: str = "on way") -> Expression:
    """A sensitivity in some rows only; elsewhere the exact 0."""
    symbol = leaf_at(draft.graph, path.leaf).traits[first_present(path.rows)].symbol
    label = f"c({symbol}) {word} {number + 1}"
    draft.add_column(home.name, Formula(label, label, "", path.sensitivity, "sensitivity coefficient, GUM 5.1.3"))
    pick = Pick(home.name, label, np.where(where, np.arange(home.size), -1), 0.0)
    return draft.add_reference(home.name, f"{label} where {_mask_name(where)}", pick)


def _mask_name(where: np.ndarray) -> str:
    return np.packbits(where).tobytes().hex()


def _slot(draft: Draft, home: Table, leaf_key: tuple[str, str], rows: Rows, c: Expression) -> Slot:
    leaf = leaf_at(draft.graph, leaf_key)
    trait = leaf.traits[first_present(rows)]
    symbol = _unused(trait.symbol, {slot[2:-1] for slot in draft.columns.get(home.name, {})})
    coefficient = draft.add_column(
        home.name, Formula(f"c({symbol})", f"c({symbol})", "", c, "sensitivity coefficient, GUM 5.1.3")
    )
    draft.add_reference(home.name, f"u({symbol})", Pick(leaf_key[0], leaf.u, rows, 0.0))
    return Slot(
        leaf_key[0],
        leaf_key[1],
        rows,
        taken(leaf.members, rows),
        taken(leaf.estimates, rows),
        coefficient.name,
        f"c·u({symbol})",
        symbol,
        trait.group,
    )


def _unused(name: str, taken: Container[str]) -> str:
    candidate, turn = name, 1
    while candidate in taken:
        turn += 1
        candidate = f"{name} ({turn})"
    return candidate


def _covariances(draft: Draft, table: str, slots: list[Slot]) -> list[CovarianceSlot]:
    found = []
    for (a, b, home, column), rows in _declared(draft.graph, table, slots).items():
        label = _unused(f"cov({slots[a].symbol}, {slots[b].symbol})", draft.columns.get(table, {}))
        r = draft.add_reference(table, f"r of {label}", Pick(home, column, rows, 0.0))
        product = apply("multiply", 2, Symbol(slots[a].contribution)) * Symbol(slots[b].contribution) * r
        draft.add_column(table, Formula(label, label, "", product, "covariance term, GUM 5.2.2 eq. 16"))
        found.append(CovarianceSlot(a, b, rows, label))
    return found


def _declared(graph: Graph, table: str, slots: list[Slot]) -> dict[tuple[int, int, str, str], Rows]:
    """Row of the coefficient for each result, by pair of slots and column of coefficients.

    One slot may hold different quantities in different results, e.g. a recovery by element."""
    declared: dict[tuple[int, int, str, str], Rows] = {}
    for joint in graph.joints:
        for a in _slots_of(slots, joint.a):
            for b in _slots_of(slots, joint.b):
                both = (slots[a].rows == joint.a[2]) & (slots[b].rows == joint.b[2])
                if both.any():
                    key = (min(a, b), max(a, b), joint.table, joint.column)
                    none = np.full(graph.tables[table].size, -1)
                    declared[key] = np.where(both, joint.row, declared.get(key, none))
    return declared


def _slots_of(slots: list[Slot], leaf: tuple[str, str, int]) -> list[int]:
    return [
        number
        for number, slot in enumerate(slots)
        if (slot.table, slot.column) == leaf[:2] and (slot.rows == leaf[2]).any()
    ]
