"""What corrects the readings of a calibration: an internal standard, and drift followed by a check solution.

The internal standard comes first, then the drift: readings of the check solution are ratios to the internal standard
as well.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class InternalStandard:
    """Element and line by whose reading, in the same solution and replicate, every reading is divided."""

    analyte: str
    line: str = ""
    added: PositiveAmount | None = None
    """Relative standard uncertainty of the amount added to one solution, e.g. "0.5 %"; independent between
    solutions."""
    online: bool = False
    """Mixed in by the pump at one ratio for all solutions: its amount cancels."""
    limits: Annotated[tuple[Positive, Positive], Field(strict=False)] | None = None
    """Recovery in % outside which a result is flagged."""
    source: str = ""

    @model_validator(mode="after")
    def _one_way(self) -> InternalStandard:
        if self.online and self.added is not None:
            raise ValueError("online and added together; accepted: one of them")
        if self.limits is not None and self.limits[0] >= self.limits[1]:
            raise ValueError("limits that do not rise; accepted: lower limit, upper limit, e.g. [70, 130]")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Drift:
    """Readings are divided by D, linear in the position between neighbouring readings of the check solution."""

    check: str
    """Label of the check solution in the readings."""
    residual: PositiveAmount | None = None
    """Relative standard uncertainty of what the straight line between two checks leaves, e.g. "0.3 %"."""
    source: str = ""
