"""Numbers of repeats that a plan takes in place of those recorded (GUM 4.2.3: u = s/sqrt(n)).

What was recorded keeps its standard deviation and its degrees of freedom: more readings would make the mean better
known, but nobody has seen their scatter yet."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Planned:
    """`None` and 1 leave the numbers of the record."""

    readings: int | None = None
    """Readings of each solution of a sample, on each line."""
    blanks: int | None = None
    """Blanks behind each mean blank."""
    standard_readings: float = 1.0
    """Readings of each standard, over those recorded."""
    standard_sets: int = 1
    """How many equal copies of the standards and of their readings the records hold."""


AS_RECORDED = Planned()
