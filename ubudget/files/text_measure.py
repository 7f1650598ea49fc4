"""How many lines a text takes in a cell, estimated from the widths of letters.

The file format leaves heights to the writer; a reader that does not measure again would cut the text off.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

_NARROW: Final = 0.28
_MIDDLE: Final = 0.54
_WIDE: Final = 0.72
_WIDEST: Final = 0.95
"""Widths in units of the letter size, after the usual sans-serif faces (common practice, no source)."""
_FIXED: Final = 0.6
_BOLD: Final = 1.08
_PIECE: Final = re.compile(r"[^._;·/]*[._;·/]+|[^._;·/]+$")
"""Parts of a name of a quantity between which a line may end: `u(f.aliquot.calibration)`."""

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


def longest_piece(text: str, size: float, *, bold: bool = False) -> float:
    """Width of the widest part of a heading that stays in one line (same unit as `size`)."""
    pieces = (piece for word in text.split() for piece in _PIECE.findall(word))
    return max((text_width(piece, size, bold=bold) for piece in pieces), default=0.0)


def broken_words(text: str, width: float, size: float, *, bold: bool = False) -> str:
    """The text with line feeds inside words that are wider than `width`, where a name of a quantity may end a line.

    Spreadsheets would break them anywhere."""
    return " ".join(_broken(word, width, size, bold) for word in text.split(" "))


def _broken(word: str, width: float, size: float, bold: bool) -> str:
    if text_width(word, size, bold=bold) <= width:
        return word
    lines = [""]
    for piece in _PIECE.findall(word):
        if lines[-1] and text_width(lines[-1] + piece, size, bold=bold) > width:
            lines.append("")
        lines[-1] += piece
    return "\n".join(lines)
