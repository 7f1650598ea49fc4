"""The register: equipment, reference solutions and materials, each with its certificates."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, NonNegativeAmount, PositiveAmount
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT

Use = Literal["individual", "one of a set"]
EquipmentKind = Literal[
    "balance",
    "flask",
    "pipette",
    "graduated pipette",
    "piston pipette",
    "burette",
    "cylinder",
    "tube",
    "thermometer",
    "weight",
    "oven",
    "other",
]
VOLUMETRIC: frozenset[str] = frozenset(
    {"flask", "pipette", "graduated pipette", "piston pipette", "burette", "cylinder", "tube"}
)


@dataclass(frozen=True, config=STRICT, kw_only=True)
class CertifiedValue:
    """One value of a certificate. `analyte` for a material certified for several."""

    value: AnyAmount
    U: PositiveAmount
    k: Positive
    analyte: str = ""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Certificate:
    number: str
    issuer: str
    accreditation: str = ""
    issued: dt.date
    due: dt.date
    traceable_to: str = ""
    properties: Annotated[tuple[CertifiedValue, ...], Field(strict=False, alias="property")] = ()

    @model_validator(mode="after")
    def _dates_in_order(self) -> Certificate:
        if self.due < self.issued:
            raise ValueError("due before issued; accepted: due on or after issued")
        return self


Certificates = Annotated[tuple[Certificate, ...], Field(strict=False, alias="certificate")]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Equipment:
    """A balance, a piece of volumetric ware or another device. Limits are half-widths."""

    id: str
    kind: EquipmentKind
    description: str
    use: Use = "individual"
    # balance
    resolution: PositiveAmount | None = None
    linearity: PositiveAmount | None = None
    # balance and volumetric ware
    repeatability: NonNegativeAmount | None = None
    repeatability_dof: Positive | None = None
    # volumetric ware
    nominal: PositiveAmount | None = None
    tolerance: PositiveAmount | None = None
    tolerance_distribution: Literal["rectangular", "triangular"] = "triangular"
    tolerance_source: str = ""
    accuracy_class: Literal["A", "AS", "B"] | None = None
    """Looked up in the standard where neither tolerance nor certified value is stated."""
    standard: str = ""
    """Empty: the standard of its kind, e.g. ISO 1042 for a flask."""
    division: PositiveAmount | None = None
    """Smallest division of graduated ware."""
    meniscus: NonNegativeAmount | None = None
    """Half-width of setting the meniscus, new at each filling."""
    certificates: Certificates = ()

    @model_validator(mode="after")
    def _volumetric_ware_is_complete(self) -> Equipment:
        if self.kind in VOLUMETRIC and self.nominal is None:
            raise ValueError(f"a {self.kind} without nominal; accepted: nominal volume with unit")
        stated = self.tolerance is not None or self.certificates or self.accuracy_class is not None
        if self.kind in VOLUMETRIC and self.kind != "piston pipette" and not stated:
            raise ValueError(f"a {self.kind} without tolerance, accuracy_class and certificate; accepted: one of them")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ReferenceMaterial:
    """A stock solution, a pure substance or a matrix reference material."""

    id: str
    kind: Literal["stock solution", "pure substance", "matrix reference material"]
    description: str
    lot: str
    expiry: dt.date | None = None
    basis: str = ""
    measurand: str = ""
    certificates: Certificates = ()


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Register:
    title: str
    revision: str
    date: dt.date
    equipment: Annotated[tuple[Equipment, ...], Field(strict=False)] = ()
    reference_materials: Annotated[tuple[ReferenceMaterial, ...], Field(strict=False, alias="reference_material")] = ()
