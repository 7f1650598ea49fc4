"""A case of validation: an example, and the figures that it must give, with their source."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal, InvalidOperation
from typing import Annotated, Literal

from pydantic import AfterValidator, Field
from pydantic.dataclasses import dataclass

from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT

FigureName = Literal[
    "value",
    "standard_uncertainty",
    "relative_standard_uncertainty",
    "combined_variance",
    "effective_degrees_of_freedom",
    "coverage_factor",
    "expanded_uncertainty",
    "reported_value",
    "reported_expanded_uncertainty",
]


def _digits(text: str) -> str:
    try:
        finite = Decimal(text).is_finite()
    except InvalidOperation:
        finite = False
    if not finite:
        raise ValueError('no printed number; accepted: the digits as printed, in quotes, e.g. "0.0041"')
    return text


Printed = Annotated[str, AfterValidator(_digits)]
"""Digits as printed: what is obtained must lie within half a unit of the last of them."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Source:
    """Where the figures are from."""

    title: Annotated[str, Field(min_length=1)]
    edition: str = ""
    section: str = ""
    obtained: str = ""
    """How the figures came here: read, from memory, calculated by other means …"""
    note: str = ""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ReferenceSet:
    """Reference data that a laboratory keeps for repeated validation."""

    established: dt.date
    reviewer: Annotated[str, Field(min_length=1)]
    due: dt.date | None = None
    """When the set is to be reviewed again."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Figures:
    """What one result must show."""

    sample: str = ""
    analyte: str = ""
    line: str = ""
    printed: dict[FigureName, Printed] = Field(default_factory=dict)
    recomputed: dict[FigureName, float] = Field(default_factory=dict)
    """Unrounded figures worked out outside the program; held within `tolerance`."""
    contributions: dict[str, Printed] = Field(default_factory=dict)
    """Symbol → |c| u."""
    standard_uncertainties: dict[str, Printed] = Field(default_factory=dict)
    degrees_of_freedom: dict[str, float] = Field(default_factory=dict)


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Expected:
    """A file of expected figures. Where the example gives one result they stand at the top, else under `[[result]]`."""

    example: str = "."
    """Run folder, run file or method file, seen from the folder of this file, or from the one above `expected`."""
    source: Source
    reference: ReferenceSet | None = None
    tolerance: Positive = 1e-9
    """Relative difference allowed to recomputed figures."""
    printed: dict[FigureName, Printed] = Field(default_factory=dict)
    recomputed: dict[FigureName, float] = Field(default_factory=dict)
    contributions: dict[str, Printed] = Field(default_factory=dict)
    standard_uncertainties: dict[str, Printed] = Field(default_factory=dict)
    degrees_of_freedom: dict[str, float] = Field(default_factory=dict)
    columns: dict[str, dict[str, Printed]] = Field(default_factory=dict)
    """Table of the calculation → column → figure of its first row."""
    results: Annotated[tuple[Figures, ...], Field(strict=False, alias="result")] = ()

    @property
    def of_results(self) -> tuple[Figures, ...]:
        """Figures at the top are those of the only result."""
        top = Figures(
            printed=self.printed,
            recomputed=self.recomputed,
            contributions=self.contributions,
            standard_uncertainties=self.standard_uncertainties,
            degrees_of_freedom=self.degrees_of_freedom,
        )
        stated = (top.printed, top.recomputed, top.contributions, top.standard_uncertainties, top.degrees_of_freedom)
        return ((top,) if any(stated) else ()) + self.results
