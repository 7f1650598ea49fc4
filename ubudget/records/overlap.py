"""Spectral overlap: what other elements of the same solution add to a line."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import AnyAmount
from ubudget.records.stated import Stated
from ubudget.records.strict import STRICT

Line = tuple[str, str]
"""Analyte and line."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Overlap(Stated):
    """Apparent concentration of the analyte on its line for each unit of the interferent's concentration."""

    analyte: str
    line: str = ""
    interferent: str
    interferent_line: str = ""
    factor: AnyAmount
    """Without unit; negative where the interferent lowers the background of the line."""

    @model_validator(mode="after")
    def _says_its_uncertainty(self) -> Overlap:
        if not self.states_uncertainty or self.readings is not None:
            raise ValueError(
                "no uncertainty; accepted: u; U with k; half_width with distribution; rounded_to; or exact = true"
            )
        return self

    @property
    def on(self) -> Line:
        return (self.analyte, self.line)

    @property
    def of(self) -> Line:
        return (self.interferent, self.interferent_line)

    @property
    def words(self) -> str:
        return f"{' '.join(self.of).strip()} on {' '.join(self.on).strip()}"


@dataclass(frozen=True, config=STRICT, kw_only=True)
class SpectralOverlap:
    """The concentration `of` a calibration or a blank, less the overlaps on its line: c - sum of k c_j, c_j being the
    concentration of the interferent on its own line in the same solution."""

    operation: Literal["spectral overlap"]
    quantity: str
    unit: str
    of: str
