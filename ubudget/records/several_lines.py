"""The rule by which one value is reported for an analyte with several lines, written before the run."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.strict import STRICT

FIRST, MEAN, WEIGHTED = "first line", "mean of agreeing lines", "weighted mean of agreeing lines"
TOLD, WIDENED = "told", "widened"


@dataclass(frozen=True, config=STRICT, kw_only=True)
class SeveralLines:
    """One value for each sample and analyte with several lines, from those within range and free of flags, in the
    order in which the method lists them."""

    rule: Literal["first line", "mean of agreeing lines", "weighted mean of agreeing lines"]
    """The first usable line; or the mean of the usable lines that agree with it, plain or weighted by the variances
    that lines do not share."""
    limit: Annotated[float, Field(gt=0)] = 2.0
    """Lines agree where |d|/u(d) is not above it."""
    disagreement: Literal["told", "widened"] = "told"
    """A finding; or a contribution |d|/(2 √3) of the largest difference, and a note."""
    shared: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """Symbols of precision that the lines of one digest share: digestion, sub-sampling. They do not fall in a mean."""
    own: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """Symbols of precision that each line has of its own: readings, curve."""
