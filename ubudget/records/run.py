"""The run: what was weighed, filled, diluted and read on the day, and what was changed afterwards."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import AfterValidator, Field
from pydantic.dataclasses import dataclass

from ubudget.records.additions import Addition
from ubudget.records.amendments import Amendment
from ubudget.records.amount import Amount, AnyAmount, NonNegativeAmount, PositiveAmount
from ubudget.records.device_concentration import CheckSolution
from ubudget.records.import_record import ImportRecord
from ubudget.records.planned import AS_RECORDED, Planned
from ubudget.records.preparation import DilutionStep, Steps
from ubudget.records.quality import Duplicate, Spike
from ubudget.records.strict import STRICT


def _sixty_four(text: str) -> str:
    if text and (len(text) != 64 or set(text) - set("0123456789abcdef")):
        raise ValueError("no fingerprint; accepted: 64 digits from 0 to f, as evaluate --json gives them")
    return text


Fingerprint = Annotated[str, AfterValidator(_sixty_four)]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Dates:
    """Dates of single steps; an absent one is the run's date."""

    preparation: dt.date | None = None
    weighing: dt.date | None = None
    digestion: dt.date | None = None
    measurement: dt.date | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Standard:
    """A calibration standard: its concentrations as calculated from the stock solutions, or how it was prepared.

    Prepared from the stock solutions, or from another standard or item of the register (`from`), by steps."""

    label: str
    concentration: dict[str, NonNegativeAmount] = Field(default_factory=dict)
    steps: Steps = ()
    source: Annotated[str, Field(alias="from")] = ""
    analytes: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """What a prepared standard contains; empty: every analyte with a stock solution."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Stock:
    """The stock solution behind an analyte's standards, and the concentration that stated ones were calculated with."""

    item: str
    calculated_with: PositiveAmount | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Exclusion:
    """One reading left out of the evaluation, with its reason; the reading itself stays in the readings
    file."""

    solution: str
    analyte: str
    line: str = ""
    replicate: Annotated[int, Field(ge=1)]
    reason: Annotated[str, Field(min_length=1)]
    who: str = ""
    when: dt.date | None = None
    position: Annotated[int, Field(ge=1)] | None = None
    """Which reading of the drift check; other solutions are read once in a block."""
    block: str = ""
    """Calibration block of the reading, where the readings have blocks."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Block:
    """A calibration block: solutions read together with standards of their own, on the run's day of measurement or on a
    day of its own."""

    name: Annotated[str, Field(min_length=1)]
    measurement: dt.date | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Change:
    """A value of the record changed afterwards, kept for the trail."""

    what: str
    was: str
    now: str
    reason: str
    who: str = ""
    when: dt.date | None = None


@dataclass(frozen=True, config=STRICT, kw_only=True)
class RunSheet:
    """The run file, `run.toml`."""

    id: str
    date: dt.date
    analyst: str
    method: str
    method_fingerprint: Fingerprint = ""
    """Fingerprint of the method's file as approved (64 digits, from `evaluate --json` or `compare`): another file is
    then a finding."""
    register: str = ""
    samples: str = ""
    solutions: str = ""
    readings: str = ""
    reading_unit: str = "1"
    device_blank: Literal["applied", "not applied"] | None = None
    """Whether the device subtracted a blank of its own from the readings it gave."""
    dates: Dates = Dates()
    remarks: Annotated[tuple[str, ...], Field(strict=False)] = ()


@dataclass(frozen=True)
class Portion:
    """One row of the samples table: one test portion taken through the procedure."""

    row: int
    """0-based position in the samples file."""
    sample: str
    portion: int
    kind: Literal["sample", "blank", "reference material"]
    solution: str
    """Label of the solution made from it, as measured."""
    matrix: str
    reference_material: str
    """Register item, for a reference material taken through the procedure."""
    columns: dict[str, Amount | str]
    """All other columns by heading: amounts where the heading has a unit (`gross [g]`), else text."""


@dataclass(frozen=True)
class Solution:
    """A further dilution of a portion's solution; it replaces it for the analytes in `reports`."""

    row: int
    label: str
    source: str
    steps: tuple[DilutionStep, ...]
    reports: tuple[str, ...]
    """Analytes (or lines) whose result is taken from this solution; empty: all of its readings."""


@dataclass(frozen=True)
class Reading:
    """Readings of one solution on one analyte and line: replicate values, or mean, s and n."""

    row: int
    solution: str
    analyte: str
    line: str
    values: tuple[float, ...]
    """Replicate values as written; empty where mean, s and n are given."""
    mean: float | None = None
    s: float | None = None
    n: int | None = None
    position: int | None = None
    """Place in the order of reading; `None`: as the file has it."""
    block: str = ""
    """Calibration block: the solution is read on the curves of the standards of the same block."""
    rerun: str = ""
    """Why a solution was read again in a later block, whose reading takes over; empty: read for the first time."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class RunFile:
    """All tables of `run.toml`."""

    run: RunSheet
    standards: Annotated[tuple[Standard, ...], Field(strict=False, alias="standard")] = ()
    additions: Annotated[tuple[Addition, ...], Field(strict=False, alias="addition")] = ()
    checks: Annotated[tuple[CheckSolution, ...], Field(strict=False, alias="check_solution")] = ()
    stocks: dict[str, Stock] = Field(default_factory=dict)
    spikes: Annotated[tuple[Spike, ...], Field(strict=False, alias="spike")] = ()
    duplicates: Annotated[tuple[Duplicate, ...], Field(strict=False, alias="duplicate")] = ()
    blocks: Annotated[tuple[Block, ...], Field(strict=False, alias="block")] = ()
    exclusions: Annotated[tuple[Exclusion, ...], Field(strict=False, alias="exclude_reading")] = ()
    changes: Annotated[tuple[Change, ...], Field(strict=False, alias="change")] = ()
    amendments: Annotated[tuple[Amendment, ...], Field(strict=False, alias="amendment")] = ()
    imports: Annotated[tuple[ImportRecord, ...], Field(strict=False, alias="import")] = ()
    """Where readings came from, if they were imported; written by the program."""

    def day_of(self, block: str) -> dt.date | None:
        """The day on which a calibration block was measured, where it is not the run's."""
        days = {one.name: one.measurement for one in self.blocks}
        return None if days.get(block) in (None, self.run.dates.measurement or self.run.date) else days[block]


@dataclass(frozen=True)
class Run:
    """A run with its tables."""

    file: RunFile
    portions: tuple[Portion, ...] = ()
    solutions: tuple[Solution, ...] = ()
    readings: tuple[Reading, ...] = ()
    planned: Planned = AS_RECORDED


def amount_of(portion: Portion, column: str) -> AnyAmount | None:
    """The amount in a column of the samples table, or `None` where it is absent, empty or text."""
    value = portion.columns.get(column)
    return value if isinstance(value, Amount) else None
