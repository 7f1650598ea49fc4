"""What the operations of one run share while its graph is assembled."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from functools import cached_property

from ubudget.bench.building import Shared
from ubudget.quantity.graph import Joint, Place, Table
from ubudget.quantity.units import UnitError, convert
from ubudget.records.amount import Amount
from ubudget.records.finding import Finding, Severity
from ubudget.records.planned import AS_RECORDED, Planned
from ubudget.records.records import Records, Role
from ubudget.records.uses import Use, uses_of

COUNTED = "counted"
USABLE = "usable (0 = yes, otherwise the reason's code)"
"""Heading of every status."""
MASS_SHOWN = "mg"
"""Unit in which the limits of balances are shown."""


@dataclass
class Context:
    """Tables so far, identities, and findings. Only assembly holds one; it does not leave this floor."""

    records: Records
    shared: Shared = field(default_factory=Shared)
    tables: dict[str, Table] = field(default_factory=dict)
    joints: list[Joint] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def find(self, severity: Severity, role: Role, place: str, found: str, accepted: str, remedy: str) -> None:
        self.findings.append(Finding(severity, self.records.file(role), place, found, accepted, remedy))

    def in_unit(self, amount: Amount | None, unit: str, role: Role, place: str) -> float | None:
        """The amount in a unit; a finding and None where it does not convert."""
        if amount is None:
            return None
        try:
            return convert(amount.value, amount.unit, unit)
        except UnitError as error:
            self.find("stop", role, place, error.found, error.accepted, f"write {amount.text} in such a unit")
            return None

    def mark(self, effect: str) -> str:
        """What the method says of a random effect: `counted`, `covered by …` or `negligible: …`."""
        return self.records.method.effects.get(effect, COUNTED)

    @property
    def planned(self) -> Planned:
        """Numbers of repeats that a plan takes; none where the run is evaluated as it was recorded."""
        return self.records.run.planned if self.records.run else AS_RECORDED

    @property
    def date(self) -> dt.date | None:
        return self.records.run.file.run.date if self.records.run else None

    @cached_property
    def uses(self) -> dict[str, tuple[Use, ...]]:
        return uses_of(self.records)

    def day_of(self, item: str) -> dt.date | None:
        """The first day on which the run used a register item: the day that chooses its certificate."""
        return min((use.day for use in self.uses.get(item, ())), default=self.date)


def method_place(*path: str | int, unit: str = "") -> Place:
    return Place("method", path, unit)
