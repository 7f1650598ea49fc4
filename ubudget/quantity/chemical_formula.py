"""Chemical formulas: how many atoms of which element, with brackets and hydrates.

`K2Cr2O7`, `Mg(NO3)2`, `CuSO4·5H2O` or `CuSO4.5H2O`. Counts are whole numbers, since the point joins parts.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

from ubudget.quantity.atomic_weights import STANDARD_WEIGHTS, WITHOUT_STANDARD_WEIGHT

_JOINTS = re.compile("[.·•∙⋅]")
_TOKEN = re.compile(r"([A-Z][a-z]?)|([(\[{])|([)\]}])|([1-9][0-9]{0,3}(?![0-9]))")
_CLOSES = {"(": ")", "[": "]", "{": "}"}
ACCEPTED = 'a formula such as "K2Cr2O7", "Mg(NO3)2" or "CuSO4·5H2O"'
LONGEST = 200


class FormulaError(ValueError):
    """What is wrong with a formula: what was found, and what is accepted."""

    def __init__(self, found: str, accepted: str = ACCEPTED) -> None:
        super().__init__(f"{found}; accepted: {accepted}")
        self.found, self.accepted = found, accepted


def atoms_of(formula: str, stated: Mapping[str, object] | None = None) -> dict[str, int]:
    """Number of atoms by element, in the order of the formula.

    `stated` names elements whose atomic weight is given elsewhere. Raises `FormulaError` for what cannot be read, for
    an unknown element, and for one that has no atomic weight."""
    text = unicodedata.normalize("NFKC", formula).replace(" ", "")
    if not text or len(text) > LONGEST:
        raise FormulaError("no formula" if not text else f"a formula of {len(text)} characters")
    total: dict[str, int] = {}
    for part in _JOINTS.split(text):
        match = re.match("[1-9][0-9]{0,3}(?![0-9])", part)
        times = int(match.group()) if match else 1
        for element, count in _part(part[match.end() :] if match else part, formula).items():
            total[element] = total.get(element, 0) + times * count
    for element in total:
        _known(element, formula, stated or {})
    return total


def _part(text: str, formula: str) -> dict[str, int]:
    """Atoms of a formula without joints: brackets are opened from the inside, on a stack."""
    stack: list[tuple[str, dict[str, int]]] = [("", {})]
    last: dict[str, int] = {}
    position = 0
    while position < len(text):
        match = _TOKEN.match(text, position)
        if match is None:
            raise FormulaError(f"{text[position]!r} in the formula {formula}")
        position = match.end()
        element, opens, closes, count = match.groups()
        if count is not None:
            if not last:
                raise FormulaError(f"the number {count} in {formula}, which follows no element or bracket")
            _add(stack[-1][1], last, int(count) - 1)
            last = {}
        elif opens is not None:
            stack.append((_CLOSES[opens], {}))
            last = {}
        else:
            if closes is not None:
                wanted, last = stack.pop() if len(stack) > 1 else ("", {})
                if closes != wanted:
                    raise FormulaError(f"the bracket {closes} in {formula}, which closes none", "brackets in pairs")
            else:
                last = {element: 1}
            _add(stack[-1][1], last, 1)
    if len(stack) > 1:
        raise FormulaError(f"a bracket in {formula} that is not closed with {stack[-1][0]}", "brackets in pairs")
    if not stack[0][1]:
        raise FormulaError(f"an empty part in the formula {formula}")
    return stack[0][1]


def _add(atoms: dict[str, int], more: Mapping[str, int], times: int) -> None:
    for element, count in more.items():
        atoms[element] = atoms.get(element, 0) + times * count


def _known(element: str, formula: str, stated: Mapping[str, object]) -> None:
    if element in STANDARD_WEIGHTS or element in stated:
        return
    if element in WITHOUT_STANDARD_WEIGHT:
        raise FormulaError(
            f"{element} in {formula}: a radioactive element without standard atomic weight",
            f"an element with a standard atomic weight, or a table [atomic_weights.{element}] of the method",
        )
    raise FormulaError(f"the unknown element {element} in {formula}", "symbols of elements, e.g. Co")


def shared_element(source: Mapping[str, int], target: Mapping[str, int], wanted: str = "") -> str:
    """The element at whose equal amount two substances are compared; empty where none or several would do."""
    shared = [element for element in source if element in target]
    if wanted:
        return wanted if wanted in shared else ""
    return shared[0] if len(shared) == 1 else ""
