"""Plain text for a terminal: wrapped lines and aligned tables, never wider than asked."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

WIDTH = 80
GAP = "  "


@dataclass(frozen=True)
class TextColumn:
    """A column of a table; texts longer than `widest` go on in the next line."""

    heading: str
    cells: Sequence[str]
    side: Literal["left", "right"] = "left"
    widest: int = WIDTH


def wrapped(text: str, indent: str = "", hanging: str | None = None, width: int = WIDTH) -> list[str]:
    """The text in lines; words longer than a line are broken, so that no line is too wide."""
    later = indent if hanging is None else hanging
    lines = textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=later, break_on_hyphens=False)
    return lines or [indent.rstrip()]


def formula_lines(text: str, indent: str, hanging: str, width: int = WIDTH) -> list[str]:
    """A formula in lines; one that is too long gets blanks around its products, where a line may end."""
    if shown_width(indent) + shown_width(text) > width:
        text = text.replace("·", " · ").replace(")/(", ") / (")
    return wrapped(text, indent, hanging, width)


def table_lines(columns: Sequence[TextColumn], indent: str = "", width: int = WIDTH) -> list[str]:
    """Heading, rule and rows. Left columns give way, the widest first, where the table would be too wide."""
    widths = _widths(columns, width - len(indent))
    lines = [_row([column.heading for column in columns], columns, widths)]
    lines.append([GAP.join("-" * size for size in widths)])
    for number in range(len(columns[0].cells)):
        lines.append(_row([column.cells[number] for column in columns], columns, widths))
    return [f"{indent}{line}".rstrip() for row in lines for line in row]


def _widths(columns: Sequence[TextColumn], room: int) -> list[int]:
    widths = [
        min(column.widest, max(shown_width(text) for text in (column.heading, *column.cells))) for column in columns
    ]
    while sum(widths) + len(GAP) * (len(widths) - 1) > room:
        candidates = [number for number, column in enumerate(columns) if column.side == "left"]
        widest = max(candidates or range(len(widths)), key=lambda number: widths[number])
        if widths[widest] <= 4:
            break
        widths[widest] -= 1
    return widths


def _row(texts: Sequence[str], columns: Sequence[TextColumn], widths: Sequence[int]) -> list[str]:
    parts = [_cell_lines(text, size) for text, size in zip(texts, widths, strict=True)]
    height = max(len(part) for part in parts)
    lines = []
    for number in range(height):
        cells = [part[number] if number < len(part) else "" for part in parts]
        lines.append(
            GAP.join(
                _padded(cell, size, column.side) for cell, size, column in zip(cells, widths, columns, strict=True)
            )
        )
    return lines


def _cell_lines(text: str, size: int) -> list[str]:
    if shown_width(text) <= size:
        return [text]
    return textwrap.wrap(text, size, break_on_hyphens=False) or [""]


def _padded(text: str, size: int, side: Literal["left", "right"]) -> str:
    blanks = " " * max(0, size - shown_width(text))
    return text + blanks if side == "left" else blanks + text


def shown_width(text: str) -> int:
    """Columns of a terminal that the text takes."""
    return sum(_character_width(character) for character in text)


def _character_width(character: str) -> int:
    if unicodedata.combining(character):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def joined(lines: Iterable[str]) -> str:
    """The lines as one text that ends with a line feed."""
    return "\n".join(lines) + "\n"
