"""What a walk over an export gathers: values with their solution and line, and what is set aside."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from ubudget.records.finding import Finding
from ubudget.records.import_mapping import Kind

Part = Literal["value", "mean", "s", "rsd", "n"]


@dataclass(frozen=True)
class Known:
    """What run and method know of solutions and lines."""

    labels: dict[str, Kind]
    analytes: dict[str, tuple[str, ...]]


@dataclass(frozen=True)
class Value:
    """One value as the export has it."""

    row: int
    """Line of the file, from 1 on."""
    solution: str
    analyte: str
    line: str
    part: Part
    replicate: int | None
    text: str
    unit: str
    flag: str
    rerun: bool
    position: str

    @property
    def words(self) -> str:
        return " ".join(part for part in (self.solution, self.analyte, self.line) if part)


@dataclass(frozen=True)
class SetAside:
    row: int
    what: str
    why: str

    @property
    def words(self) -> str:
        return f"line {self.row} ({self.what[:60]}): {self.why}"[:240]


@dataclass
class Gathered:
    """What one walk over the rows finds."""

    values: list[Value] = field(default_factory=list)
    nominals: list[Value] = field(default_factory=list)
    aside: list[SetAside] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    columns_aside: list[str] = field(default_factory=list)
    """Columns that were not taken."""
