"""How one solution is made from another: an aliquot and what it is made up to, each by volume or by mass."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.stated import Stated
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Density(Stated):
    """Density of a solution, with its uncertainty in any of the ways of an input quantity."""

    value: PositiveAmount

    @model_validator(mode="after")
    def _with_uncertainty(self) -> Density:
        if not self.states_uncertainty:
            raise ValueError("a density without uncertainty; accepted: u, U with k, half_width, or exact = true")
        return self


@dataclass(frozen=True, config=STRICT)
class DilutionStep:
    """Aliquot by pipette or weighed, made up in a flask or to a mass. What is weighed stands in one vessel on one
    balance, which was set to zero with the empty vessel."""

    aliquot: str = ""
    """Register item of the pipette."""
    to: str = ""
    """Register item of the flask."""
    aliquot_mass: PositiveAmount | None = None
    total_mass: PositiveAmount | None = None
    """Mass of the solution made."""
    balance: str = ""
    density: Density | None = None
    """Of the solution taken, where its content and the aliquot are not both by volume or both by mass."""
    density_made: Density | None = None
    """Of the solution made, where it was made up to a mass and its content is wanted by volume, or the reverse."""
    set_to: PositiveAmount | None = None
    """Volume to which a piston pipette was set, or that a burette or graduated pipette delivered; else the nominal
    volume of the pipette."""

    @model_validator(mode="after")
    def _one_way_each(self) -> DilutionStep:
        if bool(self.aliquot) == (self.aliquot_mass is not None):
            raise ValueError("both or neither of aliquot and aliquot_mass; accepted: one of them")
        if bool(self.to) == (self.total_mass is not None):
            raise ValueError("both or neither of to and total_mass; accepted: one of them")
        if self.set_to is not None and not self.aliquot:
            raise ValueError("set_to without aliquot; accepted: the pipette that was set, as aliquot")
        weighed = self.aliquot_mass is not None or self.total_mass is not None
        if weighed != bool(self.balance):
            raise ValueError("balance belongs to what is weighed; accepted: a mass and its balance, or neither")
        return self


Steps = Annotated[tuple[DilutionStep, ...], Field(strict=False, alias="step")]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class PreparedStandard:
    """A solution that the laboratory made and keeps: an intermediate or working standard of the register."""

    id: str
    description: str
    prepared: dt.date
    use_by: dt.date
    prepared_by: str = ""
    source: Annotated[str, Field(alias="from")]
    """Register item it was made from: a stock solution, a pure substance or another prepared standard."""
    analytes: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """What it contains; empty: all that its source is certified for."""
    steps: Steps
    stability: Stated | None = None
    """Relative uncertainty (in %) of its concentration from keeping it until its last day."""

    @model_validator(mode="after")
    def _complete(self) -> PreparedStandard:
        if self.use_by < self.prepared:
            raise ValueError("use_by before prepared; accepted: use_by on or after prepared")
        if not self.steps:
            raise ValueError('no step; accepted: step = [{ aliquot = "pipette", to = "flask" }]')
        if self.stability is not None and not self.stability.states_uncertainty:
            raise ValueError("stability without uncertainty; accepted: u, U with k, half_width, or exact = true")
        figure = self.stability and (self.stability.u or self.stability.U or self.stability.half_width)
        if figure and not figure.relative:
            raise ValueError(f'stability of {figure.text}; accepted: a percentage of the concentration, e.g. "0.3 %"')
        return self
