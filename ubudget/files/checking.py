"""A workbook checked: read as it stands, its own records planned again, both compared. The file is only read."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from openpyxl.utils.datetime import from_excel

from ubudget.errors import UnusableInput
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.check_reading import ACCEPTED, cells_of, read_cells
from ubudget.files.reading import records_from_texts
from ubudget.files.spare_reading import read_filled
from ubudget.files.verbs import read_run
from ubudget.files.workbook_reading import edits_of
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages.book import Book
from ubudget.pages.cells_as_read import BookAsRead, CellValue
from ubudget.pages.check_report import Difference, Report
from ubudget.pages.checked_book import Changes, Issued
from ubudget.pages.checking import compare
from ubudget.pages.checking_changes import changes_shown, since_the_records, stated_as_issued
from ubudget.pages.checking_plan import (
    CHOICES,
    book_showing,
    labels_in,
    open_fields,
    record_in,
    result_chosen,
    texts_in,
)
from ubudget.pages.checking_spare import results_shown
from ubudget.pages.checking_values import Values, planned_values, values_in_places
from ubudget.pages.fill_in_blocks import HEADINGS
from ubudget.pages.layout import BUDGET
from ubudget.pages.plan import plan_book
from ubudget.pages.plan_fingerprint import plan_fingerprint
from ubudget.pages.record_sheet import LAYOUT, fingerprint, open_cells
from ubudget.pages.size import size_findings
from ubudget.pages.spare_plan import SparePlan, plan_spare
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Edit, Records, SourceText
from ubudget.records.spare_rows import spare_rows_from

_SHORTEST = 12
"""Digits of a fingerprint that are compared at least."""


def check_workbook(
    path: str | os.PathLike[str],
    *,
    against: str | None = None,
    original: str | os.PathLike[str] | None = None,
) -> Report:
    """How a workbook that ubudget wrote, as it stands now, differs from what ubudget made: inputs edited, formulas and
    locked cells changed, what moved or was hidden, and stored values that are not the library's.

    `against`: a fingerprint of records or plan that it should have; `original`: the run, or the workbook as issued,
    from which it should descend. The file is only read. Raises `UnusableInput` for another kind of file, another
    layout, and a file that is damaged or larger than any workbook of ubudget."""
    place = Path(path)
    found, findings = read_cells(place)
    if found is None:
        raise UnusableInput(findings)
    record = _Record.of(place, found)
    wanted = None if against is None else _wanted(against)
    origin = None if original is None else _original(Path(original))
    texts = record.texts
    if record.stated != record.fingerprint:
        if origin is None or fingerprint(origin, record.rows) != record.stated:
            return replace(_altered_record(record), descent=_descent(record, "", wanted, origin))
        texts = origin  # the records as they were: they tell what was altered, here as elsewhere
    plan = plan_of(place, texts, record.rows)
    edited = () if record.rows or not record.edits else plan.edits_when_issued(place, found)
    if edited:
        before, plan = plan, plan_of(place, texts, edits=edited)
    report = compare(plan.issued, found, lambda changes: plan.values(place, changes))
    if edited:
        report = since_the_records(report, before.book, plan.book, plan.issued)
    planned = plan_fingerprint(plan.book)
    return replace(
        report,
        program=str(record.program or ""),
        records_fingerprint=record.fingerprint,
        plan_fingerprint=planned,
        descent=_descent(record, planned, wanted, origin),
    )


@dataclass(frozen=True)
class _Record:
    """What the record sheet says of itself and holds."""

    sheet: str
    texts: tuple[SourceText, ...]
    rows: str
    program: CellValue
    cell: str
    stated: CellValue
    """The fingerprint that stands there, in `cell`."""
    edits: bool
    """Whether the workbook was written from records with edits, as when an edited workbook is issued anew."""

    @classmethod
    def of(cls, path: Path, book: BookAsRead) -> _Record:
        sheet = record_in(book)
        if sheet is None:
            raise UnusableInput([_foreign(path, book)])
        labels = labels_in(sheet)
        layout = labels["layout"][1]
        stated = f"{layout:.15g}" if isinstance(layout, float) else str(layout)
        if stated != LAYOUT:
            remedy = f"use the program that wrote it; this one reads layout {LAYOUT}"
            found = f"layout version {stated}"
            raise UnusableInput([Finding("stop", path.name, f"sheet {sheet.name}", found, ACCEPTED, remedy)])
        cell, stored = labels["fingerprint"]
        rows = str(labels.get("spare rows", ("", ""))[1] or "")
        edits = bool(labels.get("edits", ("", None))[1])
        return cls(sheet.name, texts_in(sheet), rows, labels["program"][1], cell, stored, edits)

    @property
    def fingerprint(self) -> str:
        return fingerprint(self.texts, self.rows)


def _foreign(path: Path, book: BookAsRead) -> Finding:
    if any(cell.value == HEADINGS for sheet in book.sheets for cell in sheet.cells.values()):
        found = "a workbook to fill in, which has no formulas to check"
        return Finding("stop", path.name, "sheets", found, ACCEPTED, "give it to ubudget evaluate")
    found = "no sheet with the original records"
    return Finding("stop", path.name, "sheets", found, ACCEPTED, "use a workbook written by ubudget workbook")


def _altered_record(record: _Record) -> Report:
    what = "the original records were altered, or their fingerprint was; --original with the run may tell more"
    altered = Difference(record.sheet, record.cell, record.fingerprint, record.stated, what)
    rest = "all other sheets: without the original records nothing tells what they should hold"
    return Report(
        altered_cells=(altered,),
        not_compared=(rest,),
        program=str(record.program or ""),
        records_fingerprint=record.fingerprint,
    )


def _wanted(against: str) -> str:
    """A fingerprint as somebody gives it, whole or its first digits."""
    wanted = against.strip().lower()
    if len(wanted) < _SHORTEST or set(wanted) - set("0123456789abcdef"):
        found = f"the fingerprint {against[:70]!r}"
        accepted = f"64 hexadecimal digits, or the first {_SHORTEST} of them at least"
        remedy = "copy it from the certificate or from ubudget check"
        raise UnusableInput([Finding("stop", "--against", "fingerprint", found, accepted, remedy)])
    return wanted


def _descent(
    record: _Record, planned: str, wanted: str | None, origin: tuple[SourceText, ...] | None
) -> tuple[str, ...]:
    """What speaks against the descent that is claimed, one line each."""
    mine, lines = record.fingerprint, []
    if wanted is not None and not mine.startswith(wanted) and not planned.startswith(wanted):
        lines.append(f"another fingerprint: wanted {wanted}, the records here have {mine}")
    theirs = None if origin is None else fingerprint(origin, record.rows)
    if theirs is not None and theirs != mine:
        lines.append(f"another origin: its records have {theirs}, those here have {mine}")
    return tuple(lines)


def _original(path: Path) -> tuple[SourceText, ...]:
    """The records of a run, or those that a workbook of ours holds."""
    if path.suffix.lower() == ".xlsx" and path.is_file():
        book, findings = read_cells(path)
        if book is None:
            raise UnusableInput(findings)
        if record_in(book) is not None:
            return _Record.of(path, book).texts
    return read_run(path).texts


@dataclass(frozen=True, eq=False)
class Plan:
    """The records of a workbook planned again."""

    texts: tuple[SourceText, ...]
    rows: str
    records: Records
    evaluation: Evaluation
    book: Book
    issued: Issued
    spare: SparePlan | None

    def edits_when_issued(self, path: Path, found: BookAsRead) -> tuple[Edit, ...]:
        """The edits that the list of open cells states as issued, in a workbook written from edited records."""
        as_issued = stated_as_issued(found, self.issued.fields)
        edits, _ = edits_of(path, _Stated(self.issued.book, as_issued), open_cells(self.book.sheets))
        return tuple(edits)

    def values(self, path: Path, changes: Changes) -> Values:
        """What the formulas should give with the open cells as they stand."""
        view = _View(changes)
        if self.spare is not None:
            records, findings = read_filled(
                path, view, self.texts, self.rows, lambda cells: edits_of(path, view, cells)
            )
            evaluation = None
            if records is not None:
                evaluation, findings = evaluate(records)
            if evaluation is None:
                return _not_evaluated(findings)
            return results_shown(self.spare, evaluation, changes)
        edits, findings = edits_of(path, view, open_cells(self.book.sheets))
        if stops(findings):
            return _not_evaluated(findings)
        evaluation = self.evaluation
        if edits:
            records, findings = records_from_texts(self.texts, edits)
            changed, findings = (None, findings) if records is None else evaluate(records)
            if changed is None:
                return _not_evaluated(findings)
            evaluation = changed
        sample, measured = (changes.stands(BUDGET, address).value for address in CHOICES)
        chosen = result_chosen(evaluation, sample, measured)
        planned = planned_values(book_showing(evaluation, chosen))
        missing: tuple[str, ...] = ()
        if chosen is None:
            planned.pop(BUDGET, None)
            missing = (f"sheet {BUDGET}: no such result as {sample} and {measured}",)
        shown = changes_shown(self.book, changes)
        issued = {
            sheet.name: {a: cell for a, cell in sheet.cells.items() if a not in shown.get(sheet.name, {})}
            for sheet in self.issued.book.sheets
            if sheet.name in planned
        }
        values = values_in_places(issued, planned)
        merged = {name: {**cells, **shown.get(name, {})} for name, cells in values.by_sheet.items()}
        return Values(merged, (*missing, *values.missing))


def plan_of(path: Path, texts: tuple[SourceText, ...], rows: str = "", edits: Sequence[Edit] = ()) -> Plan:
    """The workbook that this program makes of records, with `rows` spare rows. Raises `UnusableInput`."""
    records, findings = records_from_texts(texts, edits)
    if records is None:
        raise UnusableInput(findings)
    spare: SparePlan | None = None
    if rows:
        try:
            spare, findings = plan_spare(records, spare_rows_from(rows))
        except ValueError as error:
            remedy = "use an unaltered copy"
            stop = Finding("stop", path.name, "sheet record", str(error), "numbers of rows", remedy)
            raise UnusableInput([stop]) from error
        if spare is None:
            raise UnusableInput(findings)
        evaluation, book = spare.evaluation, spare.book
    else:
        made, findings = evaluate(records)
        if made is None:
            raise UnusableInput(findings)
        evaluation = made
        faults = size_findings(evaluation, path)
        if faults:
            raise UnusableInput(faults)
        book = plan_book(evaluation)
    issued = Issued(cells_of(book_bytes(book)), open_fields(book, records), spare is not None)
    return Plan(texts, rows, records, evaluation, book, issued, spare)


def _not_evaluated(findings: Sequence[Finding]) -> Values:
    lines = [f"{finding.file}: {finding.place}: found {finding.found}" for finding in stops(findings)]
    return Values({}, tuple(f"stored values: the inputs as they stand cannot be evaluated: {line}" for line in lines))


class _Stated:
    """Open cells as a list states them, as readers of edits ask for them."""

    def __init__(self, book: BookAsRead, stated: Mapping[tuple[str, str], CellValue]) -> None:
        self._book, self._stated = book, stated
        self.sheetnames = [sheet.name for sheet in book.sheets]

    def at(self, sheet: str, address: str) -> Any:
        return self._stated.get((sheet, address), self._book.by_name[sheet].cell(address).value)


class _View:
    """Open cells as they stand, under the addresses at which they were issued, as readers of edits ask for them."""

    def __init__(self, changes: Changes) -> None:
        self._changes = changes
        self.sheetnames = [sheet.name for sheet in changes.issued.book.sheets if changes.sheet(sheet.name)]

    def at(self, sheet: str, address: str) -> Any:
        changes = self._changes
        cell = changes.stands(sheet, address)
        if cell.formula is not None:
            return f"={cell.formula}"
        there, place = changes.sheet(sheet), changes.place(sheet, address)
        if there is not None and place in there.dated and isinstance(cell.value, float):
            with suppress(ValueError, OverflowError):  # a number that no day has
                return from_excel(cell.value)
        whole = isinstance(cell.value, float) and cell.value.is_integer()
        return int(cell.value) if whole and isinstance(cell.value, float) else cell.value
