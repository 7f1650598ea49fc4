"""Items of the register as the run uses them: balances, volumetric ware, stock solutions, one row each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import Number, Symbol
from ubudget.quantity.graph import INFINITE_DOF, Place, Trait
from ubudget.records.amount import Amount
from ubudget.records.records import Role
from ubudget.records.register import Certificate, CertifiedValue, Equipment, ReferenceMaterial
from ubudget.records.run import Run

BALANCES, WARE, STOCKS = "balances", "ware", "stocks"


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
    resolution: Amount | None = None
    certificate: Certificate | None = None
    certified: CertifiedValue | None = None
    property_path: tuple[str | int, ...] = ()

    @property
    def source(self) -> str:
        """Evidence of the calibration deviation."""
        if self.certificate is not None and self.certified is not None:
            return f"certificate {self.certificate.number}, {self.certificate.issuer}"
        return self.tolerance_source or f"tolerance of {self.key}"


def certificate_on(certificates: Sequence[Certificate], day: dt.date | None) -> tuple[int, Certificate] | None:
    """The newest certificate issued by that day (the newest of all without a day), with its position."""
    numbered = [
        (number, certificate)
        for number, certificate in enumerate(certificates)
        if day is None or certificate.issued <= day
    ]
    return max(numbered, key=lambda pair: pair[1].issued) if numbered else None


def limits_of(context: Context, item: Equipment, number: int) -> Limits:
    """The limits of a register item; a certified value goes before a tolerance."""
    path: tuple[str | int, ...] = ("equipment", number)
    chosen = certificate_on(item.certificates, context.date)
    certificate = prop = None
    property_path: tuple[str | int, ...] = ()
    if chosen is not None and chosen[1].properties:
        certificate, prop = chosen[1], chosen[1].properties[0]
        property_path = (*path, "certificate", chosen[0], "property", 0)
    balance = item.kind == "balance"
    return Limits(
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
        resolution=item.resolution,
        certificate=certificate,
        certified=prop,
        property_path=property_path,
    )


def register_items(context: Context) -> dict[str, tuple[int, Equipment]]:
    register = context.records.register
    items = register.equipment if register else ()
    return {item.id: (number, item) for number, item in enumerate(items)}


def build_balances(context: Context, used: Sequence[Limits], unit: str) -> None:
    """Table `balances`: linearity or certificate, resolution and repeatability, u of each in the unit of mass."""
    _build(context, used, BALANCES, "Balances", unit, "linearity")


def build_ware(context: Context, used: Sequence[Limits], unit: str) -> None:
    """Table `ware`: volume, u of its calibration, repeatability of filling or delivery."""
    _build(context, used, WARE, "Volumetric ware", unit, "tolerance")


def _build(context: Context, used: Sequence[Limits], name: str, title: str, unit: str, tolerance_word: str) -> None:
    table = TableBuilder(name, title, len(used), context.shared)
    table.label("item", "item", [limits.key for limits in used])
    table.label("description", "description", [limits.description for limits in used])
    table.label("use", "use", ["individual" if limits.shared else "one of a set" for limits in used])

    def amounts(heading: str, pairs: list[tuple[Amount | None, Place | None]], key: str) -> None:
        values = [
            context.in_unit(amount, unit, limits.document, f"{limits.key}, {key}")
            for limits, (amount, _) in zip(used, pairs, strict=True)
        ]
        table.given(key, heading, unit, nan_where_none(values), [place for _, place in pairs])

    def own(limits: Limits, key: str, amount: Amount | None) -> tuple[Amount | None, Place | None]:
        return amount, Place(limits.document, (*limits.path, key), unit) if amount else None

    def from_certificate(limits: Limits, key: str) -> tuple[Amount | None, Place | None]:
        amount = getattr(limits.certified, key) if limits.certified else None
        return amount, Place(limits.document, (*limits.property_path, key), unit) if amount else None

    certified_here = np.array([limits.certified is not None for limits in used])
    if name == WARE:
        nominal = [own(limits, limits.nominal_key, limits.nominal) for limits in used]
        amounts("nominal volume", nominal, "nominal")
    tolerances = [
        # A certified value goes before the tolerance, which then no formula reads.
        (None, None) if limits.certified else own(limits, limits.tolerance_key, limits.tolerance)
        for limits in used
    ]
    amounts(f"{tolerance_word}, half-width", tolerances, "tolerance")
    amounts(
        "certified volume" if name == WARE else "certified deviation",
        [from_certificate(limits, "value") for limits in used],
        "certified",
    )
    amounts("certificate U", [from_certificate(limits, "U") for limits in used], "U")
    table.given(
        "k",
        "k of the certificate",
        "",
        nan_where_none([limits.certified.k if limits.certified else None for limits in used]),
        [Place(limits.document, (*limits.property_path, "k")) if limits.certified else None for limits in used],
    )
    tolerance_ways = [divisor("triangular"), divisor("rectangular"), Number(1.96)]
    kinds = ["triangular", "rectangular", "normal 95 %"]
    way = np.array(
        [
            1 if limits.certified else 2 + kinds.index(limits.tolerance_distribution) if limits.tolerance else 0
            for limits in used
        ],
        dtype=np.int64,
    )
    if name == WARE:
        table.formula(
            "volume",
            "volume used",
            unit,
            Symbol("nominal"),
            "certified volume where there is one",
            [Symbol("certified")],
            np.where(certified_here, 1, 0),
        )
    table.formula(
        "u calibration",
        "u of the calibration",
        unit,
        Number(0),
        "U/k, or half-width/divisor, GUM 4.3.3, 4.3.7, 4.3.9",
        [Symbol("U") / Symbol("k"), *(Symbol("tolerance") / way for way in tolerance_ways)],
        way,
    )
    if name == BALANCES:
        resolutions = [own(limits, "resolution", limits.resolution) for limits in used]
        amounts("resolution", resolutions, "resolution")
        table.formula(
            "u resolution",
            "u of the resolution",
            unit,
            Number(0),
            "d/(2·√3), GUM F.2.2.1",
            [Symbol("resolution") / 2 / divisor("rectangular")],
            np.array([1 if limits.resolution else 0 for limits in used]),
        )
    repeatability = [own(limits, "repeatability", limits.repeatability) for limits in used]
    amounts("repeatability s", repeatability, "repeatability")
    table.formula(
        "u repeatability",
        "u of the repeatability",
        unit,
        Number(0),
        "",
        [Symbol("repeatability")],
        np.array([1 if limits.repeatability else 0 for limits in used]),
    )
    table.given(
        "dof",
        "degrees of freedom of s",
        "",
        [limits.repeatability_dof or INFINITE_DOF for limits in used],
        [
            Place(limits.document, (*limits.path, "repeatability_dof")) if limits.repeatability_dof else None
            for limits in used
        ],
    )
    table.label("source", "evidence", [limits.source for limits in used])
    context.tables[name] = table.build()


@dataclass(frozen=True)
class CertifiedStock:
    """A stock solution's certified value for one analyte."""

    item: ReferenceMaterial
    certificate: Certificate
    property: CertifiedValue
    path: tuple[str | int, ...]


def stock_of(context: Context, item_id: str, analyte: str) -> CertifiedStock | None:
    """The value of a register item certified for an analyte, valid by the newest certificate of the day."""
    register = context.records.register
    for number, item in enumerate(register.reference_materials if register else ()):
        chosen = certificate_on(item.certificates, context.date)
        if item.id != item_id or chosen is None:
            continue
        for place, prop in enumerate(chosen[1].properties):
            if prop.analyte in ("", analyte):
                path = ("reference_material", number, "certificate", chosen[0], "property", place)
                return CertifiedStock(item, chosen[1], prop, path)
    return None


def _calculates(run: Run, analyte: str) -> bool:
    amounts = (standard.concentration.get(analyte) for standard in run.file.standards)
    return any(amount is not None and amount.value != 0 for amount in amounts)


def build_stocks(context: Context, analytes: Sequence[str], unit: str) -> dict[str, int]:
    """Table `stocks`: certified value and its u for each analyte with a stock; gives the row of each analyte."""
    run = context.records.run
    assert run is not None
    rows = build_named_stocks(context, analytes, unit, ())
    stocks = run.file.stocks
    return {
        analyte: rows[stocks[analyte].item, analyte]
        for analyte in analytes
        if analyte in stocks and (stocks[analyte].item, analyte) in rows
    }


def build_named_stocks(
    context: Context, analytes: Sequence[str], unit: str, named: Sequence[tuple[str, str]]
) -> dict[tuple[str, str], int]:
    """The same with further solutions named by item and analyte; gives the row of each item and analyte."""
    run = context.records.run
    assert run is not None
    stocks = {(stock.item, analyte): stock for analyte, stock in run.file.stocks.items() if analyte in analytes}
    ordered = sorted(stocks, key=lambda key: list(analytes).index(key[1]))
    used = []
    for item, analyte in dict.fromkeys([*ordered, *named]):
        found = stock_of(context, item, analyte)
        if found:
            used.append((analyte, stocks.get((item, analyte)), found))
    table = TableBuilder(STOCKS, "Stock solutions behind the standards", len(used), context.shared)
    table.label("item", "item", [found.item.id for _, _, found in used])
    table.label("analyte", "analyte", [analyte for analyte, _, _ in used])
    table.label("lot", "lot", [found.item.lot for _, _, found in used])
    table.label("certificate", "certificate", [found.certificate.number for _, _, found in used])

    def column(name: str, heading: str, key: str) -> None:
        table.given(
            name,
            heading,
            unit,
            nan_where_none(
                [
                    context.in_unit(getattr(found.property, key), unit, "register", f"{found.item.id}, {key}")
                    for _, _, found in used
                ]
            ),
            [Place("register", (*found.path, key), unit) for _, _, found in used],
        )

    column("value", "certified value", "value")
    column("U", "certificate U", "U")
    table.given(
        "k",
        "k of the certificate",
        "",
        [found.property.k for _, _, found in used],
        [Place("register", (*found.path, "k")) for _, _, found in used],
    )
    table.formula("u", "standard uncertainty u", unit, Symbol("U") / Symbol("k"), "GUM 4.3.3")
    if any(stock for _, stock, _ in used):
        assumed = [
            context.in_unit(stock.calculated_with if stock else None, unit, "run", f"stocks.{analyte}")
            for analyte, stock, _ in used
        ]
        places = [
            # Open only where some concentration was calculated with it: zero and prepared standards were not.
            Place("run", ("stocks", analyte, "calculated_with"), unit) if stock and _calculates(run, analyte) else None
            for analyte, stock, _ in used
        ]
        table.given("calculated with", "standards calculated with", unit, nan_where_none(assumed), places)
    table.leaf(
        "value",
        "u",
        [
            Trait(
                "c_stock",
                "certified concentration of the stock solution",
                "stock",
                "B",
                "normal",
                f"{found.item.id}, lot {found.item.lot}: certificate {found.certificate.number}, "
                f"{found.certificate.issuer}",
            )
            for _, _, found in used
        ],
    )
    context.tables[STOCKS] = table.build()
    return {(found.item.id, analyte): row for row, (analyte, _, found) in enumerate(used)}
