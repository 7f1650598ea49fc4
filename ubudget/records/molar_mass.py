"""Molar masses and conversion factors from chemical formulas."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import PositiveAmount
from ubudget.records.case import Selector
from ubudget.records.stated import Stated
from ubudget.records.strict import STRICT

Text = Annotated[str, Field(min_length=1)]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class FormulaCase(Selector):
    """The formula for one analyte, line or matrix."""

    formula: Text


@dataclass(frozen=True, config=STRICT, kw_only=True)
class MolarMass:
    """Molar mass of a compound, from its formula and the atomic weights of its elements."""

    operation: Literal["molar mass"]
    quantity: str
    formula: str = ""
    unit: Literal["g/mol"] = "g/mol"
    cases: Annotated[tuple[FormulaCase, ...], Field(strict=False, alias="for")] = ()

    @property
    def stated(self) -> tuple[tuple[Selector, str], ...]:
        """Where each formula applies."""
        base: tuple[tuple[Selector, str], ...] = ((Selector(), self.formula),) if self.formula else ()
        return (*base, *((case, case.formula) for case in self.cases))


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Conversion(Selector):
    """From one substance to another that holds the same element."""

    source: Annotated[Text, Field(alias="from")]
    target: Annotated[Text, Field(alias="to")]
    element: str = ""
    """The element that is counted; needed only where the two share several."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ConversionFactor:
    """Mass of the substance `to` for each mass of the substance `from`, at the same amount of an element.

    From Al to Al2O3: M(Al2O3)/(2 M(Al))."""

    unit: ClassVar[str] = ""
    operation: Literal["conversion factor"]
    quantity: str
    source: Annotated[str, Field(alias="from")] = ""
    target: Annotated[str, Field(alias="to")] = ""
    element: str = ""
    cases: Annotated[tuple[Conversion, ...], Field(strict=False, alias="for")] = ()

    @model_validator(mode="after")
    def _both_ends(self) -> ConversionFactor:
        if bool(self.source) != bool(self.target):
            raise ValueError("one of from and to; accepted: both, or neither with [[for]] tables")
        return self

    @property
    def stated(self) -> tuple[Conversion, ...]:
        """Every conversion; the one of the symbol itself applies everywhere."""
        if not self.source:
            return self.cases
        return (Conversion(source=self.source, target=self.target, element=self.element), *self.cases)


@dataclass(frozen=True, config=STRICT, kw_only=True)
class AtomicWeight(Stated):
    """An atomic weight stated by the method in place of the standard one, e.g. from an isotopic certificate."""

    value: PositiveAmount

    @model_validator(mode="after")
    def _says_its_uncertainty(self) -> AtomicWeight:
        if not self.states_uncertainty or self.readings is not None:
            raise ValueError(
                "no uncertainty; accepted: u; U with k; half_width with distribution; rounded_to; or exact = true"
            )
        return self
