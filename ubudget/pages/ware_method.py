"""A gravimetric calibration of ware as the text of a method, so that it goes the way of every other budget.

V_20 = m/(rho_w - rho_a) * (1 - rho_a/rho_b) * (1 - gamma (t_w - 20 °C)), ISO 4787:2010; rho_w by Tanaka et al.,
Metrologia 38 (2001) 301-309, eq. 1; rho_a by OIML R 111-1:2004, eq. E.3-1.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import fields

from ubudget.evaluation.ware_calibration import WEIGHING
from ubudget.records.amount import Amount
from ubudget.records.expansions import WARE_MATERIALS
from ubudget.records.stated import Stated
from ubudget.records.ware_calibration import WareCalibration

_EQUATIONS = {
    "rho_w": ("density of the water", "kg/m^3", "a5*(1 - (t_w + a1)^2*(t_w + a2)/(a3*(t_w + a4))) + d_w"),
    "rho_a": ("density of the air", "kg/m^3", "f_a*(b1*p_a - b2*h_a*exp(b3*t_a))/(b4 + t_a)"),
}
_CONSTANTS = {
    "t_r": ("reference temperature", "20 °C"),
    "a1": ("density of water, Tanaka et al. 2001, eq. 1, a1", "-3.983035 K"),
    "a2": ("the same, a2", "301.797 K"),
    "a3": ("the same, a3", "522528.9 K^2"),
    "a4": ("the same, a4", "69.34881 K"),
    "a5": ("the same, a5", "999.97495 kg/m^3"),
    "b1": ("density of air, OIML R 111-1:2004, eq. E.3-1, factor of the pressure", "0.34848 kg*K/(m^3*hPa)"),
    "b2": ("the same, factor of the humidity", "0.009 kg*K/(m^3*%)"),
    "b3": ("the same, exponent", "0.061 1/K"),
    "b4": ("the same, 0 °C above absolute zero", "273.15 K"),
}
_FORMULAS: dict[str, dict[str, object]] = {
    "d_w": {
        "quantity": "formula for the density of water, purity, isotopes and dissolved air",
        "unit": "kg/m^3",
        "group": "water",
        "estimate": "0 kg/m^3",
        "half_width": "0.01 kg/m^3",
        "distribution": "rectangular",
        "source": "EURAMET cg-19: 0.005 to 0.01 kg/m³ for water of unknown isotopes; air-saturated 0.0025 kg/m³ less",
    },
    "f_a": {
        "quantity": "formula for the density of air",
        "group": "air",
        "estimate": 1,
        "u": 0.0002,
        "source": "OIML R 111-1:2004, E.3: 2e-4 of the value",
    },
    "rho_b": {
        "quantity": "density of the weights, conventional",
        "unit": "kg/m^3",
        "group": "air",
        "estimate": "8000 kg/m^3",
        "exact": True,
        "source": "OIML R 111-1:2004, conventional mass",
    },
}


def method_text(record: WareCalibration) -> str:
    """The method file, TOML, in the unit of the nominal volume; every figure of the record is a field of it."""
    return "\n".join(_lines(record)) + "\n"


def _lines(record: WareCalibration) -> Iterator[str]:
    evaporation, meniscus = record.evaporation, record.meniscus
    mass = "(m_b + m_e)" if evaporation else WEIGHING
    tail = " + d_m" if meniscus else ""
    yield "# Made from the record of a calibration of ware; keep that record."
    yield from _table(
        "method",
        {
            "id": record.item,
            "title": f"Calibration of {record.item}, {record.aim.text} {record.capacity}",
            "version": "1",
            "status": "approved",
            "author": record.who,
            "effective": record.date,
            "measurand": f"volume of {record.item} {record.capacity}, at 20 °C",
            "unit": record.nominal.unit,
            "equation": f"V_20 = V_w*(1 - gamma*(t_w - t_r)){tail}",
            "references": ["ISO 4787:2010", *(["ISO 8655-6:2002"] if record.ware == "piston pipette" else [])],
        },
    )
    yield from _table("coverage", {"rule": "t", "probability": 0.9545})
    volume = ("volume of the water", record.nominal.unit, f"{mass}/(rho_w - rho_a)*(1 - rho_a/rho_b)")
    for symbol, (quantity, unit, equation) in {**_EQUATIONS, "V_w": volume}.items():
        made = {"operation": "equation", "quantity": quantity, "unit": unit, "equation": equation}
        yield from _table(f"symbols.{symbol}", made)
    for symbol, (quantity, value) in _CONSTANTS.items():
        yield from _table(f"symbols.{symbol}", {"operation": "constant", "quantity": quantity, "value": value})
    readings = [mass.text for mass in record.weighings]
    yield from _input(WEIGHING, "mean of the weighings", "g", "weighings", {"readings": readings})
    yield from _array_table(f"symbols.{WEIGHING}.component", {"name": "balance", **_stated(record.balance)})
    if evaporation:
        lost = {"estimate": evaporation.text, "half_width": evaporation.text, "distribution": "rectangular"}
        yield from _input("m_e", "mass that evaporates in a weighing", "g", "weighings", lost)
    for symbol, quantity, unit, group, measured in (
        ("t_w", "temperature of the water", "°C", "water", record.water_temperature),
        ("t_a", "temperature of the air", "°C", "air", record.air_temperature),
        ("p_a", "pressure of the air", "hPa", "air", record.pressure),
        ("h_a", "humidity of the air", "%", "air", record.humidity),
    ):
        yield from _input(symbol, quantity, unit, group, {"estimate": measured.value.text, **_stated(measured)})
    yield from _input("gamma", f"cubic expansion of {record.material}", "1/K", "ware", _expansion(record))
    if meniscus:
        zero = f"0 {record.nominal.unit}"
        setting = {"estimate": zero, **_stated(meniscus)}
        yield from _input("d_m", "setting of the meniscus, alike in all", record.nominal.unit, "ware", setting)
    for symbol, entry in _FORMULAS.items():
        yield from _table(f"symbols.{symbol}", {"operation": "input", **entry})


def _expansion(record: WareCalibration) -> dict[str, object]:
    material = WARE_MATERIALS[record.material]
    u = record.expansion_u
    stated: dict[str, object] = {"u": u.text} if u is not None else {"exact": True}
    return {"estimate": f"{material.per_kelvin} 1/K", **stated, "source": material.source}


def _input(symbol: str, quantity: str, unit: str, group: str, entry: Mapping[str, object]) -> Iterator[str]:
    head = {"operation": "input", "quantity": quantity, "unit": unit, "group": group}
    yield from _table(f"symbols.{symbol}", {**head, **entry})


def _stated(stated: Stated) -> dict[str, object]:
    """How an uncertainty was stated, as keys of the method."""
    keys = [field.name for field in fields(Stated)]
    values = {key: getattr(stated, key) for key in keys}
    return {
        key: value.text if isinstance(value, Amount) else value
        for key, value in values.items()
        if value is not None and value is not False and value != ""
    }


def _table(name: str, entry: Mapping[str, object]) -> Iterator[str]:
    yield f"\n[{name}]"
    yield from _entries(entry)


def _array_table(name: str, entry: Mapping[str, object]) -> Iterator[str]:
    yield f"\n[[{name}]]"
    yield from _entries(entry)


def _entries(entry: Mapping[str, object]) -> Iterator[str]:
    for key, value in entry.items():
        # JSON spells text, numbers, true and lists of text as TOML does; a date stands plain.
        yield f"{key} = {json.dumps(value, ensure_ascii=False) if not hasattr(value, 'isoformat') else value}"
