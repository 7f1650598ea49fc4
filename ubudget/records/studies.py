"""The record of a study of precision or bias: what was done, in which unit, and the table with its data."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass as plain_dataclass
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.amount import NonNegativeAmount, PositiveAmount
from ubudget.records.finding import Finding
from ubudget.records.strict import STRICT
from ubudget.records.unit_comparison import in_unit

Tuple = Field(strict=False)
Design = Literal[
    "nested",
    "control sample",
    "duplicates",
    "laboratories",
    "robust mean",
    "reference materials",
    "proficiency tests",
    "recoveries",
    "reference method",
]
KIND = "study"
PARTS = ("analyte", "matrix", "level")
"""Columns that part the data: each combination is a study of its own."""


@plain_dataclass(frozen=True)
class Columns:
    """Columns of the table of one design: texts, numbers in the unit of the study, and other numbers."""

    texts: tuple[str, ...] = ()
    amounts: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    """Of the columns in the unit of the study, those that the table may lack, or leave empty: NaN in the data."""


COLUMNS: dict[str, Columns] = {
    "nested": Columns(amounts=("value",)),
    "control sample": Columns(amounts=("value",)),
    "duplicates": Columns(amounts=("first", "second")),
    "laboratories": Columns(texts=("laboratory",), amounts=("value",)),
    "robust mean": Columns(amounts=("value",)),
    "reference materials": Columns(texts=("material",), amounts=("found", "s", "certified", "U"), others=("n", "k")),
    "proficiency tests": Columns(
        texts=("round", "robust"),
        amounts=("found", "assigned", "s_R", "u"),
        others=("laboratories",),
        optional=("u",),
    ),
    "recoveries": Columns(others=("recovery",)),
    "reference method": Columns(amounts=("found", "reference")),
}


@dataclass(frozen=True, config=STRICT, kw_only=True)
class SpikeUncertainty:
    """Standard uncertainty of what was added, each in % of it."""

    stock: PositiveAmount
    volume_limit: NonNegativeAmount | None = None
    """Largest error of the volume added, a half-width."""
    volume_repeatability: NonNegativeAmount | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Study:
    """What was measured again and again, or beside something known, to learn the scatter or the bias of a method."""

    kind: Literal["study"]
    id: Annotated[str, Field(min_length=1)]
    title: Annotated[str, Field(min_length=1)]
    design: Design
    unit: str = ""
    """Of the data; that of the results of the method."""
    relative: bool = False
    """Whether scatter and bias are found as fractions of the level."""
    data: Annotated[str, Field(min_length=1)]
    """The table, a CSV file beside this record."""
    factors: Annotated[tuple[str, ...], Tuple] = ()
    """Design `nested` alone: its columns, the outermost first, such as day and digest."""
    by: Literal["differences", "mean range"] = "differences"
    """Design `duplicates` alone."""
    spike: SpikeUncertainty | None = None
    reference_u: PositiveAmount | None = None
    """Design `reference method` alone: standard uncertainty of its results."""
    date: dt.date | None = None
    """The day on which the study was closed."""
    who: str = ""
    remarks: Annotated[tuple[str, ...], Tuple] = ()

    @model_validator(mode="after")
    def _fits_its_design(self) -> Study:
        belongs = {
            "factors": ("nested", bool(self.factors)),
            "spike": ("recoveries", self.spike is not None),
            "reference_u": ("reference method", self.reference_u is not None),
        }
        for key, (design, given) in belongs.items():
            if given != (self.design == design):
                word = "beside" if given else "missing in"
                raise ValueError(
                    f"{key} {word} design {self.design}; accepted: {key} with design {design}, and only so"
                )
        if self.by != "differences" and self.design != "duplicates":
            raise ValueError(f"by beside design {self.design}; accepted: by with design duplicates")
        return self


@plain_dataclass(frozen=True)
class StudyData:
    """The rows of one part of a study: its analyte, matrix and level, and columns by name."""

    part: tuple[str, ...]
    texts: Mapping[str, tuple[str, ...]]
    numbers: Mapping[str, tuple[float, ...]]

    @property
    def label(self) -> str:
        return ", ".join(text for text in self.part if text)


def study_findings(study: Study, file: str) -> Iterator[Finding]:
    """What the record alone shows: units that are none, or of another kind."""
    spike = study.spike
    parts = ("stock", "volume_limit", "volume_repeatability")
    for name in parts if spike else ():
        amount = getattr(spike, name)
        if amount is not None and amount.unit != "%":
            remedy = "give it in % of what was added"
            yield Finding("stop", file, f"spike, {name}", amount.text, "a percentage", remedy)
    known = study.reference_u
    if known is not None and in_unit(known.value, known.unit, study.unit) is None:
        accepted = f"a unit that converts to {study.unit or '1'}"
        yield Finding("stop", file, "reference_u", known.text, accepted, "correct the unit")
    if not study.unit and not study.relative and study.design != "recoveries":
        yield Finding("stop", file, "unit", "no unit", "the unit of the results", 'add unit = "mg/kg"')
    reserved = [name for name in study.factors if name in (*PARTS, "value", "within")]
    for name in reserved:
        accepted = "names other than analyte, matrix, level, value and within"
        yield Finding("stop", file, "factors", name, accepted, "rename the column")
    if len(set(study.factors)) < len(study.factors):
        yield Finding("stop", file, "factors", "a name twice", "each factor once", "delete one of them")
