"""Checks that a run carries (ISO/IEC 17025:2017, 7.7.1): what is known of them, and the limits that the method sets."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.strict import STRICT

Tuple = Field(strict=False)
QualityKind = Literal["check solution", "blank", "duplicate", "spike", "reference material"]
RECOVERIES = ("check solution", "spike", "reference material")
"""Kinds that are judged by what was found over what was there."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class QualityLimit:
    """What a kind of check may show, for some analytes or all.

    `recovery`, lower and upper limit in %, for check solutions, spikes and reference materials; `at_most` for blanks
    (concentration in the solution) and duplicates (their difference: in % of the mean, or in the unit of results)."""

    kind: QualityKind
    analytes: Annotated[tuple[str, ...], Tuple] = ()
    """Empty: all that have no limit of their own."""
    recovery: Annotated[tuple[PositiveAmount, PositiveAmount] | None, Tuple] = None
    at_most: PositiveAmount | None = None
    source: str = ""

    @model_validator(mode="after")
    def _fits_its_kind(self) -> QualityLimit:
        wanted, other = ("recovery", "at_most") if self.kind in RECOVERIES else ("at_most", "recovery")
        if getattr(self, wanted) is None or getattr(self, other) is not None:
            raise ValueError(f"a {self.kind} without {wanted}, or with {other}; accepted: {wanted} alone")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Spike:
    """A sample to which known amounts were added before the procedure, beside the same sample as it is."""

    sample: str
    of: str
    added: dict[str, PositiveAmount]
    """In the unit of the results."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Duplicate:
    """Two samples of the run that are the same material, taken through the procedure apart."""

    samples: Annotated[tuple[str, str], Tuple]


def limit_for(limits: tuple[QualityLimit, ...], kind: str, analyte: str) -> int | None:
    """Position of the limit of a kind of check for an analyte: one that names it goes first."""
    own = [n for n, limit in enumerate(limits) if limit.kind == kind and analyte in limit.analytes]
    general = [n for n, limit in enumerate(limits) if limit.kind == kind and not limit.analytes]
    return next(iter(own + general), None)
