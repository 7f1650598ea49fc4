"""What a gravimetric calibration of ware says: volume, systematic and random error, and the limits beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.quantity.units import convert
from ubudget.records.finding import Finding
from ubudget.records.ware_calibration import WareCalibration
from ubudget.records.ware_limits import class_limits

WEIGHING = "m_b"
"""Symbol of the mean of the weighings in the method."""


@dataclass(frozen=True)
class Error:
    """An error of the ware and what its standard allows, in the unit of the result; None where it says nothing."""

    value: float
    limit: float | None

    @property
    def within(self) -> bool | None:
        return None if self.limit is None else abs(self.value) <= self.limit


@dataclass(frozen=True, eq=False)
class CalibratedWare:
    """The record, and its evaluation: one result, the volume at 20 °C."""

    record: WareCalibration
    evaluation: Evaluation
    method: str
    """Text of the method that was evaluated."""
    findings: tuple[Finding, ...]

    @property
    def result(self) -> Result:
        return self.evaluation.results[0]

    @property
    def limits_source(self) -> str:
        """Standard and class of the limits; empty where none are known."""
        limits = class_limits(self.record.classed) if self.record.classed is not None else None
        return "" if limits is None else limits.source

    @property
    def systematic(self) -> Error:
        """Mean volume less the volume it should be (ISO 8655-6); the limit is that of the nominal volume."""
        value = self.result.value
        assert value is not None
        aim = convert(self.record.aim.value, self.record.aim.unit, self.result.unit)
        return Error(value - aim, self._limit("tolerance"))

    @property
    def random(self) -> Error:
        """Experimental standard deviation of the single volumes (ISO 8655-6), n - 1 degrees of freedom."""
        (mean,) = [row for row in self.result.budget if row.symbol == WEIGHING]
        return Error(abs(mean.contribution) * math.sqrt(len(self.record.weighings)), self._limit("random"))

    def _limit(self, name: str) -> float | None:
        limits = class_limits(self.record.classed) if self.record.classed is not None else None
        amount = None if limits is None else getattr(limits, name)
        return None if amount is None else convert(amount.value, amount.unit, self.result.unit)
