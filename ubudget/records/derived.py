"""Results that are calculated from results: sums, differences, ratios, means, balances over several samples."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.low_levels import BelowLimits
from ubudget.records.strict import STRICT


@dataclass(frozen=True, config=STRICT, kw_only=True)
class DerivedSymbol:
    """What a symbol of a derived equation stands for: the result of an analyte, a derived result defined above, or a
    symbol of the method."""

    analyte: str = ""
    """Analyte of the result; empty: that of the row, where there is one result for each analyte."""
    line: str = ""
    """Line of the result; needed where the analyte has several."""
    sample: str = ""
    """Sample of the result; empty: that of the row, where there is one result for each sample."""
    derived: str = ""
    """Name of a derived result defined above."""
    method_symbol: str = ""
    """Symbol of the method whose value for the sample is taken."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Derived:
    """A result calculated from results, propagated with all that they share."""

    name: str
    """Stands in place of the analyte."""
    measurand: str
    equation: str
    unit: str
    basis: str = ""
    per: Literal["sample", "analyte", "run"] = "sample"
    """One result for each sample, for each analyte, or one for the run."""
    of: str = ""
    """Stands in place of the sample, where the result is not of one sample; empty: the id of the run."""
    samples: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """Only for these samples; empty: every sample that has one of the results."""
    analytes: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """Only for these analytes; empty: every analyte of the method."""
    symbols: dict[str, DerivedSymbol] = Field(default_factory=dict)
    """Symbols of the equation; symbols of the method need no entry where they are the same for the whole run."""
    below_limits: BelowLimits = "as measured"
    """How results below a limit count in it, in what is reported; value and U are as measured."""
    own_limit: bool = False
    """For means: below its equation at the limits of all its results, it is reported as less than that."""
