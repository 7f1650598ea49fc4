"""Amendments of a run: what was excluded, restored or changed after the measurement, each an appended record.

The records themselves stay as they were written. ISO/IEC 17025:2017, 7.5.2: amendments can be traced to the original;
original and amended data are kept, with the date, what was altered, and who did it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass as plain_dataclass
from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.stated import Positive
from ubudget.records.strict import STRICT

Act = Literal["change", "relabel", "exclude", "exclude solution", "restore", "undo"]
AmendedRecord = Literal["run", "method", "samples", "solutions", "readings"]
Rule = Literal["assigned cause", "rule of the method", "Grubbs", "Dixon", "Cochran"]
TESTS = ("Grubbs", "Dixon", "Cochran")

ReadingKey = tuple[str, str, str, int, int | None, str]
"""Solution, analyte, line, replicate, the position of a reading of the drift check, and the calibration block."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Amendment:
    """One amendment of the run; what it amends stays in place. Amendments are appended and take effect in order."""

    act: Act
    record: AmendedRecord | None = None
    """Of a change: the file that holds the field."""
    entry: str = ""
    """Of a change: the row, by sample (SED-04, or SED-04/2 for its portion 2) or by solution."""
    field: str = ""
    """Of a change: the heading of the column, or the key in run or method, e.g. symbols.c.curve."""
    solution: str = ""
    analyte: str = ""
    line: str = ""
    replicate: Annotated[int, Field(ge=1)] | None = None
    position: Annotated[int, Field(ge=1)] | None = None
    """Which reading of the drift check; other solutions are read once in a block."""
    block: str = ""
    """Calibration block of the readings; needed where the solution was read in several."""
    was: Annotated[str, Field(alias="from")] = ""
    """What stood in the record, as the record writes it; empty where nothing did."""
    to: str = ""
    """What stands there now; empty where the field is taken out."""
    undoes: Annotated[int, Field(ge=1)] | None = None
    """Of an undo: the number of the amendment, counted from 1."""
    rule: Rule | None = None
    """Of an exclusion: by which rule."""
    cause: str = ""
    """Of an exclusion by an outlier test: what made the reading wrong."""
    level: Annotated[float, Field(gt=0, lt=0.5)] | None = None
    """Of an outlier test: its level of significance."""
    statistic: Positive | None = None
    critical: Positive | None = None
    reason: Annotated[str, Field(min_length=1)]
    who: Annotated[str, Field(min_length=1)]
    when: dt.date
    time: Annotated[str, Field(pattern=r"^(([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?)?$")] = ""
    """Time of day, e.g. 14:05."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class Trail:
    """The amendments of a run file, read before its other tables."""

    amendments: Annotated[tuple[Amendment, ...], Field(strict=False, alias="amendment")] = ()


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ExclusionRule:
    """What the method allows of readings left out; a whole solution left out is not counted."""

    at_most: Annotated[int, Field(ge=0)] = 1
    """Readings that may be left out of one solution and line."""
    leave: Annotated[int, Field(ge=1)] | None = None
    """Readings that must be left of one solution and line; where it is not stated, 3 where scatter is their own."""
    outlier_test_suffices: bool = False
    """Whether an outlier test alone, without an assigned cause, is a reason."""


@plain_dataclass(frozen=True)
class Amended:
    """One amendment as it was applied."""

    number: int
    """Counted from 1, in the order of the file."""
    amendment: Amendment
    what: str
    """What it amends, in words."""
    undone: bool
    """Whether a later amendment undoes it."""
    readings: tuple[ReadingKey, ...] = ()
    """Readings left out or restored, by their labels as they now stand."""
    solutions: tuple[str, ...] = ()
    """Labels of the samples or solutions whose rows it changes, as they now stand."""
    lines: tuple[tuple[str, str], ...] = ()
    """Analytes and lines of the readings that it touches; empty: all."""
    values: tuple[float, ...] = ()
    """Of an exclusion: readings of the solution and line that counted before it."""
    tested: int | None = None
    """Of an exclusion: 0-based position of its reading in `values`."""


def place_of(number: int, what: str = "") -> str:
    """Words for an amendment in findings."""
    return f"amendment {number} ({what})" if what else f"amendment {number}"
