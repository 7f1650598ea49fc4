"""Property: whatever people do to a fill-in workbook, it gives records, or findings of one clear line each.

Never an exception, never a hang, never an altered file.
"""

from __future__ import annotations

import datetime as dt
import io
import tempfile
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from openpyxl.cell.cell import MergedCell
from openpyxl.worksheet.formula import ArrayFormula

from tests.fill_in.workbooks import EXAMPLES, records_of, small
from ubudget import evaluate, read_run
from ubudget.errors import UnusableInput
from ubudget.files.fill_in_writing import fill_in_bytes
from ubudget.records.finding import Finding

LONGEST = 60.0
"""Seconds; one takes a second or less, on a machine that does nothing else."""
PATTERNS = ("small run", "titration", "water-direct")
VALUES: list[Any] = [
    None, "", " ", "12.5034", "0,1 mg", "1.234,5", "12,5034", "0.1mg", "0.1 mg ", " BAL-1", "F50-2\u00a0", "1e5",
    "1E999", "-1", "0", "nan", "inf", "2026-03-10", "10.3.2026", "10/03/26", "=A1+1", "=SUM(", "=1/0", "#N/A",
    "#DIV/0!", "#REF!", "yes", "TRUE", '"', "; ;", "a;b", "a: b", "<b>", "&amp;", "x" * 3000, "_x0041_", "\n", "a\nb",
    "\t", "μg/L", "°C", "½", "headings", "example", "r1", "symbols", "{}", "[1, 2", "C*V/m", "c_ + ", "P5-1 > F50-2",
    ">", "S0", "Zn", "__import__",
    True, False, 0, -1, 1, 2.5, 1e-300, 1e300, 10**17, 46000, 0.1 + 0.2, -0.0,
    dt.datetime(2026, 3, 10), dt.datetime(2026, 3, 10, 14, 30), dt.datetime(1900, 1, 1), dt.datetime(9999, 12, 31),
    dt.time(9, 30), dt.timedelta(days=3, hours=4),
    ArrayFormula("B4:B5", "=A1:A2"),
]  # fmt: skip
FORMATS = ["General", "@", "0 %", "0.0000", "dd.mm.yyyy", "[h]:mm", "0.00E+00", '0.00 "mg"', ";;;", "# ?/?"]


@cache
def content(pattern: str) -> bytes:
    if pattern == "small run":
        return small()[1]
    folder = EXAMPLES / "patterns" / pattern
    return fill_in_bytes(records_of(folder if (folder / "run.toml").exists() else folder / "method.toml"))


def filled(sheet: Any) -> list[tuple[int, int]]:
    """Cells that hold something, and so may be told apart."""
    return [(cell.row, cell.column) for row in sheet.iter_rows() for cell in row if cell.value is not None]


def put(sheet: Any, row: int, column: int, value: Any) -> None:
    cell = sheet.cell(row, column)
    if not isinstance(cell, MergedCell):
        cell.value = value


def pick(draw: st.DrawFn, sheet: Any) -> tuple[int, int]:
    """A cell: mostly a filled one, else one beside."""
    cells = filled(sheet) or [(1, 1)]
    row, column = cells[draw(st.integers(0, len(cells) - 1))]
    aside = draw(st.sampled_from([(0, 0), (0, 0), (0, 0), (1, 0), (0, 1), (3, 0)]))
    return row + aside[0], column + aside[1]


def one_value(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    put(sheet, *pick(draw, sheet), draw(st.sampled_from(VALUES)))


def trailing_spaces(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    row, column = pick(draw, sheet)
    end = draw(st.sampled_from([" ", "\u00a0", "  ", "\t"]))
    put(sheet, row, column, f"{sheet.cell(row, column).value}{end}")


def number_as_text(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    row, column = pick(draw, sheet)
    text = str(sheet.cell(row, column).value)
    put(sheet, row, column, text.replace(".", ",") if draw(st.booleans()) else text)


def number_format(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    sheet.cell(*pick(draw, sheet)).number_format = draw(st.sampled_from(FORMATS))


def rows_inserted(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    sheet.insert_rows(pick(draw, sheet)[0], draw(st.integers(1, 3)))


def rows_deleted(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    sheet.delete_rows(pick(draw, sheet)[0], draw(st.integers(1, 4)))


def columns_inserted(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    sheet.insert_cols(pick(draw, sheet)[1])


def columns_deleted(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    sheet.delete_cols(pick(draw, sheet)[1], draw(st.integers(1, 2)))


def range_pasted(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    source = book[draw(st.sampled_from(book.sheetnames))]
    (row, column), (to_row, to_column) = pick(draw, source), pick(draw, sheet)
    height, width = draw(st.integers(1, 6)), draw(st.integers(1, 4))
    block = [[source.cell(row + r, column + c).value for c in range(width)] for r in range(height)]
    for r, line in enumerate(block):
        for c, value in enumerate(line):
            put(sheet, to_row + r, to_column + c, value)


def heading_changed(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    heads = [row for row, column in filled(sheet) if column == 1 and sheet.cell(row, 1).value == "headings"]
    if heads:
        row = draw(st.sampled_from(heads))
        columns = [column for at, column in filled(sheet) if at == row]
        column = draw(st.sampled_from(columns))
        old = str(sheet.cell(row, column).value)
        new = draw(
            st.sampled_from([old.upper(), old[::-1], f"{old} ", old[:-1], f"{old}: Ni", "id", "r1", ":", *VALUES])
        )
        put(sheet, row, column, new)


def cells_swapped(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    first, second = pick(draw, sheet), pick(draw, sheet)
    values = sheet.cell(*first).value, sheet.cell(*second).value
    put(sheet, *first, values[1])
    put(sheet, *second, values[0])


def cells_merged(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    row, column = pick(draw, sheet)
    sheet.merge_cells(start_row=row, start_column=column, end_row=row + 1, end_column=column + 1)


def sheet_deleted(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    if len(book.sheetnames) > 1:
        book.remove(sheet)


def sheet_renamed(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    sheet.title = draw(st.sampled_from(["data", "record", "read me", "method", "ÄÖ", "a'b", "method (2)", " run "]))


def sheet_copied(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    book.copy_worksheet(sheet)


def sheet_emptied(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    sheet.delete_rows(1, sheet.max_row)


def chart_added(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    book.create_chartsheet()


def hidden(draw: st.DrawFn, book: Any, sheet: Any) -> None:
    row, column = pick(draw, sheet)
    sheet.row_dimensions[row].hidden = True
    sheet.column_dimensions[sheet.cell(1, column).column_letter].hidden = draw(st.booleans())


Damage = Callable[[st.DrawFn, Any, Any], None]
DAMAGES: list[Damage] = [
    one_value, one_value, one_value, trailing_spaces, number_as_text, number_format, rows_inserted, rows_deleted,
    columns_inserted, columns_deleted, range_pasted, range_pasted, heading_changed, heading_changed, cells_swapped,
    cells_merged, sheet_deleted, sheet_renamed, sheet_copied, sheet_emptied, chart_added, hidden,
]  # fmt: skip


@dataclass(frozen=True)
class Damaged:
    steps: tuple[str, ...]
    """What was done, and on which sheet."""
    content: bytes = field(repr=False)

    def __repr__(self) -> str:
        """Without the content, which would bury what is wrong."""
        return f"Damaged({self.steps})"


@st.composite
def damaged(draw: st.DrawFn) -> Damaged:
    book = load_workbook(io.BytesIO(content(draw(st.sampled_from(PATTERNS)))))
    steps = []
    for _ in range(draw(st.integers(1, 4))):
        sheets = [sheet for sheet in book.worksheets if sheet.title != "read me"] or book.worksheets
        if sheets:
            damage, sheet = draw(st.sampled_from(DAMAGES)), draw(st.sampled_from(sheets))
            steps.append(f"{damage.__name__} on {sheet.title}")
            damage(draw, book, sheet)
    if not any(sheet.sheet_state == "visible" for sheet in book.worksheets):
        book.create_sheet("left")
    return Damaged(tuple(steps), _saved(book))


def _saved(book: Workbook) -> bytes:
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def read_and_evaluated(file: Path) -> tuple[Finding, ...]:
    """The findings; what stops the work comes as the one exception that the commands turn into lines."""
    try:
        return evaluate(read_run(file)).findings
    except UnusableInput as refusal:
        assert any(finding.severity == "stop" for finding in refusal.findings)
        return refusal.findings


@settings(
    max_examples=30,
    # A smaller example costs hundreds of workbooks, and the steps of one are few.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(damaged())
def test_any_damage_gives_records_or_findings(workbook: Damaged) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "run 14.xlsx"
        file.write_bytes(workbook.content)
        began = time.process_time()
        findings = read_and_evaluated(file)
        assert time.process_time() - began < LONGEST
        assert file.read_bytes() == workbook.content, "reading altered the file"
    for finding in findings:
        line = finding.line()
        assert all((finding.place, finding.found, finding.accepted, finding.remedy)), line
        assert line.isprintable() and len(line) < 2000, line
        assert finding.file == "run 14.xlsx", line
        assert "toml" not in line and ".csv" not in line and "Traceback" not in line, line


@st.composite
def torn(draw: st.DrawFn) -> Damaged:
    """A file damaged on its way: cut off, bytes replaced in the archive, or in one of its parts."""
    whole = content("small run")
    kind = draw(st.sampled_from(["cut off", "bytes", "part"]))
    if kind == "cut off":
        return Damaged((kind,), whole[: draw(st.integers(0, len(whole)))])
    junk = draw(st.binary(min_size=1, max_size=30))
    if kind == "bytes":
        at = draw(st.integers(0, len(whole)))
        return Damaged((kind, str(at)), whole[:at] + junk + whole[at + len(junk) :])
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as source, zipfile.ZipFile(made, "w") as target:
        names = source.namelist()
        chosen = draw(st.sampled_from(names))
        for name in names:
            part = source.read(name)
            if name == chosen:
                at = draw(st.integers(0, len(part)))
                part = part[:at] + draw(st.sampled_from([b"", junk, b"<", b'"', b"0"])) + part[at + 1 :]
            target.writestr(name, part)
    return Damaged((kind, chosen), made.getvalue())


@settings(
    max_examples=40, phases=[Phase.explicit, Phase.reuse, Phase.generate], suppress_health_check=[HealthCheck.too_slow]
)
@given(torn())
def test_a_file_damaged_on_its_way(workbook: Damaged) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "run 14.xlsx"
        file.write_bytes(workbook.content)
        findings = read_and_evaluated(file)
        assert file.read_bytes() == workbook.content, "reading altered the file"
    assert all(finding.line().isprintable() for finding in findings)
