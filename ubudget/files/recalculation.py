"""Workbooks recalculated by a spreadsheet program that is installed here, and compared with the library cell by cell.

What the program gets has no stored value in any formula cell, so that a number that comes back was calculated by it."""

from __future__ import annotations

import io
import math
import os
import re
import shutil
import signal
import subprocess
import tempfile
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from openpyxl import load_workbook
from openpyxl.utils.datetime import to_excel

from ubudget.pages.book import Book, Value
from ubudget.quantity.spelling import column_letters

TOLERANCE, FLOOR = 1e-9, 1e-15
"""Relative, and near zero in the unit of the cell."""
LONGEST = 600
"""Seconds."""
Cells = Mapping[tuple[str, str], object]

_STORED = re.compile(rb"(</f>)<v[^>]*>[^<]*</v>|(</f>)<v[^>]*/>")
_PROFILE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">\
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item></oor:items>
"""


@dataclass(frozen=True)
class Engine:
    """A spreadsheet program that runs without a window."""

    path: str
    version: str


@dataclass(frozen=True)
class Recalculated:
    """How the formula cells of one workbook came back."""

    formulas: int
    largest: float
    """Largest relative difference of a number."""
    differing: tuple[str, ...]
    """`sheet!cell: expected …, found …`, the first ones."""
    fault: str = ""
    """Why there is nothing to compare."""

    @property
    def passed(self) -> bool:
        return not self.fault and not self.differing and self.formulas > 0


def engine_here() -> Engine | None:
    """LibreOffice where it is found on the path."""
    path = shutil.which("soffice") or shutil.which("libreoffice")
    if path is None:
        return None
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        told = _run([path, *_options(Path(folder)), "--version"]).strip().splitlines()
    return Engine(path, told[0].strip() if told and told[0].strip() else "a version that it does not tell")


def recalculated(engine: Engine, books: Sequence[tuple[Book, bytes]]) -> list[Recalculated]:
    """Each planned workbook beside what the engine makes of its bytes; all go through one call."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        folder = Path(name)
        inputs = [folder / f"{number:03}.xlsx" for number in range(len(books))]
        for path, (_, data) in zip(inputs, books, strict=True):
            path.write_bytes(without_stored_values(data))
        told = _run(
            [
                engine.path,
                *_options(folder / "profile"),
                *("--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(folder / "out")),
                *map(str, inputs),
            ]
        )
        return [
            _compared(book, folder / "out" / path.name, told) for path, (book, _) in zip(inputs, books, strict=True)
        ]


def without_stored_values(data: bytes) -> bytes:
    """The same workbook, its formula cells without values."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            content = old.read(entry)
            if entry.filename.startswith("xl/worksheets/sheet"):
                content = _STORED.sub(rb"\1\2", content)
            new.writestr(entry, content)
    return made.getvalue()


def formula_cells(book: Book) -> Iterator[tuple[str, str, Value]]:
    """Sheet, address and the library's value of every formula."""
    for sheet in book.sheets:
        for band in sheet.bands:
            for number, column in enumerate(band.columns):
                letters = column_letters(band.left + number)
                for row, formula in enumerate(column.formulas or ()):
                    if formula is not None:
                        yield sheet.name, f"{letters}{band.first_row + row}", column.values[row]
        for cell in sheet.cells:
            if cell.formula is not None:
                yield sheet.name, f"{column_letters(cell.column)}{cell.row}", cell.value


def _compared(book: Book, path: Path, told: str) -> Recalculated:
    if not path.is_file():
        # It reports success for a file that it could not read.
        last = " | ".join(told.strip().splitlines()[-2:])
        return Recalculated(0, 0.0, (), f"the spreadsheet program left no workbook ({last or 'without a word'})")
    try:
        found = _cells(path)
    except Exception as fault:
        # A damaged file: the library raises whatever it stumbles over.
        return Recalculated(0, 0.0, (), f"the spreadsheet program left no readable workbook ({type(fault).__name__})")
    count, largest, differing = 0, 0.0, []
    for sheet, address, value in formula_cells(book):
        count += 1
        here, there = _plain(value), _plain(found.get((sheet, address)))
        if isinstance(here, float) and isinstance(there, float):
            size = max(abs(here), abs(there))
            if abs(here - there) > FLOOR:
                largest = max(largest, abs(here - there) / size)
            same = math.isclose(here, there, rel_tol=TOLERANCE, abs_tol=FLOOR)
        else:
            same = here == there
        if not same:
            differing.append(f"{sheet}!{address}: library {here!r}, workbook {there!r}")
    return Recalculated(count, largest, tuple(differing))


def _cells(path: Path) -> dict[tuple[str, str], object]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = load_workbook(path, data_only=True)
    return {
        (sheet.title, cell.coordinate): cell.value
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }


def _plain(value: object) -> object:
    """Numbers and dates as a double; an empty cell is an empty text."""
    if isinstance(value, bool):
        return value
    if isinstance(value, date | datetime):
        return float(to_excel(value))  # type: ignore[no-untyped-call]  # the stubs leave its argument untyped
    if isinstance(value, int | float):
        return float(value)
    return "" if value is None else value


def _options(profile: Path) -> list[str]:
    """A profile of its own, which always recalculates: two running offices cannot share one."""
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(_PROFILE, encoding="utf-8", newline="\n")
    return ["--headless", "--norestore", f"-env:UserInstallation={profile.as_uri()}"]


def _run(command: Sequence[str]) -> str:
    """All that the program says; at the time limit what it started ends too."""
    try:
        with subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            errors="replace",
            start_new_session=True,
        ) as process:
            try:
                return process.communicate(timeout=LONGEST)[0]
            except subprocess.TimeoutExpired:
                if os.name == "posix":
                    os.killpg(process.pid, signal.SIGKILL)
                else:
                    process.kill()
                process.communicate()
                return f"no answer in {LONGEST} s"
    except OSError as refusal:
        return f"cannot be started ({refusal.strerror or refusal})"
