"""Results near zero: the method's validated limits, and what is reported below them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.case import Selector
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT

ErrorProbability = Annotated[float, Field(gt=0, le=0.5)]
MEASURED, LESS_QUANTIFICATION, LESS_DETECTION, NOT_DETECTED = (
    "value with U",
    "less than the quantification limit",
    "less than the detection limit",
    "not detected",
)
Below = Literal["value with U", "less than the quantification limit", "less than the detection limit", "not detected"]
AS_MEASURED, ZERO, HALF, LIMIT, BOUNDS = "as measured", "zero", "half the limit", "the limit", "bounds"
BelowLimits = Literal["as measured", "zero", "half the limit", "the limit", "bounds"]
"""How values below a limit count in a result derived from them."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class DetectionLimit(Selector):
    """The method's validated limits for an analyte, line and matrix, for a nominal test portion; in the unit
    of the result."""

    decision: PositiveAmount | None = None
    """Decision limit (critical value): above it the analyte is there."""
    detection: PositiveAmount | None = None
    """Detection limit (minimum detectable value): a level that is overlooked with probability beta only."""
    quantification: PositiveAmount | None = None
    """Quantification limit: from here on results are reported as value with U."""
    alpha: ErrorProbability = 0.05
    """Probability, one-sided, to find what is not there."""
    beta: ErrorProbability = 0.05
    """Probability, one-sided, to overlook what is there at the detection limit."""
    dof: Positive | None = None
    """Degrees of freedom of the standard deviation behind the limits; empty: taken as well known."""
    nominal: dict[str, PositiveAmount] = Field(default_factory=dict)
    """Symbol of the equation → its value in the nominal test portion for which the limits hold: mass, volume,
    dilution."""
    basis: str = ""
    """Basis of the limits; empty: that of the results."""
    source: str = ""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class LowLevels:
    """What is reported below each limit. Value and U stay in all data."""

    below_quantification: Literal["value with U", "less than the quantification limit"] = (
        "less than the quantification limit"
    )
    below_detection: Below | None = None
    """Empty: as below the quantification limit."""
    below_decision: Below | None = None
    """Empty: as below the detection limit."""
    non_negative: bool = False
    """The measurand cannot be negative: the interval value ± U, cut at zero, is told beside it."""
    check: Literal["blanks and calibration", "blanks", "calibration", "none"] = "blanks and calibration"
    """What of a run checks the validated limits."""
    minimum_blanks: Annotated[int, Field(ge=3)] = 4
    """Blanks that a run needs to check the limits."""

    @property
    def rules(self) -> tuple[str, str, str]:
        """What is reported below quantification, detection and decision limit."""
        detection = self.below_detection or self.below_quantification
        return self.below_quantification, detection, self.below_decision or detection
