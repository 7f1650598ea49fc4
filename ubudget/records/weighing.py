"""The weighing of a test portion, as the method describes it."""

from __future__ import annotations

from typing import Literal

from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, NonNegativeAmount, PositiveAmount
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Weighing:
    """Net mass by difference on one balance: gross minus tare, each reading with its own deviations.

    Columns of the samples table (`tare_column`, `gross_column`), or readings of the method (`tare`, `gross`).
    The balance is an item of the register, or its limits stand here."""

    operation: Literal["weighing"]
    quantity: str
    unit: str
    balance: str = ""
    tare_column: str = ""
    gross_column: str = ""
    tare: AnyAmount | None = None
    gross: AnyAmount | None = None
    resolution: PositiveAmount | None = None
    linearity: PositiveAmount | None = None
    repeatability: NonNegativeAmount | None = None
    repeatability_dof: Positive | None = None
    source: str = ""
