"""Parts of a text for a terminal, in lines no wider than asked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ubudget.pages.listing import GAP, WIDTH, TextColumn, formula_lines, shown_width, table_lines, wrapped
from ubudget.pages.told import (
    Blank,
    Equation,
    Figures,
    Formula,
    Inside,
    Opening,
    Part,
    Sentence,
    Source,
    Sources,
    Title,
    columns_that_fit,
)

LONGEST_SYMBOL = 28
SET_IN = 4


def text_lines(parts: Iterable[Part], width: int = WIDTH) -> Iterator[str]:
    """The parts as lines."""
    for part in parts:
        yield from _part(part, width)


def _part(part: Part, width: int) -> Iterator[str]:
    match part:
        case Title(text, level):
            rule = "=" * (min(len(text), width) if level == 1 else len(text))
            yield from (text, rule) if level == 1 else ("", text, rule)
        case Blank():
            yield ""
        case Sentence(text, indent, hanging):
            yield from wrapped(text, " " * indent, None if hanging is None else " " * hanging, width)
        case Formula(text, indent, hanging):
            yield from formula_lines(text, " " * indent, " " * hanging, width)
        case Opening(number, title):
            yield from ("", f"[{number}] {title}")
        case Equation():
            yield from _equation(part, width)
        case Sources():
            yield from _sources(part, width)
        case Figures():
            yield from _figures(part, width)
        case Inside(parts):
            yield from (f"{' ' * SET_IN}{line}".rstrip() for line in text_lines(parts, width - SET_IN))


def _equation(part: Equation, width: int) -> Iterator[str]:
    indent = " " * part.indent
    first, further = f"{indent}{part.left} = ", " " * (part.indent + len(part.left)) + " = "
    if len(further) > width // 3:
        further = f"{indent}  = "
    said = "; ".join(filter(None, (part.remark, part.cell)))
    remark = f"{GAP}({said})" if said else ""
    for number, text in enumerate([*part.rights[:-1], f"{part.rights[-1]}{remark}"]):
        yield from formula_lines(text, further if number else first, further[:-2] + "  ", width)


def _sources(part: Sources, width: int) -> Iterator[str]:
    indent = " " * part.indent
    size = min(max((shown_width(entry.symbol) for entry in part.entries), default=0), LONGEST_SYMBOL)
    for entry in part.entries:
        start = f"{indent}{entry.symbol}{' ' * (size - shown_width(entry.symbol))}{GAP}"
        yield from wrapped(_origin(entry), start, " " * (part.indent + 6), width)


def _origin(entry: Source) -> str:
    place = f"[{entry.block}]" if entry.block is not None else entry.place
    return GAP.join(filter(None, (entry.value, place)))


def _figures(part: Figures, width: int) -> Iterator[str]:
    indent = " " * part.indent
    labels, columns = [_wide(column) for column in part.labels], [_wide(column) for column in part.columns]
    turns = columns_that_fit(labels, columns, width - part.indent, len(GAP))
    for number, (first, end) in enumerate(turns):
        if number:
            yield ""
        yield from table_lines([*part.labels, *part.columns[first:end]], indent, width)


def _wide(column: TextColumn) -> int:
    return min(max(shown_width(text) for text in (column.heading, *column.cells)), column.widest)
