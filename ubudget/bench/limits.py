"""What is known of a balance or a piece of ware on the day, and the columns that tables of such items share."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import Number, Symbol
from ubudget.quantity.graph import INFINITE_DOF, Place
from ubudget.records.amount import Amount
from ubudget.records.certified_points import FROM_ZERO
from ubudget.records.records import Role
from ubudget.records.register import Certificate, CertifiedValue, Equipment
from ubudget.records.ware_limits import class_limits, goes_by_class


@dataclass(frozen=True)
class Limits:
    """What is known of a balance or a piece of ware, and where that stands."""

    key: str
    """Register id, or the method's symbol where the limits stand in the method."""
    description: str
    shared: bool
    """One numbered item: its calibration deviation is the same at each use."""
    document: Role
    path: tuple[str | int, ...]
    nominal: Amount | None = None
    nominal_key: str = "nominal"
    tolerance: Amount | None = None
    """Half-width: tolerance of ware, linearity of a balance."""
    tolerance_key: str = "tolerance"
    tolerance_distribution: str = "triangular"
    tolerance_source: str = ""
    repeatability: Amount | None = None
    repeatability_dof: float | None = None
    repeatability_source: str = ""
    meniscus: Amount | None = None
    """Half-width of setting the meniscus at each filling."""
    looked_up: frozenset[str] = frozenset()
    """Keys whose figures come from a standard, and those that choose them: no fields of the record to be edited."""
    resolution: Amount | None = None
    certificate: Certificate | None = None
    certified: CertifiedValue | None = None
    property_path: tuple[str | int, ...] = ()
    """Of the certified value; of the certificate's values together where there are points."""
    points: tuple[tuple[int, CertifiedValue], ...] = ()
    """Values of a certificate at several points, with their places in it; `certified` is then none of them."""
    from_zero: bool = False
    """Whether the error is zero at zero."""

    @property
    def on_certificate(self) -> bool:
        """Whether a certificate says how far the item is off."""
        return self.certified is not None or bool(self.points)

    @property
    def items(self) -> tuple[str, ...]:
        """The register item behind the limits; none where they stand in the method."""
        return (self.key,) if self.document == "register" else ()

    @property
    def source(self) -> str:
        """Evidence of the calibration deviation."""
        if self.certificate is not None and self.on_certificate:
            return f"certificate {self.certificate.number}, {self.certificate.issuer}"
        return self.tolerance_source or f"tolerance of {self.key}"


def certificate_on(certificates: Sequence[Certificate], day: dt.date | None) -> tuple[int, Certificate] | None:
    """The certificate that counts on a day, with its position: the newest issued by then (of all, without a day).

    Where all are issued later it is the first of them; `evaluation.traceability_findings` says so."""
    numbered = list(enumerate(certificates))
    issued = [pair for pair in numbered if day is None or pair[1].issued <= day]
    if issued:
        return max(issued, key=lambda pair: pair[1].issued)
    return min(numbered, key=lambda pair: pair[1].issued) if numbered else None


def factor_of(prop: CertifiedValue) -> float:
    """The coverage factor by which U is divided; √3 where the certificate states none (GUM 4.3.7)."""
    return prop.k if prop.k is not None else float(f"{math.sqrt(3):.15g}")


def shape_of(prop: CertifiedValue) -> str:
    """Distribution of a certified value: normal about U/k, rectangular within U where no k is stated."""
    return "normal" if prop.k is not None else "rectangular"


def limits_of(context: Context, item: Equipment, number: int) -> Limits:
    """The limits of a register item; a certified value goes before a tolerance."""
    path: tuple[str | int, ...] = ("equipment", number)
    chosen = certificate_on(item.certificates, context.day_of(item.id))
    certificate = prop = None
    property_path: tuple[str | int, ...] = ()
    points: tuple[tuple[int, CertifiedValue], ...] = ()
    if chosen is not None and chosen[1].by_point:
        certificate, points = chosen[1], tuple(enumerate(chosen[1].properties))
        property_path = (*path, "certificate", chosen[0], "property")
    elif chosen is not None and chosen[1].properties:
        certificate, prop = chosen[1], chosen[1].properties[0]
        property_path = (*path, "certificate", chosen[0], "property", 0)
    balance = item.kind == "balance"
    limits = Limits(
        key=item.id,
        description=item.description,
        shared=item.use == "individual",
        document="register",
        path=path,
        nominal=item.nominal,
        tolerance=item.linearity if balance else item.tolerance,
        tolerance_key="linearity" if balance else "tolerance",
        tolerance_distribution="rectangular" if balance else item.tolerance_distribution,
        tolerance_source=item.tolerance_source,
        repeatability=item.repeatability,
        repeatability_dof=item.repeatability_dof,
        meniscus=item.meniscus,
        resolution=item.resolution,
        certificate=certificate,
        certified=prop,
        property_path=property_path,
        points=points,
        from_zero=item.kind in FROM_ZERO,
    )
    return limits if balance else _with_class(limits, item)


def _with_class(limits: Limits, item: Equipment) -> Limits:
    """What the item does not state itself, from its standard and class.

    The nominal volume then chooses the row of the standard's table, and is no number to be edited by itself."""
    by_class = class_limits(item)
    if by_class is None:
        return limits
    changes: dict[str, Any] = {}
    if goes_by_class(item):
        changes |= {"tolerance": by_class.tolerance, "tolerance_source": by_class.source}
    if by_class.random is not None and item.repeatability is None and (changes or item.standard):
        changes |= {"repeatability": by_class.random, "repeatability_source": by_class.source}
    looked_up = frozenset({*changes, "nominal"} if changes else ())
    return replace(limits, **changes, looked_up=looked_up)


def register_items(context: Context) -> dict[str, tuple[int, Equipment]]:
    register = context.records.register
    items = register.equipment if register else ()
    return {item.id: (number, item) for number, item in enumerate(items)}


class ItemTable:
    """A table with one row an item: limits or certificate, and repeatability, in one unit."""

    def __init__(self, context: Context, used: Sequence[Limits], name: str, title: str, unit: str) -> None:
        self.context, self.used, self.unit = context, used, unit
        self.table = TableBuilder(name, title, len(used), context.shared)
        self.table.label("item", "item", [limits.key for limits in used])
        self.table.label("description", "description", [limits.description for limits in used])
        self.table.label("use", "use", ["individual" if limits.shared else "one of a set" for limits in used])

    def own(self, name: str, heading: str, amounts: Sequence[Amount | None], keys: Sequence[str]) -> Symbol:
        """A column of amounts that stand with the item itself, under its key."""
        places = [
            Place(limits.document, (*limits.path, key), self.unit) if amount and key not in limits.looked_up else None
            for limits, amount, key in zip(self.used, amounts, keys, strict=True)
        ]
        return self._amounts(name, heading, amounts, places)

    def tolerance(self, heading: str) -> Symbol:
        # A certified value goes before the tolerance, which then no formula reads.
        amounts = [None if limits.on_certificate else limits.tolerance for limits in self.used]
        return self.own("tolerance", heading, amounts, [limits.tolerance_key for limits in self.used])

    def certified(self, heading: str) -> Symbol:
        """Columns `certified`, `U` and `k` of the certificate; gives the certified value."""
        value = self._from_certificate("certified", heading, "value")
        self._from_certificate("U", "certificate U", "U")
        self.table.given(
            "k",
            "k of the certificate",
            "",
            nan_where_none([factor_of(limits.certified) if limits.certified else None for limits in self.used]),
            [
                Place(limits.document, (*limits.property_path, "k"))
                if limits.certified and limits.certified.k is not None
                else None
                for limits in self.used
            ],
        )
        return value

    def u_calibration(self, points: str) -> Symbol:
        """U/k where there is a certificate, of the last of several points, else the half-width over its divisor.

        `points` names the table of the points."""
        kinds = ["triangular", "rectangular", "normal 95 %"]
        way = [
            1
            if limits.certified
            else 5
            if limits.points
            else 2 + kinds.index(limits.tolerance_distribution)
            if limits.tolerance
            else 0
            for limits in self.used
        ]
        last = self._last_points(points)
        divisors = [divisor("triangular"), divisor("rectangular"), Number(1.96)]
        return self.table.formula(
            "u calibration",
            "u of the calibration",
            self.unit,
            Number(0),
            "U/k, or half-width/divisor, GUM 4.3.3, 4.3.7, 4.3.9",
            [Symbol("U") / Symbol("k"), *(Symbol("tolerance") / divided for divided in divisors), *last],
            np.array(way, dtype=np.int64),
        )

    def _last_points(self, points: str) -> list[Symbol]:
        """Picks u of the last point of each item; nothing where none has points."""
        if not any(limits.points for limits in self.used):
            return []
        keys = self.context.tables[points].texts("item")
        ends = {key: row for row, key in enumerate(keys)}
        rows = [ends[limits.key] if limits.points else -1 for limits in self.used]
        return [self.table.pick("u at the last point", points, "u", rows)]

    def repeatability(self) -> None:
        """Columns of s, its u and its degrees of freedom."""
        amounts = [limits.repeatability for limits in self.used]
        s = self.own("repeatability", "repeatability s", amounts, ["repeatability"] * len(self.used))
        self.table.formula(
            "u repeatability",
            "u of the repeatability",
            self.unit,
            Number(0),
            "",
            [s],
            np.array([1 if amount else 0 for amount in amounts]),
        )
        self.table.given(
            "dof",
            "degrees of freedom of s",
            "",
            [limits.repeatability_dof or INFINITE_DOF for limits in self.used],
            [
                Place(limits.document, (*limits.path, "repeatability_dof")) if limits.repeatability_dof else None
                for limits in self.used
            ],
        )

    def build(self) -> None:
        self.table.label("source", "evidence", [limits.source for limits in self.used])
        self.context.tables[self.table.name] = self.table.build()

    def _from_certificate(self, name: str, heading: str, key: str) -> Symbol:
        amounts = [getattr(limits.certified, key) if limits.certified else None for limits in self.used]
        places = [
            Place(limits.document, (*limits.property_path, key), self.unit) if amount else None
            for limits, amount in zip(self.used, amounts, strict=True)
        ]
        return self._amounts(name, heading, amounts, places)

    def _amounts(
        self, name: str, heading: str, amounts: Sequence[Amount | None], places: Sequence[Place | None]
    ) -> Symbol:
        values = [
            self.context.in_unit(amount, self.unit, limits.document, f"{limits.key}, {name}")
            for limits, amount in zip(self.used, amounts, strict=True)
        ]
        return self.table.given(name, heading, self.unit, nan_where_none(values), places)
