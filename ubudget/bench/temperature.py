"""Temperature of a liquid in ware: what is stated of it as rows of the inputs, and its part in a volume.

V = V_ware - V_ware * (expansion of the liquid - expansion of the ware) * (temperature - reference temperature)

is the volume of the liquid at the reference temperature, of first order (ISO 4787; QUAM A1 drops the ware's part).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ubudget.bench.building import TableBuilder
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.stated import Entry
from ubudget.quantity.expression import Expression, Symbol
from ubudget.quantity.graph import Trait
from ubudget.records.amount import Amount
from ubudget.records.expansions import LIQUIDS, WARE_MATERIALS, Expansion
from ubudget.records.stated import Stated
from ubudget.records.temperature import Temperature

NONE = -1
GROUP = "temperature"


@dataclass(frozen=True)
class TemperatureRows:
    """Rows of the stated inputs that hold deviation and expansions, and whether the run shares one deviation."""

    deviation: int
    expansion: int
    ware_expansion: int
    """`NONE` where the expansion of the ware is neglected."""
    measured: bool
    """The deviation has an estimate of its own."""
    shared: bool
    distribution: str
    source: str
    items: tuple[str, ...] = ()
    """Register item on which the range rests."""


def enter_temperature(symbol: str, temperature: Temperature, enter: Callable[[Entry], int]) -> TemperatureRows:
    """Rows of the stated inputs, entered by `enter`, which gives the number of each."""
    path = ("symbols", symbol, "temperature")
    rectangular = temperature.distribution == "rectangular"
    stated = Stated(
        half_width=temperature.half_range if rectangular else None,
        distribution="rectangular" if rectangular else None,
        U=None if rectangular else temperature.half_range,
        confidence=None if rectangular else 0.95,
        source=temperature.source,
        item=temperature.item,
    )
    measured = temperature.deviation is not None
    deviation = Entry(
        f"{symbol}.temperature",
        "all",
        "deviation from the reference temperature of the ware",
        GROUP,
        "K",
        stated,
        temperature.deviation or Amount(0.0, "K", "0 K"),
        path,
        "deviation" if measured else "",
        ("temperature", "run") if temperature.shared else None,
        figure_key="half_range",
    )
    return TemperatureRows(
        enter(deviation),
        enter(_liquid(symbol, temperature, path)),
        enter(_ware(symbol, temperature, path)) if temperature.ware_material else NONE,
        measured,
        temperature.shared,
        "rectangular" if rectangular else "normal",
        temperature.source,
        (temperature.item,) if temperature.item else (),
    )


def _liquid(symbol: str, temperature: Temperature, path: tuple[str, ...]) -> Entry:
    uncertain = temperature.expansion_u is not None
    known = LIQUIDS.get(temperature.liquid)
    source = f"{temperature.liquid}: {known.source}" if known else temperature.source
    return Entry(
        f"{symbol}.expansion",
        "all",
        "cubic expansion of the liquid",
        GROUP,
        "1/K",
        Stated(u=temperature.expansion_u, exact=not uncertain, source=source),
        temperature.expansion or (_amount(known) if known else None),
        path,
        "expansion" if temperature.expansion else "",
        ("expansion", temperature.liquid) if uncertain and known else None,
        figure_key="expansion_u" if uncertain else "",
        exact=not uncertain,
    )


def _ware(symbol: str, temperature: Temperature, path: tuple[str, ...]) -> Entry:
    material = WARE_MATERIALS[temperature.ware_material]
    return Entry(
        f"{symbol}.ware expansion",
        "all",
        "cubic expansion of the ware",
        GROUP,
        "1/K",
        Stated(exact=True, source=f"{temperature.ware_material}: {material.source}"),
        _amount(material),
        path,
        "",
        exact=True,
    )


def _amount(expansion: Expansion) -> Amount:
    return Amount(expansion.value, "1/K", f"{expansion.per_kelvin} 1/K")


def temperature_part(
    table: TableBuilder, symbol: str, base: Expression, temperature: TemperatureRows, group: str
) -> Expression:
    """What the volume `base` of the ware loses on its way to the reference temperature."""
    name = f"{symbol}.temperature"
    rows = [temperature.deviation] * table.size
    expansion: Expression = table.pick(
        f"expansion of {symbol}", INPUTS, "estimate", [temperature.expansion] * table.size
    )
    if temperature.ware_expansion != NONE:
        ware = [temperature.ware_expansion] * table.size
        expansion = expansion - table.pick(f"ware expansion of {symbol}", INPUTS, "estimate", ware)
    if temperature.shared:
        return base * expansion * table.pick(name, INPUTS, "estimate", rows)
    u = table.pick(f"u of {name}", INPUTS, "u", rows)
    words, distribution = "temperature of the liquid", temperature.distribution
    trait = Trait(name, words, group, "B", distribution, temperature.source, items=temperature.items)
    if not temperature.measured:
        return base * expansion * table.deviation(name, name, "K", u, [trait] * table.size)
    estimate = table.pick(f"estimate of {name}", INPUTS, "estimate", rows)
    kelvin = table.formula(name, name, "K", estimate)
    table.formula(f"u({name})", f"u({name})", "K", Symbol(f"u of {name}"))
    table.leaf(name, f"u({name})", [trait] * table.size)
    return base * expansion * kelvin
