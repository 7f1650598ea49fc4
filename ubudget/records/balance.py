"""What a laboratory knows of a balance: limits by component, check weighings, and the certificate's U in use."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, NonNegativeAmount, PositiveAmount
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class RepeatabilityAt:
    """Repeatability at one load; between two loads it is linear, beyond the last one constant."""

    load: NonNegativeAmount
    s: PositiveAmount
    dof: Positive | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class InUse:
    """U(W) = alpha + beta W of a reading W in use (EURAMET cg-18, 7.5); `beta` is a relative number."""

    alpha: NonNegativeAmount
    beta: NonNegativeAmount
    k: Positive


@dataclass(frozen=True, config=STRICT, kw_only=True)
class BalanceLimits:
    """Components of the uncertainty of a reading; masses as amounts, limits as half-widths.

    Repeatability is one number, a list by load, or comes from `check_weighings`: readings of one weight on different
    occasions, whose standard deviation it then is. With `check_weight`, an item of the register, their mean also gives
    the error of indication."""

    resolution: PositiveAmount | None = None
    resolution_at_zero: PositiveAmount | None = None
    """Resolution of the zero reading where it differs."""
    linearity: PositiveAmount | None = None
    repeatability: NonNegativeAmount | None = None
    repeatability_dof: Positive | None = None
    repeatability_at: Annotated[tuple[RepeatabilityAt, ...], Field(strict=False)] = ()
    indication_errors: Literal["corrected", "not corrected"] = "corrected"
    """Where a certificate gives errors of indication by load: each reading is corrected by the error at its load, or
    is not, and the largest error is then counted as limits, rectangular."""
    check_weighings: Annotated[tuple[AnyAmount, ...], Field(strict=False)] = ()
    check_weight: str = ""
    eccentricity: PositiveAmount | None = None
    eccentricity_distribution: Literal["rectangular", "triangular"] = "rectangular"
    eccentricity_load: PositiveAmount | None = None
    """Load of the eccentricity test: the half-width is then proportional to the load weighed."""
    temperature_coefficient: PositiveAmount | None = None
    """Relative change of the span per kelvin, e.g. "2e-6 1/K"."""
    temperature_half_range: PositiveAmount | None = None
    """Half-range of the room's temperature since the adjustment."""
    adjustment_drift: PositiveAmount | None = None
    """Half-width of the relative change of the span since the adjustment, other than by temperature."""
