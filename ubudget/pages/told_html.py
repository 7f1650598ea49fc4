"""Parts of a text as a page: equations one under the other, block numbers as links."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from ubudget.pages.html import Cell, formula, heading, said, table
from ubudget.pages.listing import TextColumn
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
)

_BLOCK = re.compile(r"\[(\d+)\]")
SHIFT = 1
"""Levels of titles below that of the page."""


def told_markup(parts: Iterable[Part], anchor: str, shift: int = SHIFT) -> Iterator[str]:
    """The parts as markup; `anchor` tells the blocks of several texts on one page apart. The title of level 1 is left
    to the page."""
    for part in parts:
        match part:
            case Title(text, level):
                if level > 1:
                    yield heading(level + shift, text)
            case Blank():
                pass
            case Sentence(text, indent, _):
                yield f'<p class="in{min(indent // 4 + bool(indent % 4), 3)}">{_linked(said(text), anchor)}</p>'
            case Formula(text):
                yield f'<p class="equation">{formula(text)}</p>'
            case Opening(number, title):
                yield heading(3 + shift, f"[{number}] {title}", f"{anchor}{number}")
            case Equation():
                yield _equation(part)
            case Sources(entries):
                rows = "".join(
                    f"<dt>{formula(entry.symbol)}</dt><dd>{_origin(entry, anchor)}</dd>" for entry in entries
                )
                yield f'<dl class="sources">{rows}</dl>'
            case Figures(labels, columns):
                yield _figures((*labels, *columns))
            case Inside(inner):
                yield '<div class="in1">'
                yield from told_markup(inner, anchor, shift)
                yield "</div>"


def _equation(part: Equation) -> str:
    left, (first, *further) = formula(part.left), part.rights
    lines = [f"{left} = {formula(first)}", *(f"= {formula(right)}" for right in further)]
    remark = f" <span>({said(part.remark)})</span>" if part.remark else ""
    cell = f" <code>{said(part.cell)}</code>" if part.cell else ""
    shown = "".join(f'<span class="right">{line}</span>' for line in lines)
    note = f'<span class="remark">{remark}{cell}</span>' if remark or cell else ""
    return f'<div class="equation">{shown}{note}</div>'


def _origin(entry: Source, anchor: str) -> str:
    place = f'<a href="#{anchor}{entry.block}">[{entry.block}]</a>' if entry.block is not None else said(entry.place)
    return " ".join(filter(None, (said(entry.value), place)))


def _linked(markup: str, anchor: str) -> str:
    return _BLOCK.sub(rf'<a href="#{anchor}\1">[\1]</a>', markup)


def _figures(columns: tuple[TextColumn, ...]) -> str:
    heads = [Cell(formula(column.heading), column.side == "right", markup=True) for column in columns]
    rows = [
        [Cell(column.cells[row], column.side == "right") for column in columns] for row in range(len(columns[0].cells))
    ]
    return table("Numbers of the rows", heads, rows)
