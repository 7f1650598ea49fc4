"""Volumes and dilutions, as the method describes them."""

from __future__ import annotations

from typing import Literal

from pydantic.dataclasses import dataclass

from ubudget.records.amount import NonNegativeAmount, PositiveAmount
from ubudget.records.preparation import Density
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT
from ubudget.records.temperature import Temperature


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Volume:
    """Volume of one piece of ware filled once (or the reading of a burette, `value`).

    The ware is named in a column of the samples table, is an item of the register, or its limits stand
    here."""

    operation: Literal["volume"]
    quantity: str
    unit: str
    of: Literal["sample", "blank"] = "sample"
    ware: str = ""
    ware_column: str = ""
    value: PositiveAmount | None = None
    nominal: PositiveAmount | None = None
    tolerance: PositiveAmount | None = None
    tolerance_distribution: Literal["rectangular", "triangular", "normal 95 %"] = "triangular"
    repeatability: NonNegativeAmount | None = None
    repeatability_dof: Positive | None = None
    temperature: Temperature | None = None
    source: str = ""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Dilution:
    """Dilution factor of the measured solution: product over its steps of what was made / aliquot."""

    operation: Literal["dilution"]
    quantity: str
    of: Literal["sample", "blank"] = "sample"
    temperature: Temperature | None = None
    density: Density | None = None
    """Of the solutions diluted, where they were weighed and concentrations are by volume, or the reverse."""
    density_made: Density | None = None
    """Of the solutions made."""
