"""Limits with which results are compared, and the decision rule agreed for each (ISO/IEC 17025:2017, 3.7 and 7.8.6;
JCGM 106:2012; ILAC-G8:09/2019)."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount, PositiveAmount
from ubudget.records.case import Selector
from ubudget.records.strict import STRICT

Rule = Literal["simple acceptance", "guarded acceptance", "guarded rejection", "non-binary"]
SIMPLE, GUARDED, REJECTION, NON_BINARY = "simple acceptance", "guarded acceptance", "guarded rejection", "non-binary"
LIMITS_COLUMN = "limits"
"""Column of the samples table that names the limits of each sample, joined by `;`."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ToleranceLimit(Selector):
    """A limit for an analyte, line or matrix, and the rule by which conformity with it is decided.

    The guard band is `guard_multiple` times U, or what leaves the one-sided `guard_risk` for a value on the acceptance
    limit: 1.645 u for 0.05 under a normal distribution, the t factor under `distribution = "t"`."""

    name: Annotated[str, Field(min_length=1)]
    """Name by which samples and reports call it, e.g. drinking water; several tables of one name are its cases."""
    lower: AnyAmount | None = None
    """Lower tolerance limit, with its unit."""
    upper: AnyAmount | None = None
    """Upper tolerance limit, with its unit."""
    basis: str = ""
    """What the limit refers to; must be the basis of the measurand, word for word, or nothing is stated."""
    source: Annotated[str, Field(min_length=1)]
    """Regulation or specification, with its edition."""
    rule: Rule
    """Decision rule."""
    guard_multiple: Annotated[float, Field(ge=0)] | None = None
    """Guard band as a multiple of U."""
    guard_risk: Annotated[float, Field(gt=0, lt=0.5)] | None = None
    """One-sided risk of a value on the acceptance limit, in place of a multiple."""
    compares: Literal["unrounded", "reported"] = "unrounded"
    """Which value is compared with the limits."""
    uncertainty: Literal["of the result", "at the limit"] = "of the result"
    """Whether u is that of the result, or that of the level function at the limit."""
    distribution: Literal["normal", "t"] = "normal"
    """Behind one-sided factor and probability; t with the effective degrees of freedom of u."""
    prior: str = ""
    """Where the knowledge before the measurement comes from; empty: the measurement alone."""
    prior_mean: AnyAmount | None = None
    """Mean of the normal prior."""
    prior_sd: PositiveAmount | None = None
    """Standard deviation of the normal prior."""
    agreed_by: str = ""
    """Who agreed the rule."""
    agreed_on: dt.date | None = None
    """Day on which the rule was agreed."""
    required_U: PositiveAmount | None = None
    """Largest U at the limit, in % of it."""
    required_quantification_limit: PositiveAmount | None = None
    """Largest quantification limit, in % of the limit."""

    @model_validator(mode="after")
    def _whole(self) -> ToleranceLimit:
        if self.lower is None and self.upper is None:
            raise ValueError("neither lower nor upper; accepted: one of them, or both")
        guards = (self.guard_multiple is not None) + (self.guard_risk is not None)
        if guards != (self.rule != SIMPLE):
            accepted = "no guard band" if self.rule == SIMPLE else "guard_multiple or guard_risk, one of them"
            raise ValueError(f"{self.rule} with {guards or 'no'} guard bands; accepted: {accepted}")
        if len({bool(self.prior), self.prior_mean is not None, self.prior_sd is not None}) > 1:
            raise ValueError("an incomplete prior; accepted: prior, prior_mean and prior_sd, or none of them")
        if self.prior and self.distribution == "t":
            raise ValueError('a prior with distribution = "t"; accepted: a prior under the normal distribution')
        return self


def limits_named(text: object) -> tuple[str, ...] | None:
    """Names of a cell of the column `limits`; `None` where it holds no text."""
    return tuple(part.strip() for part in text.split(";") if part.strip()) if isinstance(text, str) else None
