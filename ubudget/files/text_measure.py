"""How many lines a text takes in a cell, estimated from the widths of letters.

The file format leaves heights to the writer; a reader that does not measure again would cut the text off.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

_NARROW: Final = 0.28
_MIDDLE: Final = 0.54
_WIDE: Final = 0.72
_WIDEST: Final = 0.95
"""Widths in units of the letter size, after the usual sans-serif faces (common practice, no source)."""
_FIXED: Final = 0.6
_BOLD: Final = 1.08

_WIDTHS: Final[dict[str, float]] = (
    dict.fromkeys("ijlftI.,;:!|'()[]/ ", _NARROW)
    | dict.fromkeys('rst-"*°', 0.42)
    | dict.fromkeys("ABCDEFGHKLNOPQRSTUVXYZw&", _WIDE)
    | dict.fromkeys("mMW@%—…", _WIDEST)
)


def text_width(text: str, size: float, *, bold: bool = False, fixed: bool = False) -> float:
    """Width of one line of `text` in the unit of `size`."""
    if fixed:
        return len(text) * _FIXED * size
    return sum(_WIDTHS.get(letter, _MIDDLE) for letter in text) * size * (_BOLD if bold else 1.0)


@lru_cache(maxsize=20_000)
def line_count(text: str, width: float, size: float, *, bold: bool = False, fixed: bool = False) -> int:
    """Lines that `text` takes when wrapped at `width` (same unit as `size`); longer words are broken."""
    space = text_width(" ", size, bold=bold, fixed=fixed)
    lines = 0
    for paragraph in text.split("\n"):
        lines += 1
        taken = 0.0
        for word in paragraph.split(" "):
            needed = text_width(word, size, bold=bold, fixed=fixed)
            if taken > 0.0 and taken + space + needed > width:
                lines += 1
                taken = 0.0
            taken += needed + (space if taken > 0.0 else 0.0)
            if taken > width:
                whole = int(taken // width)
                lines += whole
                taken -= whole * width
    return lines
