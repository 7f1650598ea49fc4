"""Two independent spreadsheet engines, and the comparison of what they calculate with what a workbook states.

ironcalc always recalculates; LibreOffice does so only under a profile of ours. Values come back as
sheet -> cell -> value; dates as serial numbers, an empty cell as None, an error as its text (`#DIV/0!`).
"""

from __future__ import annotations

import atexit
import functools
import importlib.util
import json
import math
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Literal, TypeGuard

import pytest
from openpyxl.utils.datetime import to_excel

from tests.safe_formulas import assert_safe_formulas
from tests.stored_cells import stored_sheets

__all__ = [
    "Edit",
    "EngineFailure",
    "Values",
    "assert_safe_formulas",
    "compare",
    "formula_cells",
    "ironcalc_values",
    "ironcalc_variants",
    "libreoffice_pdf",
    "libreoffice_resaved",
    "libreoffice_saved",
    "libreoffice_values",
    "pdf_page_texts",
    "pdf_pages_png",
    "require_engine",
    "stored_values",
]

Values = dict[str, dict[str, object]]
"""Sheet -> address of a cell -> value."""

Edit = tuple[str, str, object]
"""Sheet, address of a cell, the value to put there (a text is put as text, None empties the cell)."""

Engine = Literal["ironcalc", "libreoffice", "poppler"]

WORKER = Path(__file__).with_name("ironcalc_worker.py")


class EngineFailure(Exception):
    """An engine broke down, ran out of time, or left no output."""


def require_engine(name: Engine) -> None:
    """Where the engine is missing, skip the test on a reader's desk, fail it in CI."""
    if _present(name):
        return
    reason = f"{name} is not installed"
    if os.environ.get("CI"):
        pytest.fail(f"{reason}, and CI must run every engine")
    pytest.skip(reason)


def _present(name: Engine) -> bool:
    if name == "ironcalc":
        return importlib.util.find_spec("ironcalc") is not None
    if name == "libreoffice":
        return _soffice() is not None
    return shutil.which("pdftoppm") is not None and shutil.which("pdftotext") is not None


# --- What a file states ---


def formula_cells(path: Path) -> dict[str, list[str]]:
    """Addresses of the cells that hold a formula, those filled by an array formula included."""
    return {name: list(sheet.formulas) for name, sheet in stored_sheets(path).items()}


def stored_values(path: Path, wanted: Mapping[str, Sequence[str]] | None = None) -> Values:
    """Values as stored in the file, without recalculation, of the wanted cells or of all formula cells."""
    sheets = stored_sheets(path)
    cells = formula_cells(path) if wanted is None else wanted
    return {
        sheet: {address: sheets[sheet].values.get(address) for address in addresses}
        for sheet, addresses in cells.items()
    }


def _plain(value: object) -> object:
    """Dates and times as the serial numbers that engines calculate with."""
    if not isinstance(value, date | datetime | time | timedelta):
        return value
    serial: float = to_excel(value)  # type: ignore[no-untyped-call]  # the stubs leave its argument untyped
    return serial


# --- ironcalc ---


def ironcalc_values(paths: Sequence[Path], timeout: float = 60) -> list[Values]:
    """Recalculated values of all formula cells, file by file; all files go through one process."""
    cells = [formula_cells(path) for path in paths]
    answers = _ironcalc([_job(path, [[]], wanted) for path, wanted in zip(paths, cells, strict=True)], timeout)
    return [_as_values(wanted, found) for wanted, (found,) in zip(cells, answers, strict=True)]


def ironcalc_variants(
    path: Path,
    variants: Sequence[Sequence[Edit]],
    wanted: Mapping[str, Sequence[str]] | None = None,
    timeout: float = 120,
) -> list[Values]:
    """Recalculated values of the wanted cells (default: all formula cells) for each list of edits.

    Each variant starts from the file as it is. The file is loaded once.
    """
    cells = formula_cells(path) if wanted is None else wanted
    (answer,) = _ironcalc([_job(path, variants, cells)], timeout)
    return [_as_values(cells, found) for found in answer]


def _job(path: Path, variants: Sequence[Sequence[Edit]], wanted: Mapping[str, Sequence[str]]) -> dict[str, object]:
    return {
        "path": str(path),
        "variants": [[(sheet, cell, _plain(value)) for sheet, cell, value in edits] for edits in variants],
        "wanted": [(sheet, cell) for sheet, addresses in wanted.items() for cell in addresses],
    }


def _as_values(wanted: Mapping[str, Sequence[str]], found: Sequence[object]) -> Values:
    following = iter(found)
    return {sheet: {cell: next(following) for cell in addresses} for sheet, addresses in wanted.items()}


def _ironcalc(jobs: Sequence[Mapping[str, object]], timeout: float) -> list[list[list[object]]]:
    done = _run([sys.executable, str(WORKER)], timeout, given=json.dumps(jobs))
    answers: list[list[list[object]]] = json.loads(done)
    return answers


# --- LibreOffice and what is printed ---

# Without the first item LibreOffice shows stored values of files that it did not write itself, whatever the
# file asks for, and a test that compares them compares the file with itself.
_PROFILE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">\
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
{locale}</oor:items>
"""
_LOCALE = """<item oor:path="/org.openoffice.Setup/L10N">\
<prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>{locale}</value></prop></item>
"""


def libreoffice_values(paths: Sequence[Path], *, locale: str | None = None, timeout: float = 120) -> list[Values]:
    """Recalculated values of all formula cells, file by file; all files go through one call.

    `locale` is a language tag; `de-DE` has a decimal comma. Values have the 15 significant digits that
    LibreOffice saves.
    """
    with tempfile.TemporaryDirectory() as folder:
        converted = _convert(paths, "xlsx:Calc MS Excel 2007 XML", Path(folder), locale, timeout)
        return [stored_values(saved, formula_cells(path)) for path, saved in zip(paths, converted, strict=True)]


def libreoffice_resaved(path: Path, out_dir: Path, *, timeout: float = 120) -> Path:
    """The workbook as LibreOffice saves it again under the same name in `out_dir`."""
    return _convert_one(path, "xlsx:Calc MS Excel 2007 XML", out_dir, timeout)


def libreoffice_saved(paths: Sequence[Path], out_dir: Path, *, timeout: float = 120) -> list[Path]:
    """Workbooks as LibreOffice saves them again, all through one call, under numbers in `out_dir`."""
    out_dir.mkdir(parents=True, exist_ok=True)
    return _convert(paths, "xlsx:Calc MS Excel 2007 XML", out_dir, None, timeout)


def libreoffice_pdf(path: Path, out_dir: Path, *, timeout: float = 120) -> Path:
    """The workbook as printed: all sheets, one file in `out_dir`."""
    return _convert_one(path, "pdf", out_dir, timeout)


def pdf_pages_png(pdf: Path, out_dir: Path, *, dpi: int = 60) -> list[Path]:
    """One picture for each page, in the order of pages."""
    out_dir.mkdir(parents=True, exist_ok=True)
    _run(["pdftoppm", "-png", "-r", str(dpi), str(pdf), str(out_dir / pdf.stem)], timeout=120)
    # pdftoppm pads page numbers to one width, so that the order of names is the order of pages.
    return sorted(out_dir.glob(f"{pdf.stem}-*.png"))


def pdf_page_texts(pdf: Path) -> list[str]:
    """The text of each page as laid out on paper."""
    text = _run(["pdftotext", "-layout", "-enc", "UTF-8", str(pdf), "-"], timeout=120)
    return text.split("\f")[:-1]


def _soffice() -> str | None:
    return shutil.which("soffice") or shutil.which("libreoffice")


@functools.cache
def _profile(locale: str | None, process: int) -> Path:
    """A profile for this locale and process alone: two running offices cannot share one."""
    folder = Path(tempfile.mkdtemp(prefix="ubudget-office-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    settings = _PROFILE.format(locale="" if locale is None else _LOCALE.format(locale=locale))
    (folder / "user").mkdir()
    (folder / "user" / "registrymodifications.xcu").write_text(settings, encoding="utf-8", newline="\n")
    return folder


def _convert_one(path: Path, to: str, out_dir: Path, timeout: float) -> Path:
    out_dir.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        (made,) = _convert([path], to, Path(folder), None, timeout)
        return Path(shutil.move(made, out_dir / f"{path.stem}{made.suffix}"))


def _convert(paths: Sequence[Path], to: str, folder: Path, locale: str | None, timeout: float) -> list[Path]:
    """Convert into `folder`; numbered copies, because two files may bear the same name."""
    soffice = _soffice()
    if soffice is None:
        raise EngineFailure("libreoffice is not installed")
    inputs = [folder / f"{number:04}{path.suffix}" for number, path in enumerate(paths)]
    for path, copy in zip(paths, inputs, strict=True):
        shutil.copyfile(path, copy)
    out = folder / "out"
    profile = _profile(locale, os.getpid())
    options = ["--headless", "--norestore", f"-env:UserInstallation={profile.as_uri()}"]
    command = [soffice, *options, "--convert-to", to, "--outdir", str(out), *map(str, inputs)]
    _run(command, timeout)
    made = [out / f"{copy.stem}.{to.partition(':')[0]}" for copy in inputs]
    # LibreOffice reports success for a file that it could not read.
    lost = [str(path) for path, output in zip(paths, made, strict=True) if not output.is_file()]
    if lost:
        raise EngineFailure(f"LibreOffice could not convert {', '.join(lost)}")
    return made


def _run(command: Sequence[str], timeout: float, given: str | None = None) -> str:
    """Standard output of the command. At the time limit its children end too: soffice starts some."""
    with subprocess.Popen(
        command,
        stdin=subprocess.PIPE if given is not None else subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        errors="replace",
        start_new_session=True,
    ) as process:
        try:
            out, err = process.communicate(given, timeout)
        except subprocess.TimeoutExpired:
            if os.name == "posix":
                os.killpg(process.pid, signal.SIGKILL)
            else:
                process.kill()
            _, err = process.communicate()
            raise EngineFailure(f"{command[0]}: no answer in {timeout:g} s; last words: {_end(err)}") from None
    if process.returncode != 0:
        raise EngineFailure(f"{command[0]}: exit status {process.returncode}: {_end(err)}")
    return out


def _end(text: str) -> str:
    return " | ".join(text.strip().splitlines()[-3:]) or "none"


# --- Comparison ---


def compare(
    expected: Mapping[str, Mapping[str, object]],
    found: Mapping[str, Mapping[str, object]],
    rel: float = 1e-9,
    floor: float = 1e-15,
) -> list[str]:
    """Readable disagreements, cell by cell, over the cells of `expected`; empty where all agree.

    Numbers agree within `rel` of the larger one, or, near zero, within `floor` in the unit of the cell.
    Text must be the same. An empty cell, an empty text and a cell that was not found are the same.
    """
    return [
        f"{sheet}!{cell}: expected {value!r}, found {other!r}{_distance(value, other)}"
        for sheet, cells in expected.items()
        for cell, value in cells.items()
        for other in [found.get(sheet, {}).get(cell)]
        if not _same(value, other, rel, floor)
    ]


def _same(expected: object, found: object, rel: float, floor: float) -> bool:
    expected, found = (None if value == "" else _plain(value) for value in (expected, found))
    if _is_number(expected) and _is_number(found):
        return math.isclose(expected, found, rel_tol=rel, abs_tol=floor)
    return type(expected) is type(found) and expected == found


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _distance(expected: object, found: object) -> str:
    if not (_is_number(expected) and _is_number(found)) or expected == found:
        return ""
    return f" (relative {abs(expected - found) / max(abs(expected), abs(found)):.1e})"
