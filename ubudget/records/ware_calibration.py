"""The record of a gravimetric calibration of ware (ISO 4787, ISO 8655-6), and what may be wrong with it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.amount import Amount, AnyAmount, NonNegativeAmount, PositiveAmount
from ubudget.records.crosscheck_ware import class_findings
from ubudget.records.expansions import WARE_MATERIALS
from ubudget.records.finding import Finding
from ubudget.records.register import Equipment
from ubudget.records.stated import Stated
from ubudget.records.strict import STRICT
from ubudget.records.unit_comparison import in_unit

Ware = Literal["flask", "pipette", "graduated pipette", "piston pipette", "burette", "cylinder", "tube"]
KIND = "calibration of ware"
CELSIUS = frozenset({"°C", "degC"})


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Measured(Stated):
    """What was measured once for the whole calibration, and its uncertainty."""

    value: AnyAmount


@dataclass(frozen=True, config=STRICT, kw_only=True)
class WareCalibration:
    """Weighings of the water that a piece of ware contains or delivers at one volume, and the conditions."""

    kind: Literal["calibration of ware"]
    item: Annotated[str, Field(min_length=1)]
    ware: Ware
    nominal: PositiveAmount
    """In the unit in which the result is wanted."""
    set_to: PositiveAmount | None = None
    """The volume that was calibrated, where it is a part of the nominal one."""
    division: PositiveAmount | None = None
    accuracy_class: Literal["A", "AS", "B"] | None = None
    standard: str = ""
    capacity: Literal["to contain", "to deliver"]
    material: str
    expansion_u: NonNegativeAmount | None = None
    """Standard uncertainty of the material's cubic expansion, in % of it; absent: taken as exact."""
    date: dt.date
    who: str
    weighings: Annotated[tuple[PositiveAmount, ...], Field(min_length=2, strict=False)]
    """Mass of water of each filling or delivery: loaded less empty."""
    evaporation: PositiveAmount | None = None
    """Mass lost in each weighing, added to it."""
    balance: Stated
    """Uncertainty of a net weighing, without its repeatability, which the weighings show."""
    water_temperature: Measured
    air_temperature: Measured
    pressure: Measured
    humidity: Measured
    meniscus: Stated | None = None
    """Volume: how far every setting of the meniscus may be off alike."""
    remarks: Annotated[tuple[str, ...], Field(strict=False)] = ()

    @property
    def aim(self) -> Amount:
        """The volume from which the systematic error is counted."""
        return self.set_to or self.nominal

    @property
    def classed(self) -> Equipment | None:
        """The piece of ware as the register would have it, to look up its limits; None where it has no class."""
        if self.accuracy_class is None and self.ware != "piston pipette":
            return None
        return Equipment(
            id=self.item,
            kind=self.ware,
            description="",
            nominal=self.nominal,
            division=self.division,
            accuracy_class=self.accuracy_class,
            standard=self.standard,
        )


_UNITS = {"pressure": "hPa", "humidity": "%"}
_ABSOLUTE = {"balance": "g", "meniscus": "mL", "water_temperature": "K", "air_temperature": "K"}
"""Uncertainties that are not stated in % of a value: deviations from zero, and temperatures in °C."""
_RANGES: dict[str, tuple[float, float, str, str]] = {
    # key → lowest, highest, unit, what the range is of
    "water_temperature": (0, 40, "°C", "the density of water (Tanaka et al. 2001)"),
    "air_temperature": (10, 30, "°C", "the density of air (OIML R 111-1:2004, E.3)"),
    "pressure": (900, 1100, "hPa", "the density of air (OIML R 111-1:2004, E.3)"),
    "humidity": (0, 80, "%", "the density of air (OIML R 111-1:2004, E.3)"),
}


def calibration_findings(record: WareCalibration, file: str) -> list[Finding]:
    """Units, ranges of the formulas, and a material and limits that are known."""
    return [*_units(record, file), *_ranges(record, file), *_known(record, file)]


def _units(record: WareCalibration, file: str) -> Iterator[Finding]:
    wanted: list[tuple[str, Amount | None, str]] = [("nominal", record.nominal, "mL")]
    wanted += [("set_to", record.set_to, "mL")]
    wanted += [(f"weighings {n}", mass, "g") for n, mass in enumerate(record.weighings, start=1)]
    wanted += [("evaporation", record.evaporation, "g")]
    wanted += [(f"{key}, value", getattr(record, key).value, unit) for key, unit in _UNITS.items()]
    wanted += [figure for key, unit in _ABSOLUTE.items() for figure in _figures(record, key, unit)]
    for place, amount, unit in wanted:
        if amount is not None and in_unit(amount.value, amount.unit, unit) is None:
            found = f"{amount.text}, which does not convert to {unit}"
            yield Finding("stop", file, place, found, f"an amount in {unit} or a unit like it", "correct the unit")
    for key in ("water_temperature", "air_temperature"):
        value = getattr(record, key).value
        if value.unit not in CELSIUS:
            found = f"{value.text}, a temperature not in °C"
            yield Finding("stop", file, f"{key}, value", found, 'a temperature in °C, e.g. "21.3 °C"', "give it in °C")
    for key in ("water_temperature", "air_temperature", "pressure", "humidity", "balance", "meniscus"):
        stated = getattr(record, key)
        if stated is not None and not stated.states_uncertainty:
            accepted = "u; U with k; half_width with distribution; or exact = true"
            yield Finding("stop", file, key, "no uncertainty", accepted, "state the uncertainty")
        if stated is not None and stated.readings is not None:
            yield Finding("stop", file, key, "readings", "one value with its uncertainty", "give their mean and its u")


def _figures(record: WareCalibration, key: str, unit: str) -> Iterator[tuple[str, Amount | None, str]]:
    """The figures by which an uncertainty is stated; a percentage has nothing to be a percentage of."""
    stated: Stated | None = getattr(record, key)
    if stated is not None:
        yield from ((f"{key}, {name}", getattr(stated, name), unit) for name in ("u", "U", "half_width"))


def _ranges(record: WareCalibration, file: str) -> Iterator[Finding]:
    for key, (lowest, highest, unit, what) in _RANGES.items():
        amount = getattr(record, key).value
        if unit == "°C" and amount.unit not in CELSIUS:
            continue  # told among the units
        value = amount.value if unit == "°C" else in_unit(amount.value, amount.unit, unit)
        if value is not None and not lowest <= value <= highest:
            severity = "stop" if key == "water_temperature" else "attend"
            accepted = f"{lowest:g} {unit} to {highest:g} {unit}, the range of {what}"
            yield Finding(severity, file, f"{key}, value", amount.text, accepted, "check the value")  # type: ignore[arg-type]


def _known(record: WareCalibration, file: str) -> Iterator[Finding]:
    if record.material not in WARE_MATERIALS:
        found, accepted = f"the unknown material {record.material}", ", ".join(WARE_MATERIALS)
        yield Finding("stop", file, "material", found, accepted, "name one of them")
    if record.classed is not None:
        yield from class_findings(record.classed, file, f"item {record.item}")
