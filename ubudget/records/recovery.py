"""Recovery: what was found of reference materials and of spikes, and how the result treats it."""

from __future__ import annotations

import re
from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.case import Selector
from ubudget.records.stated import Positive, Probability
from ubudget.records.strict import STRICT

Count = Annotated[float, Field(ge=2)]
CORRECTED, NOT_SIGNIFICANT, WIDENED = "corrected", "not significant", "uncorrected, widened"
COVERED = re.compile(r"covered by (\S+)")
DEFINED = re.compile(r"zero by definition:\s*(\S.*)")
ACCEPTED = f'"{CORRECTED}", "{NOT_SIGNIFICANT}", "{WIDENED}", "covered by SYMBOL" or "zero by definition: reason"'


def _treatment(text: str) -> str:
    plain = text.strip()
    if plain in (CORRECTED, NOT_SIGNIFICANT, WIDENED) or COVERED.fullmatch(plain) or DEFINED.fullmatch(plain):
        return plain
    raise ValueError(f"{plain}; accepted: {ACCEPTED}")


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Study(Selector):
    """A mean of several results, with its uncertainty: s of n results, or u."""

    s: PositiveAmount | None = None
    n: Count | None = None
    u: PositiveAmount | None = None
    dof: Positive | None = None
    source: str = ""

    @model_validator(mode="after")
    def _one_scatter(self) -> Study:
        if (self.s is None) != (self.n is None):
            raise ValueError("one of s and n; accepted: both")
        if (self.s is None) == (self.u is None):
            raise ValueError("both or none of s and u; accepted: s with n, or u of the mean")
        if self.dof is not None and self.u is None:
            raise ValueError("dof without u; accepted: dof beside u, or s with n")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ReferenceMaterialStudy(Study):
    """A reference material taken through the whole procedure. Its certified value stands here, or in the register."""

    item: str = ""
    """Register item."""
    measured: PositiveAmount
    certified: PositiveAmount | None = None
    U: PositiveAmount | None = None
    k: Positive | None = None

    @model_validator(mode="after")
    def _certified(self) -> ReferenceMaterialStudy:
        given = [part is not None for part in (self.certified, self.U, self.k)]
        if any(given) and not all(given):
            raise ValueError("a part of certified, U and k; accepted: all three, or none with item")
        if not any(given) and not self.item:
            raise ValueError("no certified value; accepted: certified with U and k, or item of the register")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class SpikeStudy(Study):
    """Known additions: the mean recovery, or the mean amount found (spiked less unspiked) beside the amount added."""

    recovered: PositiveAmount
    added: PositiveAmount | None = None
    added_u: PositiveAmount | None = None
    """Standard uncertainty of the amount added; `%` is relative to it."""

    @model_validator(mode="after")
    def _relative_without_amount(self) -> SpikeStudy:
        if self.added is None and self.recovered.unit not in ("", "%"):
            raise ValueError(f"{self.recovered.text} found without added; accepted: added beside it, or a recovery")
        if self.added is None and self.added_u is not None and self.added_u.unit != "%":
            raise ValueError("added_u without added; accepted: added_u in %")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Treatment(Selector):
    """How the recovery of one analyte or line is treated."""

    treatment: str

    @model_validator(mode="after")
    def _known(self) -> Treatment:
        _treatment(self.treatment)
        if self.matrix:
            raise ValueError("treatment by matrix; accepted: by analyte or line")
        return self


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Recovery:
    """Recovery R of the procedure, by which results are divided, and the test whether it differs from 1.

    A reference material and spikes that both apply to a result are multiplied (each tells of a step of its own), or all
    are averaged with the weights 1/u^2 (each tells of the same). The narrowest selector goes first, for materials and
    for spikes."""

    unit: ClassVar[str] = ""
    operation: Literal["recovery"]
    quantity: str
    treatment: str = ""
    combine: Literal["product", "weighted mean"] | None = None
    """Needed where several studies apply to a result."""
    significance: Literal["k", "t"] = "k"
    """Compare |1 - R|/u(R) with `k`, or with Student's t at `probability`."""
    k: Positive = 2.0
    probability: Probability = 0.95
    reference_materials: Annotated[
        tuple[ReferenceMaterialStudy, ...], Field(strict=False, alias="reference_material")
    ] = ()
    spikes: Annotated[tuple[SpikeStudy, ...], Field(strict=False, alias="spike")] = ()
    cases: Annotated[tuple[Treatment, ...], Field(strict=False, alias="for")] = ()

    @model_validator(mode="after")
    def _treated(self) -> Recovery:
        if not self.treatment and not self.cases:
            raise ValueError(f"no treatment; accepted: {ACCEPTED}")
        if self.treatment:
            _treatment(self.treatment)
        return self

    @property
    def treatments(self) -> tuple[Treatment, ...]:
        """The treatment of the symbol itself applies everywhere."""
        return (*((Treatment(treatment=self.treatment),) if self.treatment else ()), *self.cases)
