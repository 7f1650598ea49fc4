"""The register: equipment, reference solutions and materials, each with its certificates."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, PositiveAmount
from ubudget.records.balance import BalanceLimits, InUse
from ubudget.records.preparation import PreparedStandard
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT

Use = Literal["individual", "one of a set"]
EquipmentKind = Literal[
    "balance",
    "flask",
    "pipette",
    "piston pipette",
    "burette",
    "cylinder",
    "tube",
    "thermometer",
    "weight",
    "oven",
    "other",
]
VOLUMETRIC: frozenset[str] = frozenset({"flask", "pipette", "piston pipette", "burette", "cylinder", "tube"})


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
    in_use: InUse | None = None
    """Balances: U(W) of a reading in use."""

    @model_validator(mode="after")
    def _dates_in_order(self) -> Certificate:
        if self.due < self.issued:
            raise ValueError("due before issued; accepted: due on or after issued")
        return self


Certificates = Annotated[tuple[Certificate, ...], Field(strict=False, alias="certificate")]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Equipment(BalanceLimits):
    """A balance, a piece of volumetric ware or another device. Limits are half-widths."""

    id: str
    kind: EquipmentKind
    description: str
    use: Use = "individual"
    accuracy_class: str = ""
    """Weights: class of OIML R 111, whose maximum permissible error holds where there is no certificate."""
    # volumetric ware, weights
    nominal: PositiveAmount | None = None
    tolerance: PositiveAmount | None = None
    tolerance_distribution: Literal["rectangular", "triangular"] = "triangular"
    tolerance_source: str = ""
    certificates: Certificates = ()

    @model_validator(mode="after")
    def _volumetric_ware_is_complete(self) -> Equipment:
        if self.kind in VOLUMETRIC and self.nominal is None:
            raise ValueError(f"a {self.kind} without nominal; accepted: nominal volume with unit")
        if self.kind in VOLUMETRIC and self.tolerance is None and not self.certificates:
            raise ValueError(f"a {self.kind} without tolerance and certificate; accepted: one of them")
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
    prepared_standards: Annotated[tuple[PreparedStandard, ...], Field(strict=False, alias="prepared_standard")] = ()
