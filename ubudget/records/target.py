"""Target uncertainty (VIM 2.34): the largest uncertainty of a result that serves its purpose, decided beforehand."""

from __future__ import annotations

from pydantic import model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import Amount, PositiveAmount
from ubudget.records.case import Case
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Target(Case):
    """Target uncertainty for one analyte (or derived result), line, matrix or level band.

    `U`, expanded by the method's own coverage, or `u`, standard; in % of the result, or in its unit."""

    U: PositiveAmount | None = None
    u: PositiveAmount | None = None
    source: str = ""

    @model_validator(mode="after")
    def _one(self) -> Target:
        if (self.U is None) == (self.u is None):
            raise ValueError("both or neither of U and u; accepted: one of them")
        return self

    @property
    def key(self) -> str:
        """The field that states it."""
        return "U" if self.U is not None else "u"

    @property
    def amount(self) -> Amount:
        found = self.U if self.U is not None else self.u
        assert found is not None
        return found
