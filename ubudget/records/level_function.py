"""Uncertainty as a function of the level (EURACHEM/CITAC CG 4, QUAM:2012.P1, E.5: u² = s0² + (x·s1)²)."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import NonNegativeAmount, PositiveAmount
from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT

Tuple = Field(strict=False)


@dataclass(frozen=True, config=STRICT, kw_only=True)
class LevelFunction:
    """Standard uncertainty at a level x of the result: u² = constant² + (relative · x)², for some analytes or all.

    `declared`: constant and relative part as stated, from validation. `fitted`: to value and u of the results of the
    run, analyte by analyte and line by line; at least four results are needed."""

    origin: Literal["declared", "fitted"] = "declared"
    """Whether the parts are stated, or fitted to the results of the run."""
    analytes: Annotated[tuple[str, ...], Tuple] = ()
    """Empty: all that have no function of their own."""
    constant: NonNegativeAmount | None = None
    """Constant part s0, in the unit of the result."""
    relative: NonNegativeAmount | None = None
    """Relative part s1, in %."""
    lowest: Annotated[NonNegativeAmount | None, Field(alias="from")] = None
    """Lowest level at which it holds; of a fitted one: that of the results, where it is empty."""
    highest: Annotated[PositiveAmount | None, Field(alias="to")] = None
    """Highest level at which it holds; of a fitted one: that of the results, where it is empty."""
    dof: Positive | None = None
    """Degrees of freedom of a declared one; empty: taken as infinite. A fitted one has the fewest of its results."""
    source: str = ""
    """Where it comes from, e.g. the validation report."""

    @model_validator(mode="after")
    def _fits_its_origin(self) -> LevelFunction:
        stated = (self.constant is not None, self.relative is not None)
        if self.origin == "fitted" and (any(stated) or self.dof is not None):
            raise ValueError("a fitted level function with constant, relative or dof; accepted: none of them")
        if self.origin == "declared" and not (any(stated) and self.lowest is not None and self.highest is not None):
            raise ValueError("a declared level function must have constant or relative, and from and to")
        return self


def level_function_for(functions: tuple[LevelFunction, ...], analyte: str) -> int | None:
    """Position of the level function of an analyte: one that names it goes first."""
    own = [n for n, function in enumerate(functions) if analyte in function.analytes]
    general = [n for n, function in enumerate(functions) if not function.analytes]
    return next(iter((*own, *general)), None)
