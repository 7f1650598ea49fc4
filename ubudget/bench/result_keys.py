"""What names a result."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ResultKey:
    """What one row of the results table is the result of; `portions` are rows of the test portions."""

    sample: str
    analyte: str
    line: str | None
    portions: tuple[int, ...] = ()
