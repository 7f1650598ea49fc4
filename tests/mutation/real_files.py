"""Workbooks changed as files: cells in the XML itself, the rest by a general-purpose library."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.sax.saxutils import escape

import openpyxl
from openpyxl.styles import Protection
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation

from tests.mutation.mutations import MUTATIONS, Subject, as_saved, by_its_value, inputs
from ubudget.pages.cells_as_read import CellAsRead
from ubudget.pages.check_report import Report

LAST = 47
"""The last row of the sheet of readings."""
Change = Callable[[openpyxl.Workbook], None]


def rewritten(source: Path, target: Path, changes: dict[str, Callable[[str], str]]) -> Path:
    """A copy of an archive with some parts changed; a part that is not there begins empty."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            change = changes.get(name)
            new.writestr(name, content if change is None else change(content.decode("utf-8")).encode("utf-8"))
        for name in changes.keys() - set(old.namelist()):
            new.writestr(name, changes[name]("").encode("utf-8"))
    return target


def part_of(source: Path, sheet: str) -> str:
    """The part that holds a sheet of a workbook that ubudget wrote: numbered in their order."""
    with zipfile.ZipFile(source) as archive:
        names = re.findall(r'<sheet name="([^"]*)"', archive.read("xl/workbook.xml").decode("utf-8"))
    return f"xl/worksheets/sheet{names.index(sheet) + 1}.xml"


def with_cell(source: Path, target: Path, sheet: str, address: str, cell: CellAsRead) -> Path:
    """A copy with one cell changed, its style kept."""

    def change(xml: str) -> str:
        formula = "" if cell.formula is None else f"<f>{escape(cell.formula)}</f>"
        if isinstance(cell.value, float):
            kind, value = "", f"<v>{cell.value!r}</v>"
        elif formula:
            kind, value = ' t="str"', f"<v>{escape(cell.value or '')}</v>"
        else:
            kind, value = ' t="inlineStr"', f"<is><t>{escape(cell.value or '')}</t></is>"
        pattern = rf'<c r="{address}"( s="\d+")?[^>]*?(?:/>|>.*?</c>)'
        changed, count = re.subn(pattern, lambda m: f'<c r="{address}"{m[1] or ""}{kind}>{formula}{value}</c>', xml)
        assert count == 1
        return changed

    return rewritten(source, target, {part_of(source, sheet): change})


def structural() -> Iterator[tuple[str, Change, str, str, str]]:
    """Name, change, and sheet, cell and words that the check must tell of it."""

    def protection(book: openpyxl.Workbook) -> None:
        book["computation"].protection.sheet = False

    def unlocked(book: openpyxl.Workbook) -> None:
        book["results"]["E12"].protection = Protection(locked=False)

    def list_taken_away(book: openpyxl.Workbook) -> None:
        book["budget"].data_validations.dataValidation.pop()

    def list_put_on(book: openpyxl.Workbook) -> None:
        rule = DataValidation(type="list", formula1='"1,0"')
        rule.add("B9")
        book["status"].add_data_validation(rule)

    def hidden(book: openpyxl.Workbook) -> None:
        book["record"].sheet_state = "veryHidden"

    def renamed(book: openpyxl.Workbook) -> None:
        book["method"].title = "procedure"

    def hide_row(book: openpyxl.Workbook) -> None:
        book["results"].row_dimensions[14].hidden = True

    def hide_column(book: openpyxl.Workbook) -> None:
        book["results"].column_dimensions["F"].hidden = True

    def named(book: openpyxl.Workbook) -> None:
        book.defined_names["factor"] = DefinedName("factor", attr_text="results!$E$12")

    def format_taken_away(book: openpyxl.Workbook) -> None:
        book["results"].conditional_formatting = type(book["results"].conditional_formatting)()

    yield "sheet hidden", hidden, "record", "", "sheet hidden"
    yield "sheet renamed", renamed, "procedure", "", "sheet renamed"
    yield "sheet deleted", lambda book: book.remove(book["equipment"]), "equipment", "", "sheet deleted"
    yield "sheet inserted", lambda book: book.create_sheet("mine") and None, "mine", "", "sheet inserted"
    yield "row deleted", lambda book: book["readings"].delete_rows(20), "readings", "A20", "row 20 deleted"
    yield "row inserted", lambda book: book["samples"].insert_rows(10), "samples", "A10", "row 10 inserted"
    yield "last row deleted", lambda book: book["readings"].delete_rows(LAST), "readings", f"A{LAST}", "deleted"
    yield "column inserted", lambda book: book["samples"].insert_cols(3), "samples", "C1", "column C inserted"
    yield "column deleted", lambda book: book["computation"].delete_cols(7), "computation", "G1", "column G deleted"
    yield "row hidden", hide_row, "results", "A14", "row 14 hidden"
    yield "column hidden", hide_column, "results", "F1", "column F hidden"
    yield "protection removed", protection, "computation", "", "protection of the sheet removed"
    yield "cell unlocked", unlocked, "results", "E12", "unlocked: E12"
    yield "list removed", list_taken_away, "budget", "B5", "drop-down list removed"
    yield "list added", list_put_on, "status", "B9", "drop-down list added"
    yield "name added", named, "", "", "name factor added"
    yield "format removed", format_taken_away, "results", "A12", "conditional format removed"


def missed_in_files(book: Subject, issued: Path, folder: Path, count: int) -> list[str]:
    """What the check says wrongly of cells changed in files, `count` of them, three formulas to each input."""
    formulas, open_ones = list(book.formulas()), list(inputs(book))
    missed = []
    for number, (sheet, address, cell) in enumerate(formulas[:: len(formulas) // (3 * count // 4)]):
        changed = list(MUTATIONS.values())[number % 3](cell) or by_its_value(cell)
        report = _of_file(book, with_cell(issued, folder / "changed.xlsx", sheet, address, changed))
        others = (*report.structure, *report.altered_cells, *report.edited_inputs)
        if [(each.sheet, each.cell) for each in report.broken_formulas] != [(sheet, address)] or others:
            missed.append(f"{sheet}!{address} {changed}")
    for sheet, address, cell in open_ones[:: len(open_ones) // (count // 4)]:
        report = _of_file(book, with_cell(issued, folder / "changed.xlsx", sheet, address, cell))
        told = [(each.sheet, each.cell, each.found) for each in report.edited_inputs]
        if told != [(sheet, address, cell.value)] or not report.intact:
            missed.append(f"{sheet}!{address} {cell}")
    return missed


def _of_file(book: Subject, file: Path) -> Report:
    read = as_saved(book, file)
    return read.check(read.found)
