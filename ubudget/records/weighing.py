"""The weighing of a test portion, as the method describes it."""

from __future__ import annotations

from typing import Literal

from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, PositiveAmount
from ubudget.records.balance import BalanceLimits
from ubudget.records.buoyancy import Buoyancy
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT

BY_DIFFERENCE, TARED, DIRECT = "by difference", "tared", "direct"
READINGS = {BY_DIFFERENCE: ("tare", "gross"), TARED: ("net",), DIRECT: ("net",)}
"""Form of weighing → what is written down: a column, or a reading of the method."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Minimum:
    """Rule for the smallest net mass that a balance may weigh.

    `USP <41>`: factor · s / requirement, where s is at least 0.41 d (s at the lowest load where it is given by load).
    `EURAMET cg-18`, Appendix G: alpha SF/(requirement - beta SF), from U(W) = alpha + beta W of the certificate and the
    safety factor SF."""

    rule: Literal["USP <41>", "EURAMET cg-18"]
    factor: Positive | None = None
    requirement: PositiveAmount | None = None
    safety_factor: Positive | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Weighing(BalanceLimits):
    """Mass of one object, weighed on one balance.

    `by difference`: gross minus tare, each reading with its own deviations. `tared`: the balance is set to zero with
    the vessel on it, and the net mass is read; zero and load have each their deviations. `direct`: the object alone;
    the zero reading counts by its resolution. Readings are columns of the samples table, or stand in the method. The
    balance is an item of the register, or its limits stand here."""

    operation: Literal["weighing"]
    quantity: str
    unit: str
    reading: Literal["by difference", "tared", "direct"] = "by difference"
    balance: str = ""
    tare_column: str = ""
    gross_column: str = ""
    net_column: str = ""
    tare: AnyAmount | None = None
    gross: AnyAmount | None = None
    net: AnyAmount | None = None
    vessel: PositiveAmount | None = None
    """Tared only: about what the vessel weighs, for deviations that depend on the load."""
    buoyancy: Buoyancy | None = None
    minimum: Minimum | None = None
    source: str = ""
