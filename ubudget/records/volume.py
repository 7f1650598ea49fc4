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
    """Volume of one piece of ware filled once, or the part of it that was delivered.

    The ware is named in a column of the samples table, is an item of the register, or its limits stand here. A part
    volume of graduated ware or a piston pipette is a reading: `value`, or `value_column` of the samples table; the
    limits of the ware hold for it as they are."""

    operation: Literal["volume"]
    quantity: str
    unit: str
    of: Literal["sample", "blank"] = "sample"
    ware: str = ""
    ware_column: str = ""
    value: PositiveAmount | None = None
    value_column: str = ""
    nominal: PositiveAmount | None = None
    tolerance: PositiveAmount | None = None
    tolerance_distribution: Literal["rectangular", "triangular", "normal 95 %"] = "triangular"
    repeatability: NonNegativeAmount | None = None
    repeatability_dof: Positive | None = None
    meniscus: NonNegativeAmount | None = None
    """Half-width of setting the meniscus, new at each filling."""
    reading_half_width: PositiveAmount | None = None
    """Of each of the two readings, at the start and at the end of a delivery."""
    drop_half_width: PositiveAmount | None = None
    """Of where a delivery stops, about half a drop."""
    temperature: Temperature | None = None
    source: str = ""

    @property
    def is_reading(self) -> bool:
        """Whether the volume is a reading, not the mark of the ware."""
        return self.value is not None or bool(self.value_column)


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
