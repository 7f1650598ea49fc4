"""Stock solutions behind standards and additions, one row an item and analyte."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context
from ubudget.bench.limits import certificate_on, factor_of, shape_of
from ubudget.quantity.expression import Symbol
from ubudget.quantity.graph import Place, Trait
from ubudget.records.register import Certificate, CertifiedValue, ReferenceMaterial
from ubudget.records.run import Run

STOCKS = "stocks"


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
        [factor_of(found.property) for _, _, found in used],
        [Place("register", (*found.path, "k")) if found.property.k else None for _, _, found in used],
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
                shape_of(found.property),
                f"{found.item.id}, lot {found.item.lot}: certificate {found.certificate.number}, "
                f"{found.certificate.issuer}",
                items=(found.item.id,),
            )
            for _, _, found in used
        ],
    )
    context.tables[STOCKS] = table.build()
    return {(found.item.id, analyte): row for row, (analyte, _, found) in enumerate(used)}
