"""The calibration of a method: kind of curve, weights, scatter, and what the standards' own uncertainty does."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.amount import NonNegativeAmount, PositiveAmount
from ubudget.records.corrections import Drift, InternalStandard
from ubudget.records.stated import Positive, Stated
from ubudget.records.strict import STRICT
from ubudget.records.temperature import Temperature

Tuple = Field(strict=False)


BY_LEVEL = "pooled s per level"
"""The rule of weights whose s the method states by level."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class LevelScatter:
    """Standard deviation of one reading at a concentration, from validation data pooled over runs."""

    concentration: NonNegativeAmount
    s: PositiveAmount
    dof: Positive | None = None
    """None = infinite. Used where the scatter is known from the weights."""
    analyte: str = ""
    line: str = ""
    """Where it applies; without them, to every line that has no levels of its own."""
    source: str = ""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Calibration:
    """Concentration by inverse prediction on the curve of the analyte's line."""

    operation: Literal["calibration"]
    quantity: str
    unit: str
    curve: Literal["line", "line through zero", "quadratic", "rational", "two points"] = "line"
    fit_on: Literal["readings", "means"] = "readings"
    """Points of the fit: every single reading, or the mean of each standard's readings."""
    weights: Literal["none", "1/x", "1/x^2", "1/y", "1/s^2", "noise model", "pooled s per level"] = "none"
    """Weights of squared residuals; the unknown's own weight follows the same rule at its own level.

    1/y takes the ordinate fitted without weights, and for an unknown its own reading; as weights such ordinates are
    constants of propagation."""
    weight_floor: PositiveAmount | None = None
    """Smallest concentration that 1/x, 1/x^2 and 1/y use, so that the zero standard has a weight."""
    noise_constant: PositiveAmount | None = None
    noise_relative: PositiveAmount | None = None
    """Noise model of one reading: s^2 = constant^2 + (relative * reading)^2."""
    level_s: Annotated[tuple[LevelScatter, ...], Tuple] = ()
    """For "pooled s per level": linear in the concentration between the levels, constant beyond."""
    weighted_scatter: Literal["estimated", "known"] = "estimated"
    """Covariance scaled by the residual variance, or taken from the weights as 1/s^2 (ISO/TS 28037)."""
    standards: Literal["propagated", "exact", "errors in variables"] = "propagated"
    """What the standards' own uncertainty does: carried through the fit, left out for the reason stated, or weighed in
    the fit of a line (errors in variables)."""
    standard_u: PositiveAmount | None = None
    """Independent standard uncertainty of each standard, in % of its concentration or in its unit; for errors in
    variables. What all standards share is no part of it."""
    between_levels: PositiveAmount | None = None
    """Standard uncertainty of a standard beyond its preparation, in % of its concentration or in its unit: one
    deviation for each standard and line. The misfit of the levels is then this term's, and what a fit on readings
    scatters by is s within the levels."""
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


def levels_for(calibration: Calibration, analyte: str, line: str) -> list[int]:
    """Numbers of the statements of `level_s` that apply to a line: those of the line, else of its analyte, else all."""
    levels = calibration.level_s
    fitting = [
        (bool(level.line), bool(level.analyte), row)
        for row, level in enumerate(levels)
        if level.line in ("", line) and level.analyte in ("", analyte)
    ]
    narrowest = max((one[:2] for one in fitting), default=None)
    return [row for *how, row in fitting if tuple(how) == narrowest]
