"""Numbers of rows that a workbook for daily use keeps ready, as its record sheet states them."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass

_LIMITS = {"samples": (1, 400), "levels": (2, 40), "replicates": (1, 20), "blanks": (0, 40)}
_PART = re.compile(r"([a-z]+) = ([0-9]{1,4})")


@dataclass(frozen=True)
class SpareRows:
    """How many samples, calibration levels, replicate readings and blanks there is room for."""

    samples: int
    levels: int
    replicates: int
    blanks: int

    @property
    def text(self) -> str:
        """As on the record sheet."""
        return "; ".join(f"{name} = {number}" for name, number in asdict(self).items())

    @property
    def faults(self) -> list[str]:
        """Numbers that are out of range, each as found and accepted."""
        return [
            f"--{name} {number}: {low} to {high} rows are possible"
            for name, number in asdict(self).items()
            for low, high in [_LIMITS[name]]
            if not low <= number <= high
        ]


def spare_rows_from(text: str) -> SpareRows:
    """The numbers from their text. Raises `ValueError` where it is another text."""
    parts = dict(_PART.findall(text))
    if set(parts) != set(_LIMITS):
        raise ValueError(f"{text!r} does not give {', '.join(_LIMITS)}")
    return SpareRows(**{name: int(number) for name, number in parts.items()})
