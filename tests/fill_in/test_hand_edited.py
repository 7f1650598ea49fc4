"""What people do to a workbook: each taken as meant, or refused in one clear line that names sheet, row and column."""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook
from openpyxl.cell.cell import MergedCell

from tests.fill_in.workbooks import Desk, Edit, small
from ubudget.files.fill_in_reading import read_fill_in
from ubudget.records.amount import Amount
from ubudget.records.finding import Finding
from ubudget.records.method import Input
from ubudget.records.records import Records


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path / "run 14.xlsx", small()[1])


def bare(records: Records | None) -> Records:
    assert records is not None
    return replace(records, texts=(), findings=())


def put(value: Any, number_format: str | None = None) -> Any:
    def into(cell: Any) -> None:
        cell.value = value
        if number_format is not None:
            cell.number_format = number_format

    return into


# -- taken as meant ----------------------------------------------------------------------------------------------------


def _nothing(desk: Desk) -> None:
    pass


def _spaces(desk: Desk) -> None:
    for table, heading, row in (("equipment", "id", 1), ("equipment", "resolution", 1), ("readings", "line", 2)):
        cell = desk.cell(table, heading, row)
        cell.value = f"  {cell.value}\u00a0 "


def _empty_rows(desk: Desk) -> None:
    for table in ("readings", "equipment"):
        sheet, head = desk.head(table)
        sheet.insert_rows(head + 4, 3)


def _rows_marked_example(desk: Desk) -> None:
    sheet, head = desk.head("readings")
    sheet.insert_rows(head + 3)
    for column, value in enumerate(("example", "S9", "Zn", "213.9", "no number"), start=1):
        sheet.cell(head + 3, column).value = value


def _numbers_as_text(desk: Desk) -> None:
    for table, heading, row in (
        ("readings", "r1", 2),
        ("samples", "tare [g]", 1),
        ("equipment certified values", "k", 1),
    ):
        cell = desk.cell(table, heading, row) if table != "equipment certified values" else None
        if cell is not None:
            cell.value, cell.number_format = str(cell.value), "@"
    cell = desk.cell("material certified values", "k", 1)
    cell.value, cell.number_format = "2", "@"


def _lines_as_numbers(desk: Desk) -> None:
    for row in range(1, 10):
        desk.cell("readings", "line", row).value = 213.9
    desk.cell("analytes", "lines", 1).value = 213.9


def _dates_as_text(desk: Desk) -> None:
    put("2026-03-10", "@")(desk.entry("run", "date"))
    put("2025-03-04", "General")(desk.cell("material certificates", "issued", 1))


def _dates_with_midnight(desk: Desk) -> None:
    put(dt.datetime(2026, 3, 10), "dd.mm.yyyy hh:mm")(desk.entry("run", "date"))


def _sheets_moved_and_renamed(desk: Desk) -> None:
    desk.book.move_sheet(desk.book["readings"], -3)
    desk.book["equipment"].title = "our balances"


def _sheet_of_notes(desk: Desk) -> None:
    desk.book.create_sheet("telephone list")["A1"] = "extension 12"


def _help_row_emptied(desk: Desk) -> None:
    sheet, head = desk.head("equipment")
    for row in (head + 1, head + 2):
        for cell in sheet[row]:
            cell.value = None


def _optional_columns_deleted(desk: Desk) -> None:
    sheet, head = desk.head("equipment")
    (column,) = [cell.column for cell in sheet[head] if cell.value == "tolerance source"]
    sheet.delete_cols(column)


def _capitals(desk: Desk) -> None:
    desk.cell("equipment", "kind", 1).value = "Balance"
    sheet, head = desk.head("equipment")
    for cell in sheet[head]:
        if cell.value in ("resolution", "repeatability"):
            cell.value = f" {cell.value.capitalize()} "


def _percentages(desk: Desk) -> None:
    put(0.02, "0 %")(desk.cell("input", "U", 1))
    put(0.002, "0.0%")(desk.cell("dry mass factor", "u", 1))
    put(0.031, "0.0%")(desk.cell("samples", "moisture [%]", 1))
    put(0.9545, "0.00%")(desk.entry("method", "coverage: probability"))


def _pasted_rows_below(desk: Desk) -> None:
    """The last rows of readings cut out and pasted far below, as from another sheet, without their formats."""
    sheet, head = desk.head("readings")
    for row in (head + 10, head + 11):
        for cell in list(sheet[row]):
            sheet.cell(row + 200, cell.column).value = cell.value
            cell.value = None


TAKEN: list[Edit] = [
    _nothing,
    _spaces,
    _empty_rows,
    _rows_marked_example,
    _numbers_as_text,
    _lines_as_numbers,
    _dates_as_text,
    _dates_with_midnight,
    _sheets_moved_and_renamed,
    _sheet_of_notes,
    _help_row_emptied,
    _optional_columns_deleted,
    _capitals,
    _percentages,
    _pasted_rows_below,
]


@pytest.mark.parametrize("edit", TAKEN, ids=lambda edit: edit.__name__.strip("_"))
def test_taken_as_meant(desk: Desk, edit: Edit) -> None:
    """The edit changes how the small run is written, not what it says."""
    edit(desk)
    records, findings = desk.read()
    assert [finding.line() for finding in findings if finding.severity != "note"] == []
    assert bare(records) == bare(small()[0])


def test_zeros_that_the_cell_shows_are_kept(desk: Desk) -> None:
    put(12.0, "0.0000")(desk.cell("samples", "tare [g]", 1))
    put(12.00125, "0.0000")(desk.cell("samples", "tare [g]", 2))
    records, _ = desk.read()
    assert records is not None and records.run is not None
    first, second = records.run.portions[:2]
    assert first.columns["tare"] == Amount(12.0, "g", "12.0000 g")
    assert second.columns["tare"] == Amount(12.00125, "g", "12.00125 g"), "no digit is lost that the cell does not show"


def test_a_percentage_is_taken_as_it_is_shown(desk: Desk) -> None:
    cell = desk.cell("input", "U", 1)
    cell.value, cell.number_format = 0.025, "0.0%"
    records, _ = desk.read()
    assert records is not None
    symbol = records.method.symbols["R"]
    assert isinstance(symbol, Input) and symbol.U is not None
    assert (symbol.U.value, symbol.U.unit) == (2.5, "%")


def test_a_new_row_is_read(desk: Desk) -> None:
    for heading, value in (("what", "tare"), ("was", '""'), ("now", "12.0012"), ("reason", "forgotten")):
        desk.cell("changes", heading, 1).value = value
    records, findings = desk.read()
    assert records is not None and records.run is not None, findings
    assert (records.run.file.changes[0].was, records.run.file.changes[0].now) == ("", "12.0012")


def test_a_column_for_another_element_is_read(desk: Desk) -> None:
    sheet, head = desk.head("standards")
    (column,) = [cell.column for cell in sheet[head] if cell.value == "concentration: Zn"]
    sheet.insert_cols(column + 1)
    sheet.cell(head, column + 1).value = "concentration: Cu"
    sheet.cell(head + 3, column + 1).value = "0.1 mg/L"
    _, (finding,) = desk.read()
    assert (finding.place, finding.found) == (f"sheet standards, row {head + 3} (S0)", "the unknown analyte Cu")


def test_hidden_entries_are_read_and_told(desk: Desk) -> None:
    sheet, head = desk.head("readings")
    sheet.row_dimensions[head + 8].hidden = True
    sheet.column_dimensions["E"].hidden = True
    desk.book["equipment"].sheet_state = "hidden"
    records, findings = desk.read()
    assert bare(records) == bare(small()[0])
    assert {(finding.severity, finding.place, finding.found.partition(" with")[0]) for finding in findings} == {
        ("attend", f"sheet readings, row {head + 8}", "a hidden row"),
        ("attend", "sheet readings, column E", "a hidden column"),
        ("attend", "sheet equipment", "a hidden sheet"),
    }


# -- refused in one line -----------------------------------------------------------------------------------------------

IN_ONE_CELL: dict[str, tuple[tuple[str, str, int], Any, str | None, str, str]] = {
    # case: table, heading and row of a cell; its new value and number format; place and found
    "decimal comma in an amount": (
        ("equipment", "resolution", 1), "0,1 mg", "@", "column resolution", '"0,1 mg" (decimal comma)',
    ),
    "decimal comma in a number": (
        ("material certified values", "k", 1), "2,0", "@", "column k", "the text 2,0 with a decimal comma",
    ),
    "decimal comma in a weighing": (
        ("samples", "gross [g]", 1), "12,5034", "@", "column gross [g]", "a decimal comma",
    ),
    "decimal comma in a reading": (("readings", "r2", 3), "0,201", "@", "column r2", "a decimal comma"),
    "unit without space": (("equipment", "linearity", 1), "0.2mg", "@", "column linearity", '"0.2mg"'),
    "unit in a number": (("material certified values", "k", 1), "2 mg", "@", "column k", "the text 2 mg"),
    "date in another order": (
        ("material certificates", "issued", 1), "4.3.2025", "@", "column issued", "the text 4.3.2025",
    ),
    "day that does not exist": (
        ("material certificates", "issued", 1), "2025-02-30", "@", "column issued", "the text 2025-02-30",
    ),
    "number for a date": (("material certificates", "due", 1), 46000, "General", "column due", "the number 46000"),
    "time of day in a date": (
        ("material certificates", "due", 1), dt.datetime(2027, 3, 4, 14, 30), "yyyy-mm-dd hh:mm", "column due",
        "the time 2027-03-04 14:30:00",
    ),
    "text that became a date": (
        ("standards", "label", 2), dt.datetime(2026, 1, 2), "dd-mmm", "column label", "the date or time 2026-01-02",
    ),
    "amount that became a date": (
        ("equipment", "nominal", 2), dt.datetime(2026, 5, 1), "dd-mmm", "column nominal", "the date or time 2026-05-01",
    ),
    "reading that became a date": (
        ("readings", "r1", 2), dt.datetime(2026, 5, 1), "dd-mmm", "column r1", "the date or time 2026-05-01",
    ),
    "formula in an amount": (("equipment", "tolerance", 2), "=0.03*2", None, "column tolerance", "the formula =0.03*2"),
    "formula in a weighing": (("samples", "gross [g]", 2), "=C4+0.5", None, "column gross [g]", "the formula =C4+0.5"),
    "error value": (("readings", "r1", 4), "#DIV/0!", None, "column r1", "the error value #DIV/0!"),
    "error value in a text": (("equipment", "description", 1), "#N/A", None, "column description", "the error value"),
    "truth value in a text": (("equipment", "description", 1), True, None, "column description", "truth value TRUE"),
    "truth value in a number": (("material certified values", "k", 1), False, None, "column k", "truth value FALSE"),
    "neither yes nor no": (("input", "shared", 1), "maybe", None, "column shared", "maybe"),
    "number for yes or no": (("input", "exact", 1), 1, "General", "column exact", "the number 1"),
    "choice that does not exist": (("equipment", "use", 1), "borrowed", None, "column use", '"borrowed"'),
    "percentage in grams": (("samples", "tare [g]", 1), 0.12, "0%", "column tare [g]", "a percentage, 12 %"),
    "percentage in readings": (("readings", "r1", 1), 0.001, "0.0%", "column r1", "a percentage, 0.1 %"),
    "text among readings": (("readings", "r1", 2), "< 0.01", "@", "column r1", '"< 0.01" (text)'),
    "quotes that do not close": (("analytes", "lines", 1), '"213.9', "@", "column lines", "quotes that do not close"),
    "whole number with decimals": (
        ("readings left out", "replicate", 1), 2.5, "General", "column replicate", "2.5",
    ),
    "unknown parent": (
        ("material certificates", "material id", 1), "ST-ZM", None, "column material id", "ST-ZM, which is not there",
    ),
    "unknown symbol": (("weighing", "symbol", 1), "mm", None, "column symbol", "mm, which is not there"),
    "no parent": (("material certificates", "material id", 1), None, None, "column material id", "an empty cell"),
    "no symbol": (("symbols", "symbol", 3), None, None, "column symbol", "an empty cell"),
    "symbol twice": (("symbols", "symbol", 12), "V", None, "column symbol", "V a second time"),
    "id twice": (("equipment", "id", 3), "F50-2", None, "row", "the id F50-2 a second time"),
    "needed entry emptied": (("equipment", "description", 1), None, None, "column description", "nothing"),
    "unknown operation": (("symbols", "operation", 9), "guess", None, "(R)", "the unknown operation guess"),
    "control character": (("equipment", "description", 1), "scale\t1", None, "column description", "control character"),
}  # fmt: skip


@pytest.mark.parametrize("name", IN_ONE_CELL)
def test_refused_in_one_line(desk: Desk, name: str) -> None:
    where, value, number_format, place, found = IN_ONE_CELL[name]
    cell = desk.cell(*where)
    put(value, number_format)(cell)
    if name == "symbol twice":
        desk.cell("symbols", "operation", 12).value = "volume"
    sheet, row = cell.parent.title, cell.row
    records, findings = desk.read()
    assert records is None
    stop = [finding for finding in findings if finding.severity == "stop"]
    about = [finding for finding in stop if finding.place.startswith(f"sheet {sheet}, row {row}")]
    lines = "\n".join(finding.line() for finding in findings)
    assert about, lines
    assert about[0].file == "run 14.xlsx"
    assert place in about[0].place and found in about[0].found, lines
    assert len(about) == 1, lines
    assert "toml" not in lines and ".csv" not in lines, lines


def _needed_column_deleted(desk: Desk) -> None:
    desk.book["equipment"].delete_cols(3)


def _parent_column_deleted(desk: Desk) -> None:
    desk.book["material certificates"].delete_cols(2)


def _column_of_samples_deleted(desk: Desk) -> None:
    desk.book["samples"].delete_cols(2)


def _unknown_heading(desk: Desk) -> None:
    sheet, head = desk.head("equipment")
    sheet.cell(head, 6).value = "resolutoin"


def _heading_twice(desk: Desk) -> None:
    sheet, head = desk.head("equipment")
    sheet.cell(head, 6).value = "kind"


def _entry_below_no_heading(desk: Desk) -> None:
    sheet, head = desk.head("equipment")
    sheet.cell(head + 3, 30).value = "ask the maker"


def _headings_deleted(desk: Desk) -> None:
    sheet, head = desk.head("stocks")
    sheet.delete_rows(head)


def _table_renamed(desk: Desk) -> None:
    desk.book["stocks"]["A1"] = "stoks"


def _table_unnamed(desk: Desk) -> None:
    desk.book["stocks"]["A1"] = None


def _entry_in_the_first_column(desk: Desk) -> None:
    sheet, head = desk.head("readings")
    sheet.cell(head + 4, 1).value = "checked"


def _unknown_entry(desk: Desk) -> None:
    sheet, _ = desk.head("method")
    sheet.cell(desk.entry("method", "title").row, 2).value = "titel"


def _entry_twice(desk: Desk) -> None:
    sheet, _ = desk.head("method")
    row = desk.entry("method", "review").row
    sheet.cell(row, 2).value = "effective"


def _replicate_missing(desk: Desk) -> None:
    sheet, head = desk.head("readings")
    sheet.cell(head, 6).value = "r7"


def _samples_twice(desk: Desk) -> None:
    desk.book.copy_worksheet(desk.book["samples"])


def _solutions_without_rows_of_readings(desk: Desk) -> None:
    desk.cell("solutions", "from", 1).value = "SED-99"


STRUCTURE: dict[str, tuple[Edit, str, str]] = {
    # case: the edit; place and found
    "needed column deleted": (_needed_column_deleted, "sheet equipment, row 3", "no heading kind"),
    "column that points deleted": (_parent_column_deleted, "sheet material certificates, row 3", "no heading material"),
    "column of samples deleted": (_column_of_samples_deleted, "sheet samples, headings", "no column sample"),
    "unknown heading": (_unknown_heading, "sheet equipment, row 3, column F", "the unknown heading resolutoin"),
    "heading twice": (_heading_twice, "sheet equipment, row 3, column F", "the heading kind a second time"),
    "entry below no heading": (_entry_below_no_heading, "sheet equipment, row 6, column AD", "ask the maker below"),
    "headings deleted": (_headings_deleted, "sheet stocks", "no row marked headings"),
    "table renamed": (_table_renamed, "sheet stocks, above row 3, first column", "the unknown table stoks"),
    "table unnamed": (_table_unnamed, "sheet stocks, above row 3, first column", "no name of a table"),
    "entry in the first column": (_entry_in_the_first_column, "sheet readings, row 7, first column", "checked"),
    "unknown entry": (_unknown_entry, "sheet method, row 7", "the unknown entry titel"),
    "entry twice": (_entry_twice, "sheet method, row 13 (effective)", "a second value (the first is in row 12)"),
    "replicate missing": (_replicate_missing, "sheet readings, headings", "r1, r3, r7"),
    "samples twice": (_samples_twice, "sheet samples Copy, row 3", "a second table samples"),
    "dilution of an unknown solution": (
        _solutions_without_rows_of_readings, "sheet solutions, row 6 (SED-01 d), column from", "SED-99",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", STRUCTURE)
def test_altered_structure_is_told(desk: Desk, name: str) -> None:
    edit, place, found = STRUCTURE[name]
    if name == "entry twice":
        desk.entry("method", "review").value = dt.date(2027, 1, 1)
    edit(desk)
    records, findings = desk.read()
    assert records is None
    lines = "\n".join(finding.line() for finding in findings)
    assert [f for f in findings if f.place == place and found in f.found and f.severity == "stop"], lines
    assert "toml" not in lines and ".csv" not in lines, lines


def test_all_defects_at_once(desk: Desk) -> None:
    desk.cell("equipment", "kind", 1).value = "scale"
    desk.cell("equipment", "tolerance", 2).value = "0,06 mL"
    desk.cell("readings", "r1", 3).value = "?"
    desk.entry("run", "date").value = "10.3.2026"
    _, findings = desk.read()
    assert {finding.place for finding in findings} >= {
        "sheet equipment, row 6 (BAL-1), column kind",
        "sheet equipment, row 7 (F50-2), column tolerance",
        "sheet readings, row 8 (S2 Zn 213.9), column r1",
        "sheet run, row 7, column value",
    }


def _only(findings: list[Finding]) -> Finding:
    (finding,) = findings
    return finding


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 no archive", b"id;kind\n"])
def test_a_file_that_is_no_workbook(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.xlsx"
    path.write_bytes(content)
    assert "no readable workbook" in _only(read_fill_in(path)[1]).found


def test_a_workbook_of_somebody_else(tmp_path: Path) -> None:
    book = Workbook()
    book.save(tmp_path / "x.xlsx")
    assert "no row marked headings" in _only(read_fill_in(tmp_path / "x.xlsx")[1]).found


def test_all_entries_deleted(desk: Desk) -> None:
    for sheet in desk.book.worksheets:
        for row in range(sheet.max_row, 0, -1):
            if sheet.title != "read me" and sheet.cell(row, 1).value is None:
                for column in range(2, sheet.max_column + 1):
                    if not isinstance(sheet.cell(row, column), MergedCell):
                        sheet.cell(row, column).value = None
    assert _only(desk.read()[1]).found == "no entry"


def test_the_run_deleted_and_its_readings_left(desk: Desk) -> None:
    del desk.book["run"], desk.book["standards"], desk.book["stocks"], desk.book["readings left out"]
    records, findings = desk.read()
    assert records is None
    assert ("sheet run", "no entry, beside filled-in samples or readings") in {(f.place, f.found) for f in findings}


def test_a_row_far_below_is_read_quickly(desk: Desk) -> None:
    """One entry in the last row of the sheet (ECMA-376 leaves the limit to programs: 1,048,576 in all common ones)."""
    sheet, _ = desk.head("equipment")
    sheet.cell(1_048_576, 2).value = "BAL-9"
    begin = time.monotonic()
    _, findings = desk.read()
    assert time.monotonic() - begin < 20
    assert {finding.place for finding in findings} == {
        f"sheet equipment, row 1048576 (BAL-9), column {heading}" for heading in ("kind", "description")
    }
