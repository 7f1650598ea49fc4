"""How the method wants its results simulated where somebody asks for it (JCGM 101:2008)."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class SimulationRule:
    """A fixed number of `trials`, or as many as make all figures stable to so many significant `digits` of u.

    The coverage probability is that of the method."""

    trials: Annotated[int, Field(ge=1)] | None = None
    digits: Literal[1, 2] | None = None
    seed: Annotated[int, Field(ge=0)] | None = None
    interval: Literal["symmetric", "shortest"] = "symmetric"
    """Probabilistically symmetric, or the shortest that covers as much (JCGM 101 5.3.4, 7.7)."""

    @model_validator(mode="after")
    def _one_way(self) -> SimulationRule:
        if self.trials is not None and self.digits is not None:
            raise ValueError("trials and digits together; accepted: one of them")
        return self
