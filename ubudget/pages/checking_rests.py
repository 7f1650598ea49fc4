"""Which stored values are the expected ones, and which differ by no more than rounding leaves.

What should be zero on paper comes out as -2.2E-16 in one program and as 0 in another. As `ubudget.pages.noise` does for
quantities, such rests are judged against the terms of their formula: 8 units in the last place of each, and what the
cells that it looks at bring along.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import isclose
from typing import NamedTuple

from ubudget.pages.cells_as_read import CellAsRead, CellValue, address_of
from ubudget.pages.formula_tokens import Reference, Token, tokens
from ubudget.pages.noise import BITS

AGREED = 1e-9
"""Relative: programs save 15 significant digits, and add up in another order."""
FLOOR = 1e-15
_FIXED = 1e-14
"""Relative, of content that is not calculated."""
_DEPTH = 5
"""Formulas through which rounding is followed."""

Look = Callable[[str, str], CellAsRead]
"""The cell of a sheet and address."""


class Unequal(NamedTuple):
    """A stored value that is not the expected one, at an address as issued."""

    sheet: str
    address: str
    expected: CellValue
    found: CellValue


def same_content(one: CellValue, other: CellValue) -> bool:
    """Whether two cells without formula hold the same."""
    if isinstance(one, float) and isinstance(other, float):
        return one == other or isclose(one, other, rel_tol=_FIXED)
    return one.__class__ is other.__class__ and one == other


def unequal(expected: CellValue, found: CellValue) -> bool:
    """Whether a stored value is not the expected one, rests of rounding aside."""
    if isinstance(expected, float) and isinstance(found, float):
        return not isclose(expected, found, rel_tol=AGREED, abs_tol=FLOOR)
    if isinstance(expected, str) and isinstance(found, str):
        # Texts of figures have the decimal sign of the program that calculated them.
        return expected.replace(",", ".") != found.replace(",", ".")
    return (None if expected == "" else expected) != (None if found == "" else found)


def beyond_rounding(candidates: Sequence[Unequal], look: Look) -> list[Unequal]:
    """The candidates that rounding does not explain; a cell that looks up such a rest shows the same two numbers."""
    rests: set[tuple[CellValue, CellValue]] = set()
    left, rounding = [], Rounding(look)
    for each in candidates:
        apart = _apart(each.expected, each.found)
        if apart is not None and apart <= 2 * rounding.of(each.sheet, each.address):
            rests.add((each.expected, each.found))
        else:
            left.append(each)
    return [each for each in left if (each.expected, each.found) not in rests]


def _apart(one: CellValue, other: CellValue) -> float | None:
    return abs(one - other) if isinstance(one, float) and isinstance(other, float) else None


class Rounding:
    """What rounding may change of cells, each asked once; `look` gives the cells as issued."""

    def __init__(self, look: Look) -> None:
        self._look = look
        self._known: dict[tuple[str, str], float] = {}

    def of(self, sheet: str, address: str, depth: int = _DEPTH) -> float:
        """Of a sum of products; 0 where a formula holds anything else, and where there is none."""
        if (sheet, address) not in self._known:
            self._known[sheet, address] = 0.0
            formula = self._look(sheet, address).formula
            parts = [] if formula is None else [part for part in tokens(formula) if part not in ("(", ")")]
            if parts and depth and not any(isinstance(part, str) and part not in "+-*/^" for part in parts):
                self._known[sheet, address] = sum(self._of_term(term, sheet, depth) for term in _terms(parts))
        return self._known[sheet, address]

    def _of_term(self, term: Sequence[Token], home: str, depth: int) -> float:
        """Its size times the relative rounding of its factors; of a quotient by nothing, nothing."""
        if all(isinstance(part, str) for part in term):
            return 0.0
        size, relative, handed_on, sign = 1.0, BITS, 0.0, ""
        for part in term:
            if isinstance(part, str):
                sign = part
                continue
            number, behind = (abs(part), 0.0) if isinstance(part, float) else self._looked_up(part, home, depth)
            if sign == "^":
                continue  # powers stand in quotients, where a bound needs no more
            size, before = (size / number if number else 0.0) if sign == "/" else size * number, size
            relative += behind / number if number else 0.0
            handed_on += 0.0 if number else before * behind
        return size * relative + handed_on

    def _looked_up(self, reference: Reference, home: str, depth: int) -> tuple[float, float]:
        """Size of a cell that is looked at, and its own rounding."""
        sheet, address = reference.sheet or home, address_of(reference.column, reference.row)
        value = self._look(sheet, address).value
        return abs(value) if isinstance(value, float) else 0.0, self.of(sheet, address, depth - 1)


def _terms(parts: Sequence[Token]) -> Iterator[list[Token]]:
    term: list[Token] = []
    for part in parts:
        if part in ("+", "-"):
            yield term
            term = []
        else:
            term.append(part)
    yield term
