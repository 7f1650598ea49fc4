"""The calibration of a method: kind of curve, weights, scatter, and what the standards' own uncertainty does."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.corrections import Drift, InternalStandard
from ubudget.records.stated import Stated
from ubudget.records.strict import STRICT
from ubudget.records.temperature import Temperature

Tuple = Field(strict=False)


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Calibration:
    """Concentration by inverse prediction on the curve of the analyte's line."""

    operation: Literal["calibration"]
    quantity: str
    unit: str
    curve: Literal["line", "line through zero", "quadratic", "rational", "two points"] = "line"
    fit_on: Literal["readings", "means"] = "readings"
    """Points of the fit: every single reading, or the mean of each standard's readings."""
    weights: Literal["none", "1/x", "1/x^2", "1/y", "1/s^2", "noise model"] = "none"
    """Weights of squared residuals; the unknown's own weight follows the same rule at its own level.

    1/y takes the ordinate fitted without weights, and for an unknown its own reading; as weights such ordinates are
    constants of propagation."""
    weight_floor: PositiveAmount | None = None
    """Smallest concentration that 1/x, 1/x^2 and 1/y use, so that the zero standard has a weight."""
    noise_constant: PositiveAmount | None = None
    noise_relative: PositiveAmount | None = None
    """Noise model of one reading: s^2 = constant^2 + (relative * reading)^2."""
    weighted_scatter: Literal["estimated", "known"] = "estimated"
    """Covariance scaled by the residual variance, or taken from the weights as 1/s^2 (ISO/TS 28037)."""
    standards: Literal["propagated", "exact", "errors in variables"] = "propagated"
    """What the standards' own uncertainty does: carried through the fit, left out for the reason stated, or weighed in
    the fit of a line (errors in variables)."""
    standard_u: PositiveAmount | None = None
    """Independent standard uncertainty of each standard, in % of its concentration or in its unit; for errors in
    variables. What all standards share is no part of it."""
    temperature: Temperature | None = None
    """Of the ware with which standards are prepared."""
    scatter: Literal["residual", "own", "pooled"]
    """Standard deviation of one reading of an unknown: residual s of the curve, its own s, or s pooled over
    the solutions named in `pooled_over` (all samples when empty)."""
    pooled_over: Annotated[tuple[str, ...], Tuple] = ()
    standards_exact: str = ""
    """Reason for taking the standards' concentrations as exact; then no stock solution is asked for."""
    preparation: Stated | None = None
    """Relative uncertainty (in %) of the concentration scale from preparing the standards; common to a
    curve."""
    internal_standard: InternalStandard | None = None
    drift: Drift | None = None
