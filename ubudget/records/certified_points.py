"""Certificates with values at several points: which point is nearest to a use, and between which a use lies."""

from __future__ import annotations

from ubudget.records.amount import Amount
from ubudget.records.register import Certificate, CertifiedValue
from ubudget.records.unit_comparison import in_unit

FROM_ZERO = frozenset({"balance", "burette", "graduated pipette"})
"""Kinds whose error is zero at zero: a balance set to zero, a volume read as a difference that is none. The error of a
piston pipette does not vanish with the volume it is set to."""
BY_POINT = FROM_ZERO | {"piston pipette"}
"""Kinds of equipment that are calibrated at several points."""


def nearest(certificate: Certificate, amount: Amount | None) -> CertifiedValue:
    """The value whose point is nearest to the amount; the first one without an amount."""

    def distance(prop: CertifiedValue) -> float:
        if prop.at is None or amount is None:
            return 0.0
        at = in_unit(prop.at.value, prop.at.unit, amount.unit)
        return float("inf") if at is None else abs(at - amount.value)

    return min(certificate.properties, key=distance)
