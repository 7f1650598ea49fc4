"""The inputs of a single budget as plain data, for a second calculation that shares nothing with the first.

Only what the method states: equations as text, estimates, how each uncertainty was stated, correlations, and the size
of each unit in coherent SI units. Nothing here is calculated from it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ubudget.pages.exported_bench import NotExported as NotExported
from ubudget.pages.exported_bench import exported_molar_mass, exported_volume, exported_weighing
from ubudget.quantity.units import convert, dimension
from ubudget.records.amount import Amount
from ubudget.records.method import Constant, Equation, Input, LineParameter, Method
from ubudget.records.molar_mass import MolarMass
from ubudget.records.stated import Component, Stated
from ubudget.records.volume import Volume
from ubudget.records.weighing import Weighing

_AMOUNTS = ("u", "U", "half_width", "rounded_to", "pooled_s")
_NUMBERS = ("k", "confidence", "distribution", "top", "pooled_dof", "dof", "reliability")


def exported_inputs(method: Method) -> dict[str, Any]:
    """A method whose symbols are inputs, constants, equations, parameters of lines, and simple volumes, weighings and
    molar masses.

    A `scale` is numerator and denominator of the size of a unit in coherent SI units. Raises `NotExported`."""
    return {
        "name": method.document.id,
        "equation": method.document.equation,
        "unit": method.document.unit,
        "scale": _scale(method.document.unit),
        "quantities": {symbol: _quantity(symbol, entry, method) for symbol, entry in method.symbols.items()},
        "data": {
            name: {"x": list(data.x), "y": list(data.y), "origin": data.origin} for name, data in method.data.items()
        },
        "correlations": [
            {"between": list(each.between), "coefficient": each.coefficient} for each in method.correlations
        ],
        "coverage": {
            "rule": method.coverage.rule,
            "k": method.coverage.k,
            "probability": method.coverage.probability,
        },
    }


def _quantity(symbol: str, entry: object, method: Method) -> dict[str, Any]:
    if isinstance(entry, Constant):
        unit = entry.value.unit
        return {"kind": "constant", "value": entry.value.value, "unit": unit, "scale": _scale(unit)}
    if isinstance(entry, Equation):
        return {"kind": "equation", "equation": entry.equation}
    if isinstance(entry, LineParameter):
        told = {"kind": "line parameter", "data": entry.data, "parameter": entry.parameter, "unit": entry.unit}
        return told | {"scale": _scale(entry.unit)}
    if isinstance(entry, Input) and not entry.column and not entry.cases:
        return _input(symbol, entry)
    if isinstance(entry, Volume | Weighing | MolarMass):
        return {**_bench(symbol, entry, method), "unit": entry.unit, "scale": _scale(entry.unit)}
    raise NotExported(f"{symbol} is no plain input ({getattr(entry, 'operation', 'input')})")


def _bench(symbol: str, entry: Volume | Weighing | MolarMass, method: Method) -> dict[str, Any]:
    if isinstance(entry, Volume):
        return exported_volume(symbol, entry, method, _in)
    if isinstance(entry, Weighing):
        return exported_weighing(symbol, entry, _in)

    def weight(element: str) -> dict[str, Any]:
        stated = method.atomic_weights[element]
        estimate = _in(stated.value, entry.unit, symbol)
        return {"estimate": estimate, **_stated(symbol, stated, entry.unit, estimate)}

    return exported_molar_mass(symbol, entry, method, weight)


def _input(symbol: str, entry: Input) -> dict[str, Any]:
    estimate = None if entry.estimate is None else _in(entry.estimate, entry.unit, symbol)
    if entry.readings:
        estimate = sum(_in(each, entry.unit, symbol) for each in entry.readings) / len(entry.readings)
    if estimate is None:
        raise NotExported(f"{symbol} has no estimate of its own")
    own = _stated(symbol, entry, entry.unit, estimate)
    components: list[Stated] = [*entry.components]
    if components and entry.states_uncertainty:
        raise NotExported(f"{symbol} states its uncertainty beside its components")
    return {
        "kind": "input",
        "unit": entry.unit,
        "scale": _scale(entry.unit),
        "estimate": estimate,
        "components": [_component(symbol, part, entry.unit, estimate) for part in entry.components],
        **own,
    }


def _component(symbol: str, part: Component, unit: str, estimate: float) -> dict[str, Any]:
    return {"name": part.name, **_stated(symbol, part, unit, estimate)}


def _stated(symbol: str, stated: Stated, unit: str, estimate: float) -> dict[str, Any]:
    """How the uncertainty is stated, in the unit of the quantity."""
    told: dict[str, Any] = {"exact": True} if stated.exact else {}
    for key in _AMOUNTS:
        amount: Amount | None = getattr(stated, key)
        if amount is not None:
            relative = amount.relative and unit != "%"
            told[key] = amount.value * abs(estimate) / 100 if relative else _in(amount, unit, symbol)
    if stated.readings is not None:
        told["readings"] = [_in(each, unit, symbol) for each in stated.readings]
    numbers: Mapping[str, Any] = {key: getattr(stated, key) for key in _NUMBERS}
    return told | {key: value for key, value in numbers.items() if value is not None}


def _in(amount: Amount, unit: str, symbol: str) -> float:
    try:
        return convert(amount.value, amount.unit, unit) if amount.unit else amount.value
    except ValueError as fault:
        raise NotExported(f"{symbol}: {fault}") from None


def _scale(unit: str) -> list[int]:
    size = dimension(unit).factor
    return [size.numerator, size.denominator]
