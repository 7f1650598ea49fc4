"""Stock solutions behind standards and additions, one row an item and analyte."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.bench.limits import certificate_on, factor_of, shape_of
from ubudget.quantity.expression import Symbol
from ubudget.quantity.graph import Place, Trait
from ubudget.quantity.units import convert
from ubudget.records.preparation_chains import Basis, basis_of
from ubudget.records.register import Certificate, CertifiedValue, ReferenceMaterial
from ubudget.records.run import Run, Stock

STOCKS, OTHER_STOCKS = "stocks", "stocks by the other basis"
StockKey = tuple[str, str]
"""Register item and analyte."""


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
        chosen = certificate_on(item.certificates, context.day_of(item.id))
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


@dataclass(frozen=True)
class Stocks:
    """Rows of the stock solutions by item and analyte: of contents in the unit wanted, and of the others.

    Contents by mass where the unit is by volume, or the reverse, stand in a table of their own."""

    own: Mapping[StockKey, int]
    other: Mapping[StockKey, int]
    assumed: Mapping[str, str]
    """Analyte → item with which stated concentrations were calculated."""
    other_basis: Basis
    other_factor: float
    """Contents of that table times g/mL are in the unit wanted but for this factor."""

    def table(self, crossing: bool) -> str:
        return OTHER_STOCKS if crossing else STOCKS

    def row(self, item: str, analyte: str, crossing: bool = False) -> int:
        return (self.other if crossing else self.own).get((item, analyte), -1)

    def crosses(self, item: str, analyte: str) -> bool:
        return (item, analyte) in self.other

    def calculating(self, analyte: str) -> int:
        """Row of the stock solution on whose scale stated concentrations of an analyte are."""
        return self.row(self.assumed[analyte], analyte) if analyte in self.assumed else -1


def build_stocks(context: Context, analytes: Sequence[str], unit: str, named: Sequence[StockKey] = ()) -> Stocks:
    """Tables `stocks` and, where contents are of the other kind, `stocks by the other basis`: certified value and u.

    The stock solutions that the run names for the analytes, and those `named` by item and analyte."""
    run = context.records.run
    assert run is not None
    stocks = {(stock.item, analyte): stock for analyte, stock in run.file.stocks.items() if analyte in analytes}
    ordered = sorted(stocks, key=lambda key: list(analytes).index(key[1]))
    wanted = basis_of(unit) or "volume"
    own: list[tuple[StockKey, CertifiedStock]] = []
    other: list[tuple[StockKey, CertifiedStock]] = []
    for item, analyte in dict.fromkeys([*ordered, *named]):
        found = stock_of(context, item, analyte)
        if found:
            crossing = basis_of(found.property.value.unit) not in (None, wanted)
            (other if crossing else own).append(((item, analyte), found))
    other_unit, factor = _other_unit(unit)
    if own:
        _build(context, STOCKS, "Stock solutions behind the standards", own, unit, stocks)
    if other:
        other_title = "Stock solutions and substances by mass" if wanted == "volume" else "Stock solutions by volume"
        _build(context, OTHER_STOCKS, other_title, other, other_unit, {})
    assumed = {analyte: stock.item for analyte, stock in run.file.stocks.items() if stock.calculated_with is not None}
    return Stocks(
        {key: row for row, (key, _) in enumerate(own)},
        {key: row for row, (key, _) in enumerate(other)},
        assumed,
        "mass" if wanted == "volume" else "volume",
        factor,
    )


def _other_unit(unit: str) -> tuple[str, float]:
    """Unit of contents of the other kind, and the factor by which its number times kg/L differs from the unit."""
    wanted = basis_of(unit) or "volume"
    swaps = (("/L", "/kg"), ("/mL", "/g")) if wanted == "volume" else (("/kg", "/L"), ("/g", "/mL"))
    for end, new in swaps:
        if unit.endswith(end):
            return unit.removesuffix(end) + new, 1.0
    return ("mg/kg", convert(1.0, "mg/L", unit)) if wanted == "volume" else ("mg/L", convert(1.0, "mg/kg", unit))


def _build(
    context: Context,
    name: str,
    title: str,
    used: Sequence[tuple[StockKey, CertifiedStock]],
    unit: str,
    stocks: Mapping[StockKey, Stock],
) -> None:
    run = context.records.run
    assert run is not None
    table = TableBuilder(name, title, len(used), context.shared)
    table.label("item", "item", [found.item.id for _, found in used])
    table.label("analyte", "analyte", [analyte for (_, analyte), _ in used])
    table.label("lot", "lot", [found.item.lot for _, found in used])
    table.label("certificate", "certificate", [found.certificate.number for _, found in used])

    def column(name: str, heading: str, key: str) -> None:
        values = [
            context.in_unit(getattr(found.property, key), unit, "register", f"{found.item.id}, {key}")
            for _, found in used
        ]
        places = [Place("register", (*found.path, key), unit) for _, found in used]
        table.given(name, heading, unit, nan_where_none(values), places)

    column("value", "certified value", "value")
    column("U", "certificate U", "U")
    table.given(
        "k",
        "k of the certificate",
        "",
        [factor_of(found.property) for _, found in used],
        [Place("register", (*found.path, "k")) if found.property.k else None for _, found in used],
    )
    table.formula("u", "standard uncertainty u", unit, Symbol("U") / Symbol("k"), "GUM 4.3.3")
    assumed = [stocks[key].calculated_with if key in stocks else None for key, _ in used]
    if any(assumed):
        values = [
            context.in_unit(amount, unit, "run", f"stocks.{analyte}")
            for amount, ((_, analyte), _) in zip(assumed, used, strict=True)
        ]
        places = [
            # Open only where some concentration was calculated with it: zero and prepared standards were not.
            Place("run", ("stocks", analyte, "calculated_with"), unit) if amount and _calculates(run, analyte) else None
            for amount, ((_, analyte), _) in zip(assumed, used, strict=True)
        ]
        table.given("calculated with", "standards calculated with", unit, nan_where_none(values), places)
    table.leaf("value", "u", [_trait(found) for _, found in used], members=[("stock", *key) for key, _ in used])
    context.tables[name] = table.build()


def _trait(found: CertifiedStock) -> Trait:
    source = (
        f"{found.item.id}, lot {found.item.lot}: certificate {found.certificate.number}, {found.certificate.issuer}"
    )
    words = "certified concentration of the stock solution"
    if found.item.kind == "pure substance":
        words = "certified content of the pure substance"
    return Trait("c_stock", words, "stock", "B", shape_of(found.property), source, items=(found.item.id,))
