"""Where a set of parameters applies: analyte, line, matrix, level band."""

from __future__ import annotations

from pydantic.dataclasses import dataclass

from ubudget.records.amount import NonNegativeAmount, PositiveAmount
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Selector:
    """Where a set of parameters applies; an empty selector applies everywhere."""

    analyte: str = ""
    line: str = ""
    matrix: str = ""

    @property
    def banded(self) -> bool:
        return False


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Case(Selector):
    """A selector that may hold for a level band: half-open, `level_from <= level < level_to`, in the unit of the
    result."""

    level_from: NonNegativeAmount | None = None
    level_to: PositiveAmount | None = None

    @property
    def banded(self) -> bool:
        return self.level_from is not None or self.level_to is not None


def named_selectors(symbol: object) -> list[tuple[str, Selector]]:
    """The selectors of a symbol of the method, each with its place beneath the symbol."""
    tables = (("for", "cases"), ("reference_material", "reference_materials"), ("spike", "spikes"))
    return [
        (f"{table} {number}", case)
        for table, field in tables
        for number, case in enumerate(getattr(symbol, field, ()), start=1)
    ]
