"""What rounding may leave of a difference of equal numbers, judged by the cells that a formula looks at.

As `ubudget.pages.noise` does for quantities, from the formula as it stands in the cell: 8 units in the last place of
the terms, handed on by products. Two such rests are the same number, nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import isclose, prod

from ubudget.pages.cells_as_read import CellAsRead, CellValue, address_of
from ubudget.pages.formula_tokens import Reference, Token, tokens
from ubudget.pages.noise import BITS

AGREED = 1e-9
"""Relative: programs save 15 significant digits, and add up in another order."""
FLOOR = 1e-15
_FIXED = 1e-14
"""Relative, of content that is not calculated."""
_DEPTH = 4
"""Formulas through which a rest is followed."""

Look = Callable[[str, str], CellAsRead]
"""The cell of a sheet and address."""


def disagree(expected: CellValue, found: CellValue, formula: str | None, home: str, look: Look) -> bool:
    """Whether a stored value is not the expected one; `formula` and `home`, its sheet, tell what may be a rest."""
    if isinstance(expected, float) and isinstance(found, float):
        if isclose(expected, found, rel_tol=AGREED, abs_tol=FLOOR):
            return False
        return formula is None or max(abs(expected), abs(found)) > rest_of(formula, home, look)
    if isinstance(expected, str) and isinstance(found, str):
        # Texts of figures have the decimal sign of the program that calculated them.
        return expected.replace(",", ".") != found.replace(",", ".")
    return (None if expected == "" else expected) != (None if found == "" else found)


def same_content(one: CellValue, other: CellValue) -> bool:
    """Whether two cells without formula hold the same."""
    if isinstance(one, float) and isinstance(other, float):
        return one == other or isclose(one, other, rel_tol=_FIXED)
    return one.__class__ is other.__class__ and one == other


def rest_of(formula: str, home: str, look: Look, depth: int = _DEPTH) -> float:
    """The largest number that can be a mere rest in a formula: 0 where it takes no difference."""
    parts = [part for part in tokens(formula) if part not in ("(", ")")]
    if any(part in ("+", "-") for part in parts[1:]):
        return BITS * sum(_size(term, home, look) for term in _terms(parts))
    if not depth or any(part != "*" for part in parts if isinstance(part, str)):
        return 0.0
    factors = [part for part in parts if isinstance(part, Reference)]
    sizes = [abs(_number(factor, home, look)) for factor in factors]
    rests = []
    for at, factor in enumerate(factors):
        sheet = factor.sheet or home
        behind = look(sheet, address_of(factor.column, factor.row)).formula
        if behind is not None:
            rests.append(rest_of(behind, sheet, look, depth - 1) * prod(sizes[:at] + sizes[at + 1 :]))
    return max(rests, default=0.0)


def _terms(parts: Sequence[Token]) -> Iterator[list[Token]]:
    term: list[Token] = []
    for part in parts:
        if part in ("+", "-", ","):
            yield term
            term = []
        else:
            term.append(part)
    yield term


def _size(term: Sequence[Token], home: str, look: Look) -> float:
    """Size of a term: its factors multiplied; a quotient that divides by nothing is nothing."""
    size, over = 1.0, False
    for part in term:
        if isinstance(part, (Reference, float)):
            number = abs(part if isinstance(part, float) else _number(part, home, look))
            size = (size / number if number else 0.0) if over else size * number
        over = part == "/"
    return size if any(isinstance(part, (Reference, float)) for part in term) else 0.0


def _number(reference: Reference, home: str, look: Look) -> float:
    value = look(reference.sheet or home, address_of(reference.column, reference.row)).value
    return value if isinstance(value, float) else 0.0
