"""A text as its parts: titles, sentences, equations with numbers put in, figures in rows.

The derivation of a result is told once, in these parts; a terminal and a page print them each in their own way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from ubudget.pages.listing import TextColumn


@dataclass(frozen=True)
class Title:
    """A title over what follows; `level` 1 for the whole, 2 for a section."""

    text: str
    level: int


@dataclass(frozen=True)
class Blank:
    """An empty line between parts."""


@dataclass(frozen=True)
class Sentence:
    """One paragraph; `indent` of its first line and `hanging` of the others, in letters."""

    text: str
    indent: int = 0
    hanging: int | None = None


@dataclass(frozen=True)
class Formula:
    """A formula alone, in one line where there is room."""

    text: str
    indent: int
    hanging: int


@dataclass(frozen=True)
class Opening:
    """Begins a numbered block; other parts refer to it as `[number]`."""

    number: int
    title: str


@dataclass(frozen=True)
class Equation:
    """What stands left of the sign, and all that it equals in turn: symbols, numbers put in, value with unit."""

    left: str
    rights: tuple[str, ...]
    indent: int
    remark: str = ""
    cell: str = ""
    """Where the workbook calculates it, `computation!F97`."""


@dataclass(frozen=True)
class Source:
    """A symbol with its value, and where that is told: a block, or a field of a record."""

    symbol: str
    value: str
    place: str = ""
    block: int | None = None


@dataclass(frozen=True)
class Sources:
    """Where the symbols of an equation come from."""

    entries: tuple[Source, ...]
    indent: int


@dataclass(frozen=True)
class Figures:
    """Rows of figures; labels name the rows and are repeated where columns go on below."""

    labels: tuple[TextColumn, ...]
    columns: tuple[TextColumn, ...]
    indent: int = 0


@dataclass(frozen=True)
class Inside:
    """Parts that belong to what stands before them, set in by four letters."""

    parts: tuple[Part, ...]


Part = Title | Blank | Sentence | Formula | Opening | Equation | Sources | Figures | Inside


def inside(parts: Iterable[Part]) -> Iterator[Part]:
    """The parts set in; nothing where there are none."""
    found = tuple(parts)
    if found:
        yield Inside(found)


def columns_that_fit(labels: Sequence[int], columns: Sequence[int], room: int, gap: int) -> Iterator[tuple[int, int]]:
    """Which columns, of these widths, stand beside the labels, again and again: first and end of each turn."""
    taken = sum(width + gap for width in labels)
    first = 0
    for at in range(len(columns)):
        used = taken + sum(width + gap for width in columns[first : at + 1])
        if at > first and used > room + gap:
            yield first, at
            first = at
    if len(columns) > first:
        yield first, len(columns)
