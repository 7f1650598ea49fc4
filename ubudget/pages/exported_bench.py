"""Simple operations of the bench as inputs with components, for the second calculation: ware and balance whose limits
stand in the method, and molar masses whose atomic weights do (QUAM:2012.P1, A1 and A2).

What rests on the register, or on more than these limits, is not exported: `NotExported` says what."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import Any

from ubudget.records.amount import Amount
from ubudget.records.balance import BalanceLimits
from ubudget.records.method import Method
from ubudget.records.molar_mass import MolarMass
from ubudget.records.temperature import Temperature
from ubudget.records.volume import Volume
from ubudget.records.weighing import Weighing

In = Callable[[Amount, str, str], float]
"""An amount in a unit, for a symbol."""


class NotExported(Exception):
    """A budget that rests on more than plain input quantities; the message names what on."""


def exported_volume(symbol: str, volume: Volume, method: Method, in_unit: In) -> dict[str, Any]:
    """Limits, filling and temperature of a volume whose ware stands in the method."""
    elsewhere = (volume.ware, volume.ware_column, volume.value_column)
    more = (volume.meniscus, volume.reading_half_width, volume.drop_half_width)
    stated = volume.value or volume.nominal
    if any(elsewhere) or any(more) or stated is None or volume.tolerance is None:
        raise NotExported(f"{symbol} is a volume of more than limits, filling and temperature of the method")
    estimate = in_unit(stated, volume.unit, symbol)
    shape, half = volume.tolerance_distribution, in_unit(volume.tolerance, volume.unit, symbol)
    components = [_within("limits", half, shape)]
    if volume.repeatability is not None:
        if method.effects.get("filling repeatability", "counted") != "counted":
            raise NotExported(f"{symbol} has a repeatability that is covered elsewhere")
        dof = {} if volume.repeatability_dof is None else {"dof": volume.repeatability_dof}
        components.append({"name": "filling", "u": in_unit(volume.repeatability, volume.unit, symbol), **dof})
    if volume.temperature is not None:
        components.append(_temperature(symbol, volume.temperature, estimate, in_unit))
    return {"kind": "input", "estimate": estimate, "components": components}


def _within(name: str, half: float, shape: str) -> dict[str, Any]:
    if shape == "normal 95 %":
        return {"name": name, "U": half, "confidence": 0.95}
    return {"name": name, "half_width": half, "distribution": shape}


def _temperature(symbol: str, temperature: Temperature, estimate: float, in_unit: In) -> dict[str, Any]:
    """A deviation in kelvin, times volume and expansion."""
    more = (temperature.deviation, temperature.expansion_u, temperature.ware_material, temperature.shared)
    if temperature.expansion is None or any(more):
        raise NotExported(f"{symbol} has a temperature of more than a range and an expansion")
    half = in_unit(temperature.half_range, "K", symbol)
    expansion = in_unit(temperature.expansion, "1/K", symbol)
    return {**_within("temperature", half, temperature.distribution), "factors": [estimate, expansion]}


def exported_weighing(symbol: str, weighing: Weighing, in_unit: In) -> dict[str, Any]:
    """A weighing by difference with the linearity of the balance, new at each reading."""
    further = [
        field.name
        for field in fields(BalanceLimits)
        if field.name != "linearity" and getattr(weighing, field.name) != field.default
    ]
    beside = (weighing.balance, weighing.buoyancy, weighing.minimum, *further)
    if weighing.tare is None or weighing.gross is None or weighing.linearity is None or any(beside):
        raise NotExported(f"{symbol} is a weighing of more than two readings and a linearity of the method")
    linearity = in_unit(weighing.linearity, weighing.unit, symbol)
    return {
        "kind": "input",
        "estimate": in_unit(weighing.gross, weighing.unit, symbol) - in_unit(weighing.tare, weighing.unit, symbol),
        "components": [_within(name, linearity, "rectangular") for name in ("gross", "tare")],
    }


def exported_molar_mass(
    symbol: str, mass: MolarMass, method: Method, stated: Callable[[str], Mapping[str, Any]]
) -> dict[str, Any]:
    """The formula, and each atomic weight that the method states, by `stated`."""
    others = [name for name, entry in method.symbols.items() if isinstance(entry, MolarMass) and name != symbol]
    if mass.cases or others:
        raise NotExported(f"{symbol} shares its elements with others")
    weights = {element: dict(stated(element)) for element in method.atomic_weights}
    return {"kind": "molar mass", "formula": mass.formula, "elements": weights}
