"""The table of stated input quantities: estimate, what was stated, divisor, standard uncertainty (GUM 4.2, 4.3)."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Place, Trait
from ubudget.quantity.units import UnitError, convert
from ubudget.records.amount import Amount
from ubudget.records.records import Role
from ubudget.records.stated import Stated

TABLE = "inputs"


@dataclass(frozen=True)
class Entry:
    """One row. `estimate` None = the estimates stand elsewhere (a column of the samples table); then `u` here is
    the standard uncertainty itself, or relative in per cent."""

    symbol: str
    applies: str
    quantity: str
    group: str
    unit: str
    stated: Stated
    estimate: Amount | None
    path: tuple[str | int, ...]
    """Path of the table in the method file that states it."""
    estimate_key: str = "estimate"
    """Key of the estimate there; empty where the method does not state it (a deviation with estimate zero)."""
    member: Hashable = None
    """Key of the physical deviation where other rows are the same one."""
    figure_key: str = ""
    """Key of the stated figure where it is not named after the way of stating (a temperature's half_range)."""
    exact: bool = False
    """A number taken as exact, which is no input quantity of the budget."""
    document: Role = "method"
    """Where `path` stands."""

    def place(self, *keys: str | int, unit: str = "") -> Place:
        return Place(self.document, (*self.path, *keys), unit)

    def place_of(self, amount: Amount | None, *keys: str | int) -> Place:
        """Place of an amount that its cell shows in the unit of the quantity: a plain number written as `999.5 mg/g` in
        1, so that it is not taken back in mg/g."""
        return self.place(*keys, unit=self.unit or ("1" if amount is not None and amount.unit else ""))


def is_relative(entry: Entry) -> bool:
    """Whether the figure is a percentage of the estimate: `%`, unless the quantity itself is in per cent."""
    figure = _figure(entry.stated)
    return figure is not None and figure.relative and entry.unit != "%"


def build_inputs(context: Context, entries: list[Entry]) -> None:
    """Tables `observations` and `inputs`; every row is a leaf (exact ones with u = 0)."""
    starts, stops = _observations(context, entries)
    table = TableBuilder(TABLE, "Input quantities of the method", len(entries), context.shared)
    table.label("symbol", "symbol", [entry.symbol for entry in entries])
    table.label("quantity", "quantity", [entry.quantity for entry in entries])
    table.label("applies", "applies to", [entry.applies for entry in entries])
    table.label("unit", "unit", [entry.unit or "1" for entry in entries])
    estimate = _estimate(context, table, entries, starts, stops)
    figures = [
        context.in_unit(
            _figure(entry.stated),
            "%" if is_relative(entry) else entry.unit,
            entry.document,
            f"symbol {entry.symbol}, {_figure_key(entry.stated)}",
        )
        for entry in entries
    ]
    table.label("stated as", "stated as", [_wording(entry) for entry in entries])
    figure = table.given(
        "stated", "stated figure", "", nan_where_none(figures), [_figure_place(entry) for entry in entries]
    )
    table.label("stated in", "unit of the stated figure", [_stated_in(entry) for entry in entries])
    k = table.given(
        "k",
        "k stated",
        "",
        nan_where_none([entry.stated.k for entry in entries]),
        [entry.place("k") if entry.stated.k else None for entry in entries],
    )
    divided = _divisor(table, entries, k, _inexactness(context, table, entries, figure))
    _uncertainty(table, entries, figure, divided, estimate)
    _dof(table, entries, starts, stops)
    table.label("source", "source", [entry.stated.source for entry in entries])
    table.leaf(
        "estimate",
        "u",
        [_trait(entry) for entry in entries],
        dof="dof",
        members=[
            None if entry.exact else (TABLE, row) if entry.member is None else entry.member
            for row, entry in enumerate(entries)
        ],
    )
    context.tables[TABLE] = table.build()


def _figure(stated: Stated) -> Amount | None:
    return stated.u or stated.U or stated.half_width or stated.rounded_to or stated.pooled_s


def _figure_key(stated: Stated) -> str:
    for key in ("u", "U", "half_width", "rounded_to", "pooled_s"):
        if getattr(stated, key) is not None:
            return key
    return ""


def _stated_in(entry: Entry) -> str:
    """Unit of the stated figure; that of u as well where no estimate stands in the row."""
    if _figure(entry.stated) is None:
        return ""
    return "%" if is_relative(entry) else entry.unit or "1"


def _figure_place(entry: Entry) -> Place | None:
    key = entry.figure_key or _figure_key(entry.stated)
    if not key:
        return None
    return entry.place(key, unit="%") if is_relative(entry) else entry.place_of(_figure(entry.stated), key)


def _wording(entry: Entry) -> str:
    stated = entry.stated
    relative = " in % of the estimate" if is_relative(entry) else ""
    if stated.readings is not None:
        return f"{len(stated.readings)} readings" + (", pooled s" if stated.pooled_s else "")
    if stated.rounded_to is not None:
        return f"last place{relative}, rounded before"
    if stated.half_width is not None:
        return f"half-width{relative}, {stated.distribution}"
    if stated.U is not None:
        level = f"k = {stated.k:g}" if stated.k else f"at {100 * (stated.confidence or 0):g} %"
        return f"expanded uncertainty{relative}, {level}"
    if stated.u is not None:
        return f"standard uncertainty{relative}"
    return "exact"


def _observations(context: Context, entries: list[Entry]) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the observations table that belong to each entry (GUM 4.2.1)."""
    counts = np.array([len(entry.stated.readings or ()) for entry in entries], dtype=np.int64)
    stops = np.cumsum(counts)
    if counts.sum():
        flat = [
            (entry, number, reading) for entry in entries for number, reading in enumerate(entry.stated.readings or ())
        ]
        table = TableBuilder("observations", "Repeated observations", len(flat), context.shared)
        table.label("symbol", "symbol", [entry.symbol for entry, _, _ in flat])
        values = [
            context.in_unit(reading, entry.unit, entry.document, f"symbol {entry.symbol}, reading {number + 1}")
            for entry, number, reading in flat
        ]
        places = [entry.place_of(reading, "readings", number) for entry, number, reading in flat]
        observed = table.given("value", "observation", "", nan_where_none(values), places)
        owner = np.repeat(np.arange(len(entries)), counts)
        mean = table.pick("mean", TABLE, "mean", owner)
        table.formula("deviation", "deviation from the mean", "", observed - mean)
        context.tables["observations"] = table.build()
    return stops - counts, stops


def _estimate(
    context: Context, table: TableBuilder, entries: list[Entry], starts: np.ndarray, stops: np.ndarray
) -> Symbol:
    values = [
        context.in_unit(entry.estimate, entry.unit, entry.document, f"symbol {entry.symbol}, estimate")
        for entry in entries
    ]
    places = [
        entry.place_of(entry.estimate, entry.estimate_key)
        if entry.estimate is not None and entry.estimate_key
        else None
        for entry in entries
    ]
    observed = np.array([entry.stated.readings is not None for entry in entries])
    if not observed.any():
        return table.given("estimate", "estimate", "", nan_where_none(values), places)
    stated = table.given(
        "stated estimate",
        "estimate stated",
        "",
        np.where(observed, np.nan, nan_where_none(values)),
        places,
    )
    readings = table.span("readings", "observations", "value", starts, stops)
    deviations = table.span("deviations", "observations", "deviation", starts, stops)
    n = table.given("n", "number of readings n", "", np.where(observed, stops - starts, np.nan))
    way = np.where(observed, 1, 0)
    mean = table.formula("mean", "mean", "", Number(0), "GUM 4.2.1 eq. 3", [apply("total", readings) / n], way)
    square = apply("total_product", deviations, deviations) / apply("larger", n - 1, 1)
    table.formula("s", "s of the readings", "", Number(0), "GUM 4.2.2 eq. 4", [apply("sqrt", square)], way)
    return table.formula("estimate", "estimate", "", stated, "", [mean], way)


def _inexactness(context: Context, table: TableBuilder, entries: list[Entry], figure: Symbol) -> Expression:
    """Inexactness of the limits over the half-width, where some entry states one (JCGM 101 6.4.3)."""
    if all(entry.stated.inexactness is None for entry in entries):
        return Number(0)
    values: list[float | None] = []
    places: list[Place | None] = []
    for entry in entries:
        unit, key = "%" if is_relative(entry) else entry.unit, f"symbol {entry.symbol}, inexactness"
        stated = entry.stated.inexactness
        values.append(context.in_unit(stated, unit, entry.document, key))
        shown = unit or ("1" if stated is not None and stated.unit else "")
        places.append(None if stated is None else entry.place("inexactness", unit=shown))
        if shape_parameter(entry.stated) > 1:
            accepted = "at most the half-width, by which the limits are known"
            context.find("stop", entry.document, key, "an inexactness above the half-width", accepted, "correct it")
    return table.given("inexactness", "inexactness of the limits", "", nan_where_none(values), places) / figure


def _divisor(table: TableBuilder, entries: list[Entry], k: Symbol, inexactness: Expression) -> Symbol:
    ways: list[Expression] = [Number(1)]
    way = []
    for entry in entries:
        expression = _divisor_of(entry.stated, k, inexactness)
        if expression not in ways:
            ways.append(expression)
        way.append(ways.index(expression))
    return table.formula(
        "divisor", "divisor", "", ways[0], "GUM 4.3.3 to 4.3.9", ways[1:], np.array(way, dtype=np.int64)
    )


def _divisor_of(stated: Stated, k: Symbol, inexactness: Expression) -> Expression:
    if stated.rounded_to is not None:
        return 2 * divisor("rectangular")
    if stated.half_width is not None and stated.distribution is not None:
        return divisor(stated.distribution, inexactness if stated.inexactness else stated.top or 0.0)
    if stated.U is not None and stated.confidence is not None:
        return Number(float(f"{ndtri((1 + stated.confidence) / 2):.15g}"))
    if stated.U is not None:
        return k
    return Number(1)


def _uncertainty(table: TableBuilder, entries: list[Entry], figure: Symbol, divided: Symbol, estimate: Symbol) -> None:
    absolute: Operand = figure / divided
    relative = figure / 100 * apply("abs", estimate) / divided
    ways: list[Operand] = [Number(0), absolute, relative]
    if any(entry.stated.readings is not None for entry in entries):
        ways += [
            Symbol("s") / apply("sqrt", Symbol("n")),
            figure / apply("sqrt", Symbol("n")),
        ]
    way = []
    for entry in entries:
        if entry.stated.readings is not None:
            way.append(4 if entry.stated.pooled_s is not None else 3)
        elif _figure(entry.stated) is None:
            way.append(0)
        else:
            # Without an estimate here the figure stays in per cent; its users apply it to their own estimate.
            way.append(2 if is_relative(entry) and entry.estimate is not None else 1)
    table.formula("u", "standard uncertainty u", "", ways[0], "GUM 4.2.3, 4.3", ways[1:], np.array(way, dtype=np.int64))


def _dof(table: TableBuilder, entries: list[Entry], starts: np.ndarray, stops: np.ndarray) -> None:
    values: list[float] = []
    places: list[Place | None] = []
    reliabilities: list[float | None] = []
    way = []
    for entry in entries:
        stated = entry.stated
        given = stated.pooled_dof or stated.dof
        reliabilities.append(stated.reliability)
        values.append(given or INFINITE_DOF)
        key = "pooled_dof" if stated.pooled_dof else "dof"
        places.append(entry.place(key) if given else None)
        way.append(1 if stated.reliability else 2 if stated.readings is not None and not stated.pooled_s else 0)
    if not any(way):
        table.given("dof", "degrees of freedom", "", values, places)
        return
    stated_dof = table.given("stated dof", "degrees of freedom stated", "", values, places)
    reliability = table.given(
        "reliability",
        "relative uncertainty of u",
        "",
        nan_where_none(reliabilities),
        [entry.place("reliability") if entry.stated.reliability else None for entry in entries],
    )
    ways: list[Operand] = [1 / (2 * reliability**2)]
    if 2 in way:
        ways.append(Symbol("n") - 1)
    table.formula(
        "dof",
        "degrees of freedom",
        "",
        stated_dof,
        "GUM 4.2.6, G.4.2 eq. G.3",
        ways,
        np.array(way, dtype=np.int64),
    )


def _trait(entry: Entry) -> Trait:
    stated = entry.stated
    observed = stated.readings is not None
    evaluation = stated.evaluation or ("A" if observed else "B")
    if stated.limits is not None:
        distribution: str = stated.limits
    elif observed or stated.dof or stated.pooled_dof:
        distribution = "t"
    else:
        distribution = "normal"
    return Trait(
        entry.symbol,
        entry.quantity,
        entry.group,
        evaluation,
        distribution,
        stated.source,
        shape_parameter(stated),
        cited_items(stated),
    )


def shape_parameter(stated: Stated) -> float:
    """Shape of the distribution between limits, as draws need it: top over base, or inexactness over half-width."""
    if stated.inexactness is not None and stated.half_width is not None:
        try:
            return convert(stated.inexactness.value, stated.inexactness.unit, stated.half_width.unit) / (
                stated.half_width.value
            )
        except UnitError:
            return 0.0  # told where the figure is converted for its column
    return stated.top or 0.0


def cited_items(stated: Stated) -> tuple[str, ...]:
    """Register items that a statement cites."""
    return (stated.item,) if stated.item else ()
