"""Uncertainty from the laboratory's own validation and quality control, as the method states it (ISO 11352)."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import NonNegativeAmount, PositiveAmount
from ubudget.records.case import Case
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ValidationCase(Case):
    """u(Rw) and u(bias) for an analyte, line, matrix or level band: in the unit of the result, or in % of it."""

    u_Rw: PositiveAmount
    """Within-laboratory reproducibility: a control sample over the whole procedure and a long time."""
    u_bias: NonNegativeAmount
    """Standard uncertainty of the bias: reference materials, proficiency tests, recoveries."""
    dof_Rw: Positive | None = None
    dof_bias: Positive | None = None
    source: str = ""
    """The studies that these figures come from."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ValidationData:
    """The second route to the uncertainty of a result: u² = u(Rw)² + u(bias)².

    Beside the budget it is compared with it; with `reported = true` it is what results bear."""

    reported: bool = False
    review: dt.date | None = None
    """The day by which the figures are reviewed."""
    cases: Annotated[tuple[ValidationCase, ...], Field(strict=False, min_length=1, alias="for")]

    @model_validator(mode="after")
    def _bands_of_one_unit(self) -> ValidationData:
        for case in self.cases:
            low, high = case.level_from, case.level_to
            if low is not None and high is not None and low.unit == high.unit and low.value >= high.value:
                raise ValueError(f"a band from {low.text} to {high.text}; accepted: a rising one")
        return self
