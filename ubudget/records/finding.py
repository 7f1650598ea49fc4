"""A defect or remark about the data, in the words of laboratory staff."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Severity = Literal["stop", "attend", "note"]


@dataclass(frozen=True, order=True)
class Finding:
    """`stop`: the input cannot be used; `attend`: the work was done, a person must look; `note`: for
    information."""

    severity: Severity
    file: str
    place: str
    """Table, row or key, 1-based, with the item's name where it has one: `sample row 3 (SED-03), gross
    [g]`."""
    found: str
    accepted: str
    remedy: str

    def line(self) -> str:
        """The finding as one line: what was found may hold a line break, as a cell does."""
        words = f"{self.file}: {self.place}: found {self.found}; accepted: {self.accepted}; {self.remedy}"
        return "".join(letter if letter.isprintable() else " " for letter in words)

    def as_json(self) -> dict[str, str]:
        return {
            "severity": self.severity,
            "file": self.file,
            "place": self.place,
            "found": self.found,
            "accepted": self.accepted,
            "remedy": self.remedy,
        }


def stops(findings: Iterable[Finding]) -> list[Finding]:
    """The findings that make the input unusable."""
    return [finding for finding in findings if finding.severity == "stop"]
