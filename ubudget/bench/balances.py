"""Balances as the run uses them, one row each: what is known of a reading's deviations, and the span errors.

A span error (temperature and drift since the adjustment) is one deviation of the balance for the whole run,
proportional to the load: all its readings share it, so that it cancels in part by difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import nan_where_none
from ubudget.bench.certified_points import LOADS, build_points
from ubudget.bench.check_weighings import CheckWeighings, add_check_columns, build_check_weighings
from ubudget.bench.context import Context
from ubudget.bench.limits import ItemTable, Limits, certificate_on
from ubudget.bench.load_repeatability import POINTS
from ubudget.bench.load_repeatability import build_points as build_repeatabilities
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Place, Trait
from ubudget.records.amount import Amount
from ubudget.records.balance import BalanceLimits, InUse
from ubudget.records.register import Equipment

BALANCES = "balances"
TEMPERATURE, DRIFT = "temperature since adjustment", "adjustment drift"
"""Columns of the span errors."""


@dataclass(frozen=True)
class Balance:
    """A balance of the register, or the method's symbol that states limits of its own."""

    limits: Limits
    stated: BalanceLimits
    in_use: InUse | None = None
    in_use_path: tuple[str | int, ...] = ()
    in_use_source: str = ""
    check: CheckWeighings | None = None

    @property
    def key(self) -> str:
        return self.limits.key

    @property
    def indication(self) -> str:
        """What the deviation of a reading rests on: `by load`, `certificate`, `linearity`, `check` or nothing."""
        if self.limits.points:
            return "by load"
        if self.limits.certified:
            return "certificate"
        if self.limits.tolerance:
            return "linearity"
        return "check" if self.check is not None and self.check.weight is not None else ""

    @property
    def repeatability(self) -> str:
        """How repeatability is known: `stated`, `by load`, `check` or not at all."""
        if self.stated.repeatability_at:
            return "by load"
        if self.check is not None:
            return "check"
        return "stated" if self.stated.repeatability else ""

    @property
    def finite_dof(self) -> bool:
        """Whether the repeatability has degrees of freedom of its own."""
        if self.repeatability == "by load":
            return any(point.dof for point in self.stated.repeatability_at)
        return self.repeatability == "check" or bool(self.stated.repeatability_dof)


def balance_of(context: Context, limits: Limits, stated: BalanceLimits, weights: dict[str, Equipment]) -> Balance:
    """All that is known of a balance on the day; `weights` are the register's items by id."""
    in_use, source = None, ""
    path: tuple[str | int, ...] = ()
    chosen = certificate_on(stated.certificates, context.date) if isinstance(stated, Equipment) else None
    if chosen is not None and chosen[1].in_use is not None:
        in_use = chosen[1].in_use
        path = (*limits.path, "certificate", chosen[0], "in_use")
        source = f"certificate {chosen[1].number}, {chosen[1].issuer}, U in use"
    check = None
    if stated.check_weighings:
        check = CheckWeighings(limits, stated.check_weighings, weights.get(stated.check_weight))
    return Balance(limits, stated, in_use, path, source, check)


def build_balances(context: Context, used: Sequence[Balance], unit: str) -> None:
    """Table `balances`: u of every component in the unit of mass, and the tables behind it."""
    build_points(context, LOADS, [balance.limits for balance in used], unit)
    items = ItemTable(context, [balance.limits for balance in used], BALANCES, "Balances", unit)
    items.tolerance("linearity ±")
    items.certified("certified deviation")
    items.u_calibration(LOADS)
    amounts = [balance.stated.resolution for balance in used]
    resolution = items.own("resolution", "resolution", amounts, ["resolution"] * len(used))
    half = resolution / 2 / divisor("rectangular")
    items.table.formula(
        "u resolution",
        "u of the resolution",
        unit,
        Number(0),
        "d/(2·√3), GUM F.2.2.1",
        [half],
        np.array([1 if amount else 0 for amount in amounts]),
    )
    columns = _Columns(context, used, items)
    columns.resolution_at_zero()
    checked = [(row, balance.check) for row, balance in enumerate(used) if balance.check is not None]
    if checked or any(balance.stated.repeatability_at for balance in used):
        build_repeatabilities(
            context, [balance.limits for balance in used], [b.stated.repeatability_at for b in used], unit
        )
        if checked:
            weights = build_check_weighings(context, checked, BALANCES, unit)
            add_check_columns(items.table, checked, weights, unit)
        columns.repeatability()
    else:
        items.repeatability()
    columns.eccentricity()
    columns.span_errors()
    columns.in_use()
    items.build()


@dataclass(frozen=True)
class _Columns:
    """Columns that only some balances need; none of them stands where no balance states it."""

    context: Context
    used: Sequence[Balance]
    items: ItemTable

    def given(self, name: str, heading: str, unit: str, key: str) -> Symbol:
        """Amounts of the balance's own key, in a unit."""
        amounts: list[Amount | None] = [getattr(balance.stated, key) for balance in self.used]
        values = [
            self.context.in_unit(amount, unit, balance.limits.document, f"{balance.key}, {key}")
            for balance, amount in zip(self.used, amounts, strict=True)
        ]
        places = [
            Place(balance.limits.document, (*balance.limits.path, key), unit) if amount else None
            for balance, amount in zip(self.used, amounts, strict=True)
        ]
        return self.items.table.given(name, heading, unit, nan_where_none(values), places)

    def states(self, key: str) -> list[bool]:
        return [getattr(balance.stated, key) is not None for balance in self.used]

    def resolution_at_zero(self) -> None:
        if any(self.states("resolution_at_zero")):
            unit = self.items.unit
            zero = self.given("resolution at zero", "resolution at zero", unit, "resolution_at_zero")
            self.items.table.formula(
                "u resolution at zero",
                "u of the resolution at zero",
                unit,
                Symbol("u resolution"),
                "d/(2·√3), GUM F.2.2.1",
                [zero / 2 / divisor("rectangular")],
                np.array(self.states("resolution_at_zero"), dtype=np.int64),
            )

    def repeatability(self) -> None:
        """s and its degrees of freedom where they come in several ways: stated, by load, from check weighings."""
        table, used = self.items.table, self.used
        plain = self.given("repeatability", "repeatability s", self.items.unit, "repeatability")
        kinds = ["", "stated", "by load", "check"]
        way = np.array([kinds.index(balance.repeatability) for balance in used])
        counts = np.array([len(balance.stated.repeatability_at) for balance in used], dtype=np.int64)
        first = np.cumsum(counts) - counts
        lowest: Expression = Number(0)
        fewest: Expression = Number(INFINITE_DOF)
        if counts.any():
            lowest = table.pick("s at the lowest load", POINTS, "s", np.where(counts > 0, first, -1))
            span = table.span("dof by load", POINTS, "dof", first, first + counts)
            fewest = apply("smallest", span)
        checked = any(balance.check is not None for balance in used)
        s_check: Expression = Symbol("check s") if checked else Number(0)
        dof_check: Expression = Symbol("check n") - 1 if checked else Number(INFINITE_DOF)
        table.formula(
            "u repeatability",
            "u of the repeatability (by load: at the lowest)",
            self.items.unit,
            Number(0),
            "s of one reading, GUM 4.2.2",
            [plain, lowest, s_check],
            way,
        )
        dof = table.given(
            "stated dof",
            "degrees of freedom of s stated",
            "",
            [balance.stated.repeatability_dof or INFINITE_DOF for balance in used],
            [
                Place(balance.limits.document, (*balance.limits.path, "repeatability_dof"))
                if balance.stated.repeatability_dof
                else None
                for balance in used
            ],
        )
        clause = "n - 1; by load: the fewest"
        table.formula("dof", "degrees of freedom of s", "", dof, clause, [dof, fewest, dof_check], way)

    def eccentricity(self) -> None:
        """Per placing: u in the unit of mass, or relative to the load where the load of the test is stated."""
        if not any(self.states("eccentricity")):
            return
        half = self.given("eccentricity", "eccentricity ±", self.items.unit, "eccentricity")
        shapes = ["rectangular", "triangular"]
        ways = [half / divisor(shape) for shape in shapes]
        way = [
            1 + shapes.index(balance.stated.eccentricity_distribution) if balance.stated.eccentricity else 0
            for balance in self.used
        ]
        self.items.table.formula(
            "u eccentricity",
            "u of the eccentricity",
            self.items.unit,
            Number(0),
            "GUM 4.3.7, 4.3.9",
            ways,
            np.array(way),
        )
        if any(self.states("eccentricity_load")):
            load = self.given(
                "eccentricity load", "load of the eccentricity test", self.items.unit, "eccentricity_load"
            )
            self.items.table.formula(
                "relative u eccentricity",
                "u of the eccentricity, relative to the load",
                "1",
                Number(0),
                "EURAMET cg-18, 7.1.1",
                [Symbol("u eccentricity") / load],
                np.array(self.states("eccentricity_load"), dtype=np.int64),
            )

    def span_errors(self) -> None:
        table = self.items.table
        if any(self.states("temperature_coefficient")):
            self.given(
                "temperature coefficient", "temperature coefficient of the span", "1/K", "temperature_coefficient"
            )
            half = self.given("temperature half-range", "half-range of the temperature", "K", "temperature_half_range")
            self._span_error(TEMPERATURE, "K", half, "temperature_coefficient", "temperature of the balance")
        if any(self.states("adjustment_drift")):
            half = self.given("drift", "drift of the adjustment ±", "1", "adjustment_drift")
            self._span_error(DRIFT, "1", half, "adjustment_drift", "drift of the span")
        table.demote(TEMPERATURE, DRIFT)

    def _span_error(self, name: str, unit: str, half: Symbol, key: str, quantity: str) -> None:
        present = self.states(key)
        table = self.items.table
        u = table.formula(
            f"u {name}",
            f"u of the {name}",
            unit,
            Number(0),
            "GUM 4.3.7; EURAMET cg-18, 7.4",
            [half / divisor("rectangular")],
            np.array(present, dtype=np.int64),
        )
        table.deviation(
            name,
            name,
            unit,
            u,
            [
                Trait(
                    f"{b.key}.{name}",
                    f"{quantity} since its adjustment",
                    "weighing",
                    "B",
                    "rectangular",
                    f"{name} of {b.key}",
                )
                for b in self.used
            ],
            members=[("balance", name, b.key) if here else None for b, here in zip(self.used, present, strict=True)],
        )

    def in_use(self) -> None:
        """alpha, beta and k of the certificate's U(W)."""
        if not any(balance.in_use for balance in self.used):
            return
        for key, heading, unit in (
            ("alpha", "U in use: alpha", self.items.unit),
            ("beta", "U in use: beta", "1"),
            ("k", "U in use: k", ""),
        ):
            values = []
            places = []
            for balance in self.used:
                stated = getattr(balance.in_use, key, None)
                if isinstance(stated, Amount):
                    stated = self.context.in_unit(stated, unit, balance.limits.document, f"{balance.key}, {key}")
                values.append(stated)
                places.append(
                    Place(balance.limits.document, (*balance.in_use_path, key), unit) if balance.in_use else None
                )
            self.items.table.given(f"in use {key}", heading, unit, nan_where_none(values), places)
