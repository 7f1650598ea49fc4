"""Air buoyancy of a weighing: applied or left out, and what is known of air and sample."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, PositiveAmount
from ubudget.records.stated import Stated
from ubudget.records.strict import STRICT

CONDITIONS = ("temperature", "pressure", "humidity", "carbon_dioxide")
"""What the density of air is calculated from."""
AIR_UNITS = {
    "temperature": "degC",
    "pressure": "hPa",
    "humidity": "%",
    "carbon_dioxide": "1",
    "air_density": "kg/m^3",
    "sample_density": "kg/m^3",
}
"""Unit in which each quantity enters the formulas; the amount of carbon dioxide is a mole fraction."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class AirQuantity(Stated):
    """A condition of the air, or a density, with its uncertainty."""

    estimate: AnyAmount | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class SampleDensity(AirQuantity):
    """Density of the sample, one for all or a number for each row of the samples table."""

    column: str = ""
    """Column of the samples table that holds the density, with its unit in the heading. The portions of one sample
    have one deviation from it."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class MatrixDensity(AirQuantity):
    """Density of the samples of one matrix, or its uncertainty there beside a column of densities."""

    matrix: Annotated[str, Field(min_length=1)]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Buoyancy:
    """`applied`: the reading is multiplied by (1 - rho_a/rho_weights)/(1 - rho_a/rho_sample). `left out`: the factor is
    exactly 1, and the size of the effect, from the same densities or as `bound`, is carried as an uncertainty.

    The density of air is stated, or calculated by `formula` from the conditions, or that of another weighing
    (`air_of`)."""

    treatment: Literal["applied", "left out"]
    formula: Literal["CIPM-2007", "simplified"] | None = None
    temperature: AirQuantity | None = None
    pressure: AirQuantity | None = None
    humidity: AirQuantity | None = None
    carbon_dioxide: AirQuantity | None = None
    air_density: AirQuantity | None = None
    air_of: str = ""
    sample_density: SampleDensity | None = None
    matrix_densities: Annotated[tuple[MatrixDensity, ...], Field(strict=False, alias="for")] = ()
    """In place of sample_density for the samples of a matrix."""
    weights_density: PositiveAmount | None = None
    """Density of the weights of the adjustment; 8000 kg/m^3 by the convention of OIML D 28."""
    bound: PositiveAmount | None = None
    """Largest relative effect, where buoyancy is left out and no densities are stated."""
    source: str = ""

    @property
    def density_column(self) -> str:
        return self.sample_density.column if self.sample_density else ""

    @property
    def by_sample(self) -> bool:
        """Whether the density differs from sample to sample."""
        return bool(self.density_column or self.matrix_densities)

    @property
    def quantities(self) -> dict[str, AirQuantity]:
        """What is stated, by key."""
        return {key: stated for key in AIR_UNITS if (stated := getattr(self, key)) is not None}
