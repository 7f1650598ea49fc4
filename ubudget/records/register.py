"""The register: equipment, reference solutions and materials, each with its certificates."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, NonNegativeAmount, PositiveAmount
from ubudget.records.balance import BalanceLimits, InUse
from ubudget.records.preparation import PreparedStandard
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT
from ubudget.records.unit_comparison import in_unit

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
Route = Literal["national institute", "accredited laboratory", "accredited producer", "other with evidence"]
"""Why a certificate can be relied on, after the routes of ILAC P10:07/2020, sections 2 and 3: a national institute
within its recognised capabilities; a calibration laboratory, or a producer of reference materials, accredited for it;
or another one, whose competence the laboratory itself has to show."""
VOLUMETRIC: frozenset[str] = frozenset(
    {"flask", "pipette", "graduated pipette", "piston pipette", "burette", "cylinder", "tube"}
)


End = Literal["SI", "named reference"]
"""Where a chain of calibrations may end (ISO/IEC 17025:2017, 6.5.2 and 6.5.3)."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class CertifiedValue:
    """One value of a certificate. `analyte` for a material certified for several."""

    value: AnyAmount
    U: PositiveAmount
    k: Positive | None = None
    """Absent: U is taken as the half-width of a rectangular distribution (GUM 4.3.7), and a finding says so."""
    analyte: str = ""
    at: NonNegativeAmount | None = None
    """Where an item was calibrated at several points: the set or delivered volume, or the load, to which this value
    belongs. For ware `value` is the true volume, for a balance the error of indication."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Certificate:
    number: str
    issuer: str
    accreditation: str = ""
    issued: dt.date
    due: dt.date
    route: Route | None = None
    evidence: str = ""
    """What shows the competence of an issuer that no recognised route covers."""
    range_from: AnyAmount | None = None
    range_to: AnyAmount | None = None
    """Range of use for which the certificate holds, ends included."""
    traceable_to: str = ""
    """Id of a reference or an item of the register, or words; words end a chain only with `ends_at`."""
    ends_at: End | None = None
    properties: Annotated[tuple[CertifiedValue, ...], Field(strict=False, alias="property")] = ()
    in_use: InUse | None = None
    """Balances: U(W) of a reading in use."""

    @property
    def by_point(self) -> bool:
        """Whether its values belong to points: volumes, or loads."""
        return any(prop.at is not None for prop in self.properties)

    @model_validator(mode="after")
    def _dates_in_order(self) -> Certificate:
        if self.due < self.issued:
            raise ValueError("due before issued; accepted: due on or after issued")
        return self

    @model_validator(mode="after")
    def _range_in_order(self) -> Certificate:
        low, high = self.range_from, self.range_to
        if low is not None and high is not None:
            top = in_unit(high.value, high.unit, low.unit)
            if top is None or top < low.value:
                raise ValueError("range_to below range_from, or of another kind; accepted: a range, low end first")
        return self


Certificates = Annotated[tuple[Certificate, ...], Field(strict=False, alias="certificate")]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Equipment(BalanceLimits):
    """A balance, a piece of volumetric ware or another device. Limits are half-widths."""

    id: str
    kind: EquipmentKind
    description: str
    use: Use = "individual"
    # volumetric ware, weights
    nominal: PositiveAmount | None = None
    tolerance: PositiveAmount | None = None
    tolerance_distribution: Literal["rectangular", "triangular"] = "triangular"
    tolerance_source: str = ""
    accuracy_class: Literal["A", "AS", "B", "E1", "E2", "F1", "F2", "M1", "M2", "M3"] | None = None
    """Ware: looked up in the standard where neither tolerance nor certified value is stated. Weights: class of OIML
    R 111, whose maximum permissible error holds where there is no certificate."""
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
    lot: str = ""
    expiry: dt.date | None = None
    basis: str = ""
    measurand: str = ""
    certificates: Certificates = ()


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Reference:
    """A standard above the laboratory's own items, on which their certificates rest."""

    id: str
    description: str
    kind: Literal["SI unit", "national standard", "named reference", "constant"]
    value: AnyAmount | None = None
    u: NonNegativeAmount | None = None
    """Standard uncertainty, with its unit or in % of the value."""
    traceable_to: str = ""
    """Id of another reference; a national standard needs one."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Register:
    title: str
    revision: str
    date: dt.date
    equipment: Annotated[tuple[Equipment, ...], Field(strict=False)] = ()
    reference_materials: Annotated[tuple[ReferenceMaterial, ...], Field(strict=False, alias="reference_material")] = ()
    prepared_standards: Annotated[tuple[PreparedStandard, ...], Field(strict=False, alias="prepared_standard")] = ()
    references: Annotated[tuple[Reference, ...], Field(strict=False, alias="reference")] = ()
