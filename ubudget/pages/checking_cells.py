"""One sheet as found against the sheet as issued, cell by cell."""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.pages.cells_as_read import EMPTY, SheetAsRead, place_of
from ubudget.pages.checking_rests import same_content, unequal
from ubudget.pages.checking_rows import UNMOVED, Moves, Shift
from ubudget.pages.formula_tokens import same_formula, tokens


@dataclass(frozen=True)
class SheetFindings:
    """What differs on one sheet, cell by cell; addresses are those of the sheet as issued."""

    edited: tuple[str, ...] = ()
    formulas: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()
    locks: tuple[str, ...] = ()
    values: tuple[str, ...] = ()
    """Formulas that stand, with a stored value that is not the one issued."""
    empty: int = 0
    """Of these, the ones without any stored value."""
    added: tuple[str, ...] = ()
    """Cells as found where nothing was issued."""
    explained: int = 0
    """Formulas that only followed, or lost, rows that moved."""


def in_place(issued: SheetAsRead, found: SheetAsRead) -> SheetFindings:
    """What differs where no row and no sheet moved."""
    return _cells(issued, found, UNMOVED, None)


def after_moves(issued: SheetAsRead, found: SheetAsRead, moves: Moves) -> SheetFindings:
    """What differs but for what moved."""
    return _cells(issued, found, moves.shifts.get(issued.name, UNMOVED), moves)


def rows_in_doubt(differences: SheetFindings) -> bool:
    """Whether more than one cell differs, so that rows may have moved."""
    places = (*differences.formulas, *differences.texts, *differences.added, *differences.edited)
    return len(places) > 1


def _cells(issued: SheetAsRead, found: SheetAsRead, shift: Shift, moves: Moves | None) -> SheetFindings:
    edited: list[str] = []
    formulas: list[str] = []
    texts: list[str] = []
    locks: list[str] = []
    values: list[str] = []
    empty = explained = 0
    there = found.cells
    for address, cell in issued.cells.items():
        place = address if shift.unmoved else shift.address(address)
        if place is None:
            continue
        stands = there.get(place)
        if stands == cell and (moves is None or cell.formula is None):
            continue
        if stands is None:
            if cell.formula is None and cell.value is None and cell.locked:
                continue
            stands = EMPTY
        if stands.locked != cell.locked:
            locks.append(address)
        if cell.formula is None:
            if stands.formula is None and same_content(cell.value, stands.value):
                continue
            (texts if cell.locked else edited).append(address)
            continue
        if stands.formula is None:
            formulas.append(address)
            continue
        if cell.formula != stands.formula and not same_formula(cell.formula, stands.formula, issued.name):
            if moves is not None and moves.explain(tokens(cell.formula), tokens(stands.formula), issued.name):
                explained += 1
            else:
                formulas.append(address)
                continue
        elif (
            moves is not None
            and moves.shifts
            and not moves.explain(tokens(cell.formula), tokens(stands.formula), issued.name)
        ):
            explained += 1  # left as it was, while the rows that it names moved
        if cell.value != stands.value and unequal(cell.value, stands.value):
            values.append(address)
            empty += stands.value is None
    own = issued.cells.keys() if shift.unmoved else {shift.address(address) for address in issued.cells}
    added, loose = [], []
    for address in there.keys() - own if own != there.keys() else ():
        cell = there[address]
        if (cell.formula is not None or cell.value is not None) and (shift.unmoved or not shift.inserted(address)):
            added.append(address)
        elif not cell.locked:
            loose.append(address)
    return SheetFindings(
        tuple(edited),
        tuple(formulas),
        tuple(texts),
        (*locks, *sorted(loose, key=place_of)),
        tuple(values),
        empty,
        tuple(sorted(added, key=place_of)),
        explained,
    )
