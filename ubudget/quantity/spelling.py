"""Two spellings of an expression: the formula of a spreadsheet cell, and the line an assessor reads.

In cells every sign and every power base stands in brackets (`-2^2` is 4 in a cell).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import cache

from ubudget.quantity.expression import Apply, Expression, Number, Symbol
from ubudget.quantity.operations import TABLE

Resolve = Callable[[str], str]

_CELL = re.compile(r"^(.*?)\$?([A-Z]{1,3})(\{\w+\}|\d+)$")


def number_text(value: float) -> str:
    """A number as a cell and our own parser read it; 17 digits where 15 do not give the value back."""
    text = f"{value:.15g}"
    if float(text) != value:
        text = repr(value)
    if text.endswith(".0"):
        text = text[:-2]
    return text.upper()


def cell_text(expression: Expression, resolve: Resolve) -> str:
    """Formula text without the leading `=`; `resolve` gives the cell reference (or template) of a symbol."""
    return _spell(expression, resolve, _cell_number, cell=True)[0]


def readable_text(expression: Expression, names: Mapping[str, str] | None = None) -> str:
    """The expression in print; `names` replaces symbols, e.g. by numbers put in."""
    given = names or {}
    return _spell(expression, lambda name: given.get(name, name), number_text, cell=False)[0]


def _cell_number(value: float) -> str:
    return f"({number_text(value)})" if value < 0 else number_text(value)


def _spell(expression: Expression, resolve: Resolve, number: Callable[[float], str], *, cell: bool) -> tuple[str, int]:
    """Text and binding strength."""
    if isinstance(expression, Number):
        text = number(expression.value)
        return text, (9 if expression.value >= 0 or cell else 1)
    if isinstance(expression, Symbol):
        text = resolve(expression.name)
        # Numbers put in for a symbol may carry a sign or a power of ten.
        return text, (1 if not cell and text[:1] in "-+" else 9)
    assert isinstance(expression, Apply)
    row = TABLE[expression.operation]
    template = row.cell if cell else row.words
    parts = [_spell(argument, resolve, number, cell=cell) for argument in expression.arguments]
    if row.arity is None:
        texts = [text for text, _ in parts]
        return template.format(all=",".join(_contiguous(texts)) if cell else ", ".join(texts)), 9
    closed = template.endswith(")")
    if closed and row.binding == 9:
        texts = [
            text if strength == 9 or _stands_alone(template, place) else f"({text})"
            for place, (text, strength) in enumerate(parts)
        ]
        return template.format(*texts), 9
    bound = [_bracket(text, strength, row.binding, place) for place, (text, strength) in enumerate(parts)]
    if row.name == "power" or (row.name == "negate" and cell):
        bound[0] = _closed(*parts[0])
    return template.format(*bound), 9 if closed else row.binding


@cache
def _stands_alone(template: str, place: int) -> bool:
    """Whether an argument is one of a function wherever it stands, and no part of a sum or product within."""
    holes = template.count(f"{{{place}}}")
    return holes == len(re.findall(rf"(?<=[(,;| ])\{{{place}\}}(?=[),;| ])", template))


def _bracket(text: str, strength: int, binding: int, place: int) -> str:
    # Left to right: the right side of - and / needs brackets at equal strength; + and * get them too, so that the
    # order of calculation is the tree's.
    needs = strength < binding or (place > 0 and strength == binding)
    return f"({text})" if needs else text


def _closed(text: str, strength: int) -> str:
    return text if strength == 9 and not text.startswith("-") else f"({text})"


def _contiguous(references: Sequence[str]) -> list[str]:
    """Neighbouring cells of one row drawn together: `X5,Y5,Z5` → `X5:Z5`."""
    runs: list[list[str]] = []
    for reference in references:
        if runs and _follows(runs[-1][-1], reference):
            runs[-1].append(reference)
        else:
            runs.append([reference])
    return [run[0] if len(run) == 1 else f"{run[0]}:{_local(run[-1])}" for run in runs]


def _local(reference: str) -> str:
    return reference.rsplit("!", 1)[-1]


def _follows(left: str, right: str) -> bool:
    a, b = _CELL.match(left), _CELL.match(right)
    if a is None or b is None or a.group(1) != b.group(1) or a.group(3) != b.group(3):
        return False
    return column_number(b.group(2)) == column_number(a.group(2)) + 1


def column_number(letters: str) -> int:
    """1 for A, 27 for AA."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def column_letters(number: int) -> str:
    """A for 1, AA for 27."""
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
