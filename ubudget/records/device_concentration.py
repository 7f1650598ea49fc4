"""Concentrations that a device calculated itself: what of its curve is known, since the curve is not there."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.case import Selector
from ubudget.records.stated import Stated
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class CurvePart(Selector, Stated):
    """Uncertainty of the device's curve for one analyte or line, as declared: `u = "1.2 %"` of the concentration, or
    absolute, in one of the usual ways."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class DeviceConcentration:
    """Mass concentration or mass fraction of a solution, as the device gave it.

    Readings are concentrations in `unit`. Their scatter is Type A; what the curve adds is one deviation for each line
    and is never left out: `curve_from` says where it comes from."""

    operation: Literal["device concentration"]
    quantity: str
    unit: str
    scatter: Literal["own", "pooled"] = "own"
    """Of the readings of a solution: its own s, or s pooled over the solutions of a line."""
    pooled_over: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """Labels of solutions; empty: all but blanks and check solutions."""
    curve_from: Literal["declared", "check solutions", "exported standards"] | None = None
    """`declared`: tables `curve`; `check solutions`: scatter and bias of their recoveries; `exported standards`: their
    values as the device reads them back, against their nominal ones."""
    curve: Annotated[tuple[CurvePart, ...], Field(strict=False)] = ()
    curve_parameters: Literal[1, 2, 3] = 2
    """Of the curve that was fitted to the exported standards: a line has two."""
    standards: Stated | None = None
    """With exported standards: relative uncertainty that all their values share, `u = "0.5 %"`."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class CheckSolution:
    """A solution of known value that was measured among the samples; measured again it is read as `CHK #2`.

    Limits of the method judge it, and the part of a device's curve may rest on it."""

    label: str
    concentration: dict[str, PositiveAmount]
    u: PositiveAmount | None = None
    """Standard uncertainty of the known values, relative in %; needed where the curve's part rests on them."""
    source: str = ""
    item: str = ""
    """The register item that it is, for traceability."""


def check_of(solution: str, checks: Sequence[CheckSolution]) -> int | None:
    """Row of the check solution that a label of the readings names: its own label, or `CHK #2` where it was measured
    again."""
    label = re.sub(r" #[1-9][0-9]*$", "", solution)
    return next((row for row, check in enumerate(checks) if check.label in (solution, label)), None)
