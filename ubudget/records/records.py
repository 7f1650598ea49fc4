"""The three records of one run together, with the texts they were read from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from ubudget.records.amendments import Amended
from ubudget.records.finding import Finding
from ubudget.records.method import Method
from ubudget.records.register import Register
from ubudget.records.run import Run

Role = Literal["run", "method", "register", "samples", "solutions", "readings"]


@dataclass(frozen=True)
class SourceText:
    """A file as it was read: `name` is its file name without folder."""

    role: Role
    name: str
    text: str


@dataclass(frozen=True)
class Edit:
    """A field of a record given another value, as from an edited cell of a workbook.

    `path` holds keys and 0-based positions of the TOML document, or (data row, heading) of a table. Four
    paths of the run stand for the trail of excluded readings: `("include", solution, analyte, line, replicate)`
    with 1 or 0, and the same with `"reason"`, `"who"` and `"when"` (an ISO date) with text. `unit` is the unit
    of `value`, empty for a bare number or text."""

    document: Role
    path: tuple[str | int, ...]
    value: float | str
    unit: str = ""
    cell: str = field(default="", compare=False)
    """`sheet samples, cell C9`, where it was made in a workbook."""


@dataclass(frozen=True)
class Records:
    """`run` is absent where a method file stands alone; `register` where the run names none."""

    name: str
    """The run's id, or the method's id where it stands alone."""
    method: Method
    register: Register | None
    run: Run | None
    texts: tuple[SourceText, ...]
    edits: tuple[Edit, ...] = ()
    findings: tuple[Finding, ...] = ()
    told: Callable[[Sequence[Finding]], list[Finding]] | None = field(default=None, compare=False, repr=False)
    """Findings by the places of the workbook that the records were read from; absent where they are those of files."""
    amendments: tuple[Amended, ...] = ()
    """The amendments of the run as they were applied, those undone among them."""
    as_measured: bool = False
    """Whether exclusions and amendments of the run were left aside."""

    def file(self, role: Role) -> str:
        """Name of the file of a role, for findings."""
        return next((text.name for text in self.texts if text.role == role), usual_name(role))


def usual_name(role: Role) -> str:
    """File name of a role, where the records have no file for it."""
    return f"{role}.csv" if role in ("samples", "solutions", "readings") else f"{role}.toml"
