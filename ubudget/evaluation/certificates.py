"""Evidence behind each item: its certificate of the day, and the chain of calibrations above it.

A chain is walked from an item by `traceable_to`: to another item or a reference of the register where it is an id.
It ends at the SI or a named reference (ISO/IEC 17025:2017, 6.5): at a reference of that kind, or where a certificate
says so by `ends_at`. Words alone end no chain.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from ubudget.bench.limits import certificate_on, factor_of
from ubudget.records.amount import Amount
from ubudget.records.amounts_used import Used, amounts_used
from ubudget.records.certified_points import nearest
from ubudget.records.preparation import PreparedStandard
from ubudget.records.records import Records
from ubudget.records.register import Certificate, CertifiedValue, Equipment, Reference, ReferenceMaterial
from ubudget.records.unit_comparison import in_unit
from ubudget.records.uses import Use, calibration_materials, uses_of
from ubudget.records.ware_limits import class_limits, goes_by_class

Status = Literal["valid", "expired", "not yet valid", "no certificate", "class of a standard", "reference"]
Ending = Literal["SI", "named reference", "constant", "class of a standard", "stops", "loops"]
Role = Literal["equipment", "reference material", "prepared standard", "reference"]
Item = Equipment | ReferenceMaterial | PreparedStandard | Reference

_ENDS: dict[str, Ending] = {"SI unit": "SI", "named reference": "named reference", "constant": "constant"}
"""Kind of a reference → the end that it is."""


@dataclass(frozen=True)
class Evidence:
    """An item of the register, for one analyte where its certificate distinguishes, and what vouches for its value.

    `value`, `U` and `u` are in `unit`, as the certificate has it; `u` = U/k, or a tolerance over its divisor."""

    item: str
    description: str
    role: Role
    kind: str
    table: str
    """Array of the register that holds it, and `number`, its 0-based place there."""
    number: int
    status: Status
    traceable_to: str
    above: str
    """Id of the register on which this one rests, empty where the chain goes no further."""
    lot: str = ""
    expiry: dt.date | None = None
    certificate: Certificate | None = None
    certificate_number: int | None = None
    certified: CertifiedValue | None = None
    value: float | None = None
    unit: str = ""
    U: float | None = None
    k: float | None = None
    u: float | None = None
    uses: tuple[Use, ...] = ()
    """Days of use; of an item above others in the chain, none."""
    prepared: dt.date | None = None
    """Day on which the laboratory made it, for a standard of its own."""

    @property
    def place(self) -> str:
        """Where it stands in the register, for findings."""
        named = f"{self.table} {self.number + 1} ({self.item})"
        if self.certificate is None or self.certificate_number is None:
            return named
        return f"{named}, certificate {self.certificate_number + 1} ({self.certificate.number})"

    @property
    def relative_u(self) -> float | None:
        return self.u / abs(self.value) if self.u is not None and self.value else None


@dataclass(frozen=True)
class Walk:
    """The items above one, nearest first, and where that ends."""

    links: tuple[Evidence, ...]
    ending: Ending


class Register:
    """The register's items by id, with what vouches for them on the days of the run."""

    def __init__(self, records: Records) -> None:
        self._records = records
        self._known: dict[tuple[str, str, dt.date | None], Evidence] = {}

    @cached_property
    def items(self) -> dict[str, tuple[str, int, Item]]:
        """Id → array of the register, place in it, item."""
        register = self._records.register
        if register is None:
            return {}
        arrays: tuple[tuple[str, tuple[Item, ...]], ...] = (
            ("equipment", register.equipment),
            ("reference_material", register.reference_materials),
            ("prepared_standard", register.prepared_standards),
            ("reference", register.references),
        )
        return {item.id: (name, number, item) for name, items in arrays for number, item in enumerate(items)}

    @cached_property
    def uses(self) -> dict[str, tuple[Use, ...]]:
        return uses_of(self._records)

    @cached_property
    def calibrating(self) -> dict[str, tuple[str, ...]]:
        """Items whose values calibrate the run, each with its analytes; no analyte: any."""
        return calibration_materials(self._records)

    @cached_property
    def amounts(self) -> dict[str, list[Used]]:
        """What each item was used for, in the order of the records."""
        found: dict[str, list[Used]] = {}
        for used in amounts_used(self._records):
            found.setdefault(used.item, []).append(used)
        return found

    def uses_of(self, item: str) -> tuple[Use, ...]:
        """Days of use in order; the run's own date where no step is known."""
        run = self._records.run
        fallback = (Use(run.file.run.date, "run"),) if run else ()
        return self.uses.get(item, fallback)

    def evidence(self, item: str, analyte: str = "", on: dt.date | None = None) -> Evidence:
        """What vouches for an item; `on` is the day for one above others: the day of the certificate that names it."""
        key = (item, analyte, on)
        if key not in self._known:
            self._known[key] = self._evidence(item, analyte, on)
        return self._known[key]

    def walk(self, start: Evidence) -> Walk:
        """The chain above an item."""
        links: list[Evidence] = []
        seen, here = {start.item}, start
        while True:
            if not here.above:
                return Walk(tuple(links), _ending(here))
            if here.above in seen:
                return Walk(tuple(links), "loops")
            day = here.certificate.issued if here.certificate else here.prepared
            here = self.evidence(here.above, "", day)
            seen.add(here.item)
            links.append(here)

    def _evidence(self, item: str, analyte: str, on: dt.date | None) -> Evidence:
        table, number, found = self.items[item]
        uses = () if on else self.uses_of(item)
        if isinstance(found, Reference):
            return self._reference(found, table, number)
        if isinstance(found, PreparedStandard):
            return self._prepared(found, table, number, uses, on)
        first = on or (uses[0].day if uses else None)
        last = on or (uses[-1].day if uses else None)
        chosen = certificate_on(found.certificates, first)
        place, certificate = chosen if chosen else (None, None)
        amounts = self.amounts.get(item) if certificate and certificate.by_point else None
        certified = _certified(found, certificate, analyte, amounts[0].amount if amounts else None)
        material = found if isinstance(found, ReferenceMaterial) else None
        value, unit, U, k, u = _figures(found, certified)
        above = certificate.traceable_to if certificate and certificate.traceable_to in self.items else ""
        return Evidence(
            item=item,
            description=found.description,
            role="reference material" if material else "equipment",
            kind=found.kind,
            table=table,
            number=number,
            lot=material.lot if material else "",
            expiry=material.expiry if material else None,
            certificate=certificate,
            certificate_number=place,
            certified=certified,
            value=value,
            unit=unit,
            U=U,
            k=k,
            u=u,
            uses=uses,
            status=_status(found, certificate, certified, first, last),
            traceable_to=certificate.traceable_to if certificate else "",
            above=above,
        )

    def _prepared(
        self, found: PreparedStandard, table: str, number: int, uses: tuple[Use, ...], on: dt.date | None
    ) -> Evidence:
        """A standard of the laboratory's own: its record of preparation, and what it was made from above it."""
        days = [use.day for use in uses] + ([on] if on else [])
        status: Status = "valid"
        if days and min(days) < found.prepared:
            status = "not yet valid"
        elif days and max(days) > found.use_by:
            status = "expired"
        return Evidence(
            item=found.id,
            description=found.description,
            role="prepared standard",
            kind="prepared standard",
            table=table,
            number=number,
            expiry=found.use_by,
            uses=uses,
            status=status,
            traceable_to=found.source,
            above=found.source if found.source in self.items else "",
            prepared=found.prepared,
        )

    def _reference(self, found: Reference, table: str, number: int) -> Evidence:
        value = found.value.value if found.value else None
        u = None
        if found.u and value is not None:
            u = found.u.value / 100 * abs(value) if found.u.relative else found.u.value
        return Evidence(
            item=found.id,
            description=found.description,
            role="reference",
            kind=found.kind,
            table=table,
            number=number,
            value=value,
            unit=found.value.unit if found.value else "",
            u=u,
            status="reference",
            traceable_to=found.traceable_to,
            above=found.traceable_to if found.traceable_to in self.items else "",
        )


def _ending(here: Evidence) -> Ending:
    if here.role == "reference":
        return _ENDS.get(here.kind, "stops")
    if here.status == "class of a standard":
        return "class of a standard"
    if here.certificate and here.certificate.ends_at and here.certificate.traceable_to:
        return here.certificate.ends_at
    return "stops"


def _certified(
    found: Equipment | ReferenceMaterial, certificate: Certificate | None, analyte: str, amount: Amount | None
) -> CertifiedValue | None:
    """The value for an analyte; of an item certified at several points, that nearest to its first use."""
    if certificate is None:
        return None
    if isinstance(found, Equipment) and certificate.by_point:
        return nearest(certificate, amount)
    if isinstance(found, Equipment):
        return certificate.properties[0] if certificate.properties else None
    return next((prop for prop in certificate.properties if not analyte or prop.analyte in ("", analyte)), None)


def _figures(
    found: Equipment | ReferenceMaterial, certified: CertifiedValue | None
) -> tuple[float | None, str, float | None, float | None, float | None]:
    """Value, unit, U, k and u, from the certificate or from the limits in the register (GUM 4.3.3, 4.3.7, 4.3.9)."""
    if certified is not None:
        unit = certified.value.unit
        U = in_unit(certified.U.value, certified.U.unit, unit)
        return certified.value.value, unit, U, certified.k, None if U is None else U / factor_of(certified)
    if isinstance(found, ReferenceMaterial):
        return None, "", None, None, None
    balance = found.kind == "balance"
    looked_up = class_limits(found) if goes_by_class(found) and not balance else None
    limit = found.linearity if balance else looked_up.tolerance if looked_up else found.tolerance
    value = None if found.nominal is None else found.nominal.value
    unit = found.nominal.unit if found.nominal else limit.unit if limit else ""
    half_width = in_unit(limit.value, limit.unit, unit) if limit else None
    square = 3 if balance or found.tolerance_distribution == "rectangular" else 6
    return value, unit, None, None, None if half_width is None else half_width / math.sqrt(square)


def _status(
    found: Equipment | ReferenceMaterial,
    certificate: Certificate | None,
    certified: CertifiedValue | None,
    first: dt.date | None,
    last: dt.date | None,
) -> Status:
    material = isinstance(found, ReferenceMaterial)
    if certificate is None:
        named = isinstance(found, Equipment) and found.tolerance is not None and bool(found.tolerance_source)
        by_class = named or (isinstance(found, Equipment) and goes_by_class(found))
        return "class of a standard" if by_class else "no certificate"
    if material and certified is None:
        return "no certificate"
    if first is None or last is None:
        return "valid"
    if certificate.issued > first:
        return "not yet valid"
    expiry = found.expiry if isinstance(found, ReferenceMaterial) else None
    return "expired" if min(certificate.due, expiry or certificate.due) < last else "valid"
