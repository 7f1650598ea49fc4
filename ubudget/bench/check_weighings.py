"""Check weighings: readings of one weight give the repeatability (GUM 4.2), and with the weight's mass the error of
indication (EURAMET cg-18, 7.1.3). The weights are tables of their own: certificate, or error limit of their class.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.limits import Limits, limits_of, register_items
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Place
from ubudget.quantity.units import convert
from ubudget.records.amount import Amount
from ubudget.records.register import Equipment
from ubudget.records.weight_classes import SOURCE, maximum_permissible_error

CHECKS, WEIGHTS = "check weighings", "weights"
LEAST = 1e-30
"""Keeps a scatter of zero from dividing the degrees of freedom."""


@dataclass(frozen=True)
class CheckWeighings:
    """Readings of one weight on one balance; the weight may be unknown."""

    balance: Limits
    readings: tuple[Amount, ...]
    weight: Equipment | None


Checked = Sequence[tuple[int, CheckWeighings]]
"""Rows of the table of balances, with their check weighings."""


def build_check_weighings(context: Context, checked: Checked, balances: str, unit: str) -> dict[str, int]:
    """Tables `check weighings` and `weights`; gives the row of each weight."""
    flat = [(row, check, number) for row, check in checked for number in range(len(check.readings))]
    table = TableBuilder(CHECKS, "Check weighings", len(flat), context.shared)
    table.label("item", "balance", [check.balance.key for _, check, _ in flat])
    table.label("weight", "weight", [check.weight.id if check.weight else "" for _, check, _ in flat])
    values = [
        context.in_unit(
            check.readings[number], unit, check.balance.document, f"{check.balance.key}, check_weighings {number + 1}"
        )
        for _, check, number in flat
    ]
    places = [
        Place(check.balance.document, (*check.balance.path, "check_weighings", number), unit)
        for _, check, number in flat
    ]
    reading = table.given("reading", "reading", unit, [value or 0.0 for value in values], places)
    mean = table.pick("mean of the readings", balances, "check mean", [row for row, _, _ in flat])
    table.formula("deviation", "deviation from the mean", unit, reading - mean)
    context.tables[CHECKS] = table.build()
    return _build_weights(context, [check.weight.id for _, check in checked if check.weight is not None], unit)


def add_check_columns(table: TableBuilder, checked: Checked, weights: dict[str, int], unit: str) -> None:
    """Mean, s and error of indication, beside the limits of the balances.

    u² of the error is that of the weight, of the mean, and of the resolution at zero and at load (cg-18, 7.1); its
    degrees of freedom are those of Welch and Satterthwaite."""
    counts = np.zeros(table.size, dtype=np.int64)
    for row, check in checked:
        counts[row] = len(check.readings)
    start = np.cumsum(counts) - counts
    way = (counts > 0).astype(np.int64)
    readings = table.span("check readings", CHECKS, "reading", start, start + counts)
    deviations = table.span("check deviations", CHECKS, "deviation", start, start + counts)
    n = table.given("check n", "number of check weighings n", "", np.where(counts > 0, counts, np.nan))
    mean = table.formula(
        "check mean", "mean of the check weighings", unit, Number(0), "GUM 4.2.1", [apply("total", readings) / n], way
    )
    square = apply("total_product", deviations, deviations) / (n - 1)
    s = table.formula("check s", "s of the check weighings", unit, Number(0), "GUM 4.2.2", [apply("sqrt", square)], way)
    if not weights:
        return
    rows = np.full(table.size, -1)
    for row, check in checked:
        rows[row] = weights[check.weight.id] if check.weight is not None else -1
    way = (rows >= 0).astype(np.int64)
    mass = table.pick("mass of the check weight", WEIGHTS, "mass", rows)
    u_mass = table.pick("u of the check weight", WEIGHTS, "u", rows)
    table.formula("error", "error of indication", unit, Number(0), "EURAMET cg-18, 7.1.3", [mean - mass], way)
    at_zero = "u resolution at zero" if table.has("u resolution at zero") else "u resolution"
    of_mean: Expression = s / apply("sqrt", n)
    u = apply("sqrt", apply("sum_squares", u_mass, of_mean, Symbol("u resolution"), Symbol(at_zero)))
    u = table.formula("u error", "u of the error of indication", unit, Number(0), "EURAMET cg-18, 7.1.3", [u], way)
    dof = (n - 1) * (u**2 / apply("larger", s**2 / n, LEAST)) ** 2
    table.formula("dof error", "degrees of freedom of that u", "", INFINITE_DOF, "GUM G.4.1", [dof], way)


def _build_weights(context: Context, ids: Sequence[str], unit: str) -> dict[str, int]:
    """One row a weight: its mass, and u from the certificate, the stated tolerance or the class."""
    items = register_items(context)
    names = list(dict.fromkeys(ids))
    if not names:
        return {}
    used = [items[name] for name in names]
    known = [limits_of(context, item, number) for number, item in used]
    table = TableBuilder(WEIGHTS, "Weights of the check weighings", len(names), context.shared)
    table.label("item", "item", names)
    table.label("class", "class", [item.accuracy_class or "" for _, item in used])
    # The nominal mass chooses a row of the standard's table, and so does not change in a workbook.
    nominal = table.given(
        "nominal",
        "nominal mass",
        unit,
        [_in(context, item.nominal, unit, limits) for (_, item), limits in zip(used, known, strict=True)],
    )
    limit = [
        _in(context, item.tolerance, unit, limits) if item.tolerance else _class_error(context, item, unit)
        for (_, item), limits in zip(used, known, strict=True)
    ]
    tolerance = table.given(
        "limit",
        "error limit ±",
        unit,
        limit,
        [
            Place("register", (*limits.path, "tolerance"), unit) if item.tolerance else None
            for (_, item), limits in zip(used, known, strict=True)
        ],
    )
    values: dict[str, list[float]] = {"value": [], "U": [], "k": []}
    places: dict[str, list[Place | None]] = {"value": [], "U": [], "k": []}
    for limits in known:
        for key in values:
            figure = getattr(limits.certified, key, None)
            values[key].append(_in(context, figure, unit, limits) if isinstance(figure, Amount) else figure or np.nan)
            places[key].append(
                Place("register", (*limits.property_path, key), "" if key == "k" else unit) if figure else None
            )
    certified = table.given("certified", "certified mass", unit, values["value"], places["value"])
    U = table.given("U", "certificate U", unit, values["U"], places["U"])
    k = table.given("k", "k of the certificate", "", values["k"], places["k"])
    way = np.array([1 if limits.certified else 0 for limits in known])
    table.formula("mass", "mass", unit, nominal, "certified mass where there is one", [certified], way)
    table.formula(
        "u",
        "u of the mass",
        unit,
        tolerance / divisor("rectangular"),
        "U/k, or half-width/√3, GUM 4.3.3, 4.3.7",
        [U / k],
        way,
    )
    table.label(
        "source",
        "evidence",
        [
            limits.source if limits.certified or item.tolerance else f"class {item.accuracy_class}, {SOURCE}"
            for (_, item), limits in zip(used, known, strict=True)
        ],
    )
    context.tables[WEIGHTS] = table.build()
    return {name: row for row, name in enumerate(names)}


def _in(context: Context, amount: Amount | None, unit: str, limits: Limits) -> float:
    value = context.in_unit(amount, unit, "register", limits.key)
    return np.nan if value is None else value


def _class_error(context: Context, item: Equipment, unit: str) -> float:
    """Error limit of the class; NaN where a certificate stands in its place."""
    if not item.accuracy_class or item.nominal is None:
        return float("nan")
    return convert(maximum_permissible_error(item.nominal.text, item.accuracy_class), "mg", unit)
