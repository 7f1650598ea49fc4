"""What a user can mend is raised as one of these; a fault of the program is any other exception."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ubudget.records.finding import Finding


class UbudgetError(Exception):
    """A stop that the user can mend.

    The message is one line: the file, what was found, what is accepted, what to do.
    """

    def __init__(self, message: str) -> None:
        super().__init__(" ".join(message.split()))


class OutputExists(UbudgetError):
    """A file to be written is there already and nobody asked to replace it."""


class NotWritable(UbudgetError):
    """The operating system refuses to write a file."""


class UnusableInput(UbudgetError):
    """Records with at least one finding that stops the work; `findings` holds all of them."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("; ".join(finding.line() for finding in self.findings if finding.severity == "stop"))
