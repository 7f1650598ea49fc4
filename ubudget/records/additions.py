"""Standard additions: what the method says of them, and the solutions with additions of a run."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import NonNegativeAmount, PositiveAmount
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class StandardAdditions:
    """Concentration in the solution read, from its own readings with known additions: -x at reading zero of the
    straight line through reading against added concentration."""

    operation: Literal["standard additions"]
    quantity: str
    unit: str
    form: Literal["constant volume", "volume change"]
    """`constant volume`: every solution of a series is made to the same volume, x is the concentration added in it.
    `volume change`: the standard is added to a volume V0 of the solution; readings are multiplied by (V0 + V)/V0, and x
    is the amount added for each V0."""
    variance: Literal["line", "line and one reading"]
    """s² of the extrapolated value: (s/b)²(1/n + ȳ²/(b² Sxx)), or with 1 + 1/n, the extrapolated point taken as a new
    single reading. Both are published."""
    additions_exact: str = ""
    """Reason for taking the additions as exact; then no stock solution is asked for."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Addition:
    """A solution made of a sample solution and a known addition. The sample solution alone is the zero addition.

    The addition is stated as concentration added in the final solution, or as the volume of a standard: delivered by a
    pipette into a flask (constant volume), or to an aliquot of the sample solution (volume change)."""

    solution: str
    added_to: str
    """Label of the sample solution."""
    concentration: dict[str, NonNegativeAmount] = Field(default_factory=dict)
    standard: str = ""
    """Register item of the solution that is added, or label of a standard of this run."""
    pipette: str = ""
    """Register item that delivers it."""
    delivered: PositiveAmount | None = None
    """Volume delivered by an adjustable pipette or burette; else the nominal volume of the pipette."""
    flask: str = ""
    """Register item of the flask in which the solution is made to volume."""
    aliquot: str = ""
    """Register item that delivers the sample solution."""

    @model_validator(mode="after")
    def _one_way(self) -> Addition:
        if bool(self.concentration) == bool(self.standard):
            raise ValueError("both or neither of concentration and standard; accepted: one of them")
        if self.concentration and (self.pipette or self.flask or self.aliquot or self.delivered):
            raise ValueError("ware beside a concentration; accepted: ware beside a standard")
        if self.standard and not self.pipette:
            raise ValueError("a standard without pipette; accepted: the item that delivers it")
        return self
