"""Deviation of a liquid's temperature from the reference temperature of the ware."""

from __future__ import annotations

from typing import Literal

from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Temperature:
    """Deviation of the liquid's temperature from the ware's reference temperature, and the liquid's cubic
    expansion."""

    half_range: PositiveAmount
    distribution: Literal["rectangular", "normal 95 %"] = "rectangular"
    expansion: PositiveAmount
    """Per kelvin, e.g. "2.1e-4 1/K" for water near 20 degC."""
    shared: bool = False
    """True: one deviation for all volumes of the run (one working period, one room)."""
    source: str = ""
    item: str = ""
    """Register item (a thermometer) on which the range rests."""
