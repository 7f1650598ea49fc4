"""Deviation of a liquid's temperature from the reference temperature of the ware."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, NonNegativeAmount, PositiveAmount
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Temperature:
    """Deviation of the liquid's temperature from the ware's reference temperature, and the liquid's cubic
    expansion: a figure, or that of a named liquid."""

    half_range: PositiveAmount
    distribution: Literal["rectangular", "normal 95 %"] = "rectangular"
    deviation: AnyAmount | None = None
    """Estimate of the deviation, in K, where the temperature was measured; else zero."""
    expansion: PositiveAmount | None = None
    """Per kelvin, e.g. "2.1e-4 1/K" for water near 20 degC."""
    liquid: str = ""
    """A liquid of the table `records.expansions.LIQUIDS`, in place of `expansion`."""
    expansion_u: NonNegativeAmount | None = None
    """Standard uncertainty of the liquid's expansion, in % of it or in 1/K; absent: taken as exact."""
    ware_material: str = ""
    """A material of `records.expansions.WARE_MATERIALS`, whose expansion is subtracted; empty: neglected."""
    shared: bool = False
    """True: one deviation for all volumes of the run (one working period, one room)."""
    source: str = ""
    item: str = ""
    """Register item (a thermometer) on which the range rests."""

    @model_validator(mode="after")
    def _one_expansion(self) -> Temperature:
        if (self.expansion is None) == (not self.liquid):
            raise ValueError("both or neither of expansion and liquid; accepted: one of them")
        return self
