"""A workbook as found against the workbook as issued: what was typed, and what is no longer what ubudget made.

Both come as cells that were read (`ubudget.pages.cells_as_read`): the one found from its file, the one issued by
writing the plan of its own records and reading it alike, so that whatever a file can hold is compared with its like.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from ubudget.pages.cells_as_read import BookAsRead, CellAsRead, CellValue, SheetAsRead, address_of, place_of
from ubudget.pages.check_report import FORMULA, LOCKED, STORED, Difference, EditedInput, Field, Report
from ubudget.pages.checked_book import Changes, Issued
from ubudget.pages.checking_cells import SheetFindings, after_moves, rows_in_doubt
from ubudget.pages.checking_frame import frame_differences, permissions
from ubudget.pages.checking_rests import Unequal, beyond_rounding, unequal
from ubudget.pages.checking_rows import UNMOVED, Moves, Shift, sheets_renamed, shift_of
from ubudget.pages.checking_values import Values, older_than_listed, stale
from ubudget.quantity.spelling import column_letters

_NO_FIELD = Field("other", "", "", "")
_MOVING = ("row ", "column ", "sheet deleted", "sheet renamed")
"""How lines on what moves formulas begin."""


Expect = Callable[[Changes], Values]
"""Gives the values that formulas should have with the open cells as they stand."""


def changes_of(issued: Issued, found: BookAsRead) -> Changes:
    """The open cells that were changed, rows and sheets recognised where they moved."""
    moves = _moves(issued, found)
    edited = tuple(
        (sheet.name, address)
        for sheet, there in _pairs(issued.book, found, moves)
        for address in _findings(issued, sheet, there, moves).edited
    )
    return Changes(issued, found, moves, edited)


def compare(issued: Issued, found: BookAsRead, expect: Expect) -> Report:
    """All that differs between a workbook as issued and as found; `expect` is asked only where open cells changed."""
    changes = changes_of(issued, found)
    moves = changes.moves
    pairs = list(_pairs(issued.book, found, moves))
    findings = [(sheet, there, _findings(issued, sheet, there, moves)) for sheet, there in pairs]
    inputs = tuple(_edited(changes, sheet, address) for sheet, address in changes.edited)
    formulas: list[Difference] = []
    texts: list[Difference] = []
    structure: list[Difference] = []
    for sheet, there, differences in findings:
        shift = moves.shifts.get(sheet.name, UNMOVED)
        emptied = _emptied(sheet, there, differences, shift)
        formulas += [
            _difference(sheet, there, shift, address, FORMULA)
            for address in differences.formulas
            if place_of(address)[1] not in emptied
        ]
        texts += [
            _difference(sheet, there, shift, address, LOCKED)
            for address in differences.texts
            if place_of(address)[1] not in emptied
        ]
        texts += [
            Difference(there.name, address, None, _told(there.cell(address)), "something in a cell that was empty")
            for address in differences.added
        ]
        structure += _lines_told(sheet, there, shift, emptied)
        structure += permissions(sheet, there, differences.locks, shift)
    structure += frame_differences(issued.book, found, moves)
    structure = _with_followers(structure, sum(differences.explained for _, _, differences in findings))
    values, missing = _values(changes, findings, expect if changes.edited else None)
    return Report(inputs, tuple(formulas), tuple(texts), tuple(structure), *values, not_compared=missing)


# -- what moved ------------------------------------------------------------------------------------------------------


def _moves(issued: Issued, found: BookAsRead) -> Moves:
    names = sheets_renamed(issued.book, found)
    shifts = {}
    for sheet in issued.book.sheets:
        if sheet.name in names:
            there = found.by_name[names[sheet.name]]
            if rows_in_doubt(issued.in_place(sheet, there)):
                shifts[sheet.name] = shift_of(sheet, there)
    gone = frozenset(sheet.name for sheet in issued.book.sheets) - names.keys()
    return Moves({name: moved for name, moved in shifts.items() if not moved.unmoved}, names, gone)


def _findings(issued: Issued, sheet: SheetAsRead, there: SheetAsRead, moves: Moves) -> SheetFindings:
    return issued.in_place(sheet, there) if moves.none else after_moves(sheet, there, moves)


def _pairs(issued: BookAsRead, found: BookAsRead, moves: Moves) -> Iterator[tuple[SheetAsRead, SheetAsRead]]:
    for sheet in issued.sheets:
        if sheet.name in moves.names:
            yield sheet, found.by_name[moves.names[sheet.name]]


# -- cells ------------------------------------------------------------------------------------------------------------


def _told(cell: CellAsRead) -> CellValue:
    """What a cell holds, for people and programs: its formula, or its content."""
    return f"={cell.formula}" if cell.formula is not None else cell.value


def _difference(sheet: SheetAsRead, there: SheetAsRead, shift: Shift, address: str, what: str) -> Difference:
    place = shift.address(address) or address
    return Difference(there.name, place, _told(sheet.cell(address)), _told(there.cell(place)), what)


def _edited(changes: Changes, sheet: str, address: str) -> EditedInput:
    field = changes.issued.fields.get((sheet, address), _NO_FIELD)
    there, place = changes.sheet(sheet), changes.place(sheet, address)
    before, now = changes.issued.book.by_name[sheet].cell(address), changes.stands(sheet, address)
    name = sheet if there is None else there.name
    return EditedInput(name, place or address, _told(before), _told(now), field.words, field)


# -- rows and columns ------------------------------------------------------------------------------------------------


def _emptied(sheet: SheetAsRead, there: SheetAsRead, differences: SheetFindings, shift: Shift) -> frozenset[int]:
    """Rows of several cells that hold nothing any more."""
    gone = set()
    for row in {place_of(address)[1] for address in (*differences.formulas, *differences.texts)}:
        place, cells = shift.rows.at(row), sheet.rows.get(row, {})
        if place is not None and len(cells) > 1:
            here = (there.cell(address_of(column, place)) for column in cells)
            if all(cell.formula is None and cell.value is None for cell in here):
                gone.add(row)
    return frozenset(gone)


def _lines_told(sheet: SheetAsRead, there: SheetAsRead, shift: Shift, emptied: frozenset[int]) -> Iterator[Difference]:
    for row in sorted({*shift.rows.deleted, *emptied}):
        what = f"row {row} {'emptied' if row in emptied else 'deleted'}"
        yield Difference(there.name, f"A{row}", _row_named(sheet, row) or "a blank row", None, what)
    for row in shift.rows.inserted:
        named = _row_named(there, row) or ("a row" if there.rows.get(row) else "a blank row")
        yield Difference(there.name, f"A{row}", None, named, f"row {row} inserted")
    for column in shift.columns.deleted:
        named = _column_named(sheet, column)
        what = f"column {column_letters(column)} deleted"
        yield Difference(there.name, address_of(column, 1), named, None, what)
    for column in shift.columns.inserted:
        named = _column_named(there, column)
        what = f"column {column_letters(column)} inserted"
        yield Difference(there.name, address_of(column, 1), None, named, what)


def _with_followers(structure: Sequence[Difference], explained: int) -> list[Difference]:
    """How many formulas only followed what moved, or lost it, is told once."""
    told = list(structure)
    moved = [
        n for n, each in enumerate(told) if each.what.startswith(("row ", "column ", "sheet deleted", "sheet renamed"))
    ]
    if explained and moved:
        first = told[moved[0]]
        words = f"{first.what}; {explained:,} formulas followed such a change, or lost what they looked at"
        told[moved[0]] = replace(first, what=words)
    return told


def _column_named(sheet: SheetAsRead, column: int) -> str:
    """The first text of a column, which mostly is its heading."""
    cells = (cells[column] for cells in sheet.rows.values() if column in cells)
    texts = (cell.value for cell in cells if cell.formula is None and isinstance(cell.value, str))
    return next(texts, "a column")[:80]


def _row_named(sheet: SheetAsRead, row: int) -> str:
    """The first texts of a row, by which people know it."""
    cells = sheet.rows.get(row, {}).values()
    texts = [str(cell.value) for cell in cells if cell.formula is None and isinstance(cell.value, str)]
    return " ".join(texts[:4])[:80]


# -- stored values ---------------------------------------------------------------------------------------------------


def _values(
    changes: Changes, findings: Sequence[tuple[SheetAsRead, SheetAsRead, SheetFindings]], expect: Expect | None
) -> tuple[tuple[tuple[Difference, ...], bool], tuple[str, ...]]:
    """Disagreements, whether the values are not those of the inputs as they stand, and what could not be compared."""
    empty = sum(differences.empty for _, _, differences in findings)
    if 2 * empty > changes.issued.calculated or (expect is not None and older_than_listed(changes)):
        return ((), True), ()
    values = Values({}, ()) if expect is None else expect(changes)
    if expect is not None and stale(changes, values):
        return ((), True), values.missing
    candidates = [
        each
        for sheet, there, differences in findings
        for each in _unequal(sheet, there, changes, differences, None if expect is None else values)
    ]
    found = tuple(_disagreement(changes, each) for each in beyond_rounding(candidates, changes.issued.book.cell))
    return (found, False), values.missing


def _unequal(
    sheet: SheetAsRead, there: SheetAsRead, changes: Changes, differences: SheetFindings, values: Values | None
) -> Iterator[Unequal]:
    """Stored values that are not those expected, or not those issued where nothing else is expected."""
    if values is None:
        for address in differences.values:
            if changes.issued.spare and sheet.cell(address).value is None:
                continue
            stands = changes.stands(sheet.name, address)
            yield Unequal(sheet.name, address, sheet.cell(address).value, stands.value)
        return
    broken = {*differences.formulas}
    unmoved = sheet.name not in changes.moves.shifts
    for address, value in values.by_sheet.get(sheet.name, {}).items():
        place = address if unmoved else changes.place(sheet.name, address)
        if place is not None and address not in broken:
            stands = there.cell(place)
            if stands.value != value and unequal(value, stands.value):
                yield Unequal(sheet.name, address, value, stands.value)


def _disagreement(changes: Changes, each: Unequal) -> Difference:
    sheet = changes.moves.names.get(each.sheet, each.sheet)
    place = changes.place(each.sheet, each.address) or each.address
    return Difference(sheet, place, each.expected, each.found, STORED)
