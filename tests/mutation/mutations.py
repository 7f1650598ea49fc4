"""Single changes of a workbook, in memory, and what the check must say of each: that cell, and nothing else.

The ways of changing a formula are the test's own: they know nothing of how the check reads one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from tests.workbooks.books import EXAMPLES, HARBOUR
from tests.workbooks.test_alive import another
from ubudget.files.check_reading import cells_of, read_cells
from ubudget.files.checking import Plan, plan_of
from ubudget.files.reading import read_records
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages.cells_as_read import BookAsRead, CellAsRead
from ubudget.pages.check_report import Report
from ubudget.pages.checking import compare
from ubudget.pages.record_sheet import open_cells

SUBJECTS = (HARBOUR, EXAMPLES / "rinse_water", EXAMPLES / "well_arsenic")
"""The demonstration, and two examples that are read in other ways."""
_CELL = re.compile(r"(?<![A-Za-z$!'.\w])(\$?[A-Z]{1,2}\$?)([1-9][0-9]*)(?![\w(!])")
Mutate = Callable[[CellAsRead], CellAsRead | None]


@dataclass(frozen=True, eq=False)
class Subject:
    """A workbook as issued and as read from a file."""

    name: str
    plan: Plan
    found: BookAsRead

    def report(self, sheet: str, address: str, cell: CellAsRead) -> Report:
        """What the check says where one cell is another."""
        home = self.found.by_name[sheet]
        changed = replace(home, cells={**home.cells, address: cell})
        sheets = tuple(changed if each is home else each for each in self.found.sheets)
        return self.check(replace(self.found, sheets=sheets))

    def check(self, found: BookAsRead) -> Report:
        return compare(self.plan.issued, found, lambda changes: self.plan.values(Path("book.xlsx"), changes))

    def formulas(self) -> Iterator[tuple[str, str, CellAsRead]]:
        for sheet in self.found.sheets:
            for address, cell in sheet.cells.items():
                if cell.formula is not None:
                    yield sheet.name, address, cell


@cache
def subject(path: Path) -> Subject:
    """The example as ubudget wrote it."""
    records, findings = read_records(path)
    assert records is not None, findings
    plan = plan_of(path, records.texts)
    return Subject(path.stem, plan, cells_of(book_bytes(plan.book)))


def as_saved(book: Subject, file: Path) -> Subject:
    """The same workbook as another program saved it."""
    found, findings = read_cells(file)
    assert found is not None, findings
    return replace(book, found=found)


def by_its_value(cell: CellAsRead) -> CellAsRead:
    """A formula overwritten by what it shows."""
    return CellAsRead(None, cell.value, cell.locked)


def by_another(cell: CellAsRead) -> CellAsRead:
    """A changed formula beside the old stored value."""
    return CellAsRead(f"({cell.formula})*1", cell.value, cell.locked)


def by_a_shift(cell: CellAsRead) -> CellAsRead | None:
    """The first reference one row further down; nothing where a formula looks nowhere."""
    assert cell.formula is not None
    outside = re.split(r'("[^"]*")', cell.formula)
    for number, piece in enumerate(outside):
        shifted = _CELL.sub(lambda m: f"{m[1]}{int(m[2]) + 1}", piece, count=1)
        if not piece.startswith('"') and shifted != piece:
            return CellAsRead("".join([*outside[:number], shifted, *outside[number + 1 :]]), cell.value, cell.locked)
    return None


MUTATIONS: dict[str, Mutate] = {"value": by_its_value, "formula": by_another, "shift": by_a_shift}


def missed_formula(book: Subject, sheet: str, address: str, cell: CellAsRead, mutate: Mutate) -> str:
    """What the check says wrongly of one overwritten formula; empty where it names that cell and nothing else."""
    changed = mutate(cell)
    if changed is None:
        return ""
    report = book.report(sheet, address, changed)
    told = [(each.sheet, each.cell) for each in report.broken_formulas]
    others = (*report.edited_inputs, *report.altered_cells, *report.structure, *report.disagreements)
    right = told == [(sheet, address)] and not others and not report.intact and not report.not_calculated
    return "" if right else f"{book.name} {sheet}!{address} {changed}: {told} {others[:2]}"


def inputs(book: Subject) -> Iterator[tuple[str, str, CellAsRead]]:
    """Every open cell with something else typed into it."""
    numbers = {(cell.sheet, cell.address): cell for cell in open_cells(book.plan.book.sheets)}
    for sheet in book.found.sheets:
        for address, cell in sheet.cells.items():
            if cell.locked:
                continue
            known = numbers.get((sheet.name, address))
            if known is not None and not isinstance(known.value, str):
                yield sheet.name, address, CellAsRead(None, another(known), locked=False)
            else:
                yield sheet.name, address, CellAsRead(None, "2026-03-18", locked=False)


def missed_input(book: Subject, sheet: str, address: str, cell: CellAsRead) -> str:
    """What the check says wrongly of one edited input, the stored values being those before the edit."""
    report = book.report(sheet, address, cell)
    told = [(each.sheet, each.cell, each.found) for each in report.edited_inputs]
    others = (*report.broken_formulas, *report.altered_cells, *report.structure, *report.disagreements)
    stale = report.not_calculated or not _followed(book, sheet, address) or bool(report.not_compared)
    right = told == [(sheet, address, cell.value)] and not others and report.intact and stale
    return "" if right else f"{book.name} {sheet}!{address} {cell}: {told} {others[:2]} {report.not_calculated}"


def _followed(book: Subject, sheet: str, address: str) -> bool:
    """Whether a formula follows an open cell: nothing does those that people sign."""
    return book.plan.issued.fields[sheet, address].kind != "signature"
