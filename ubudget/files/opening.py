"""Workbooks of other people's programs opened to be read, and why one cannot be."""

from __future__ import annotations

import io
import os
import warnings
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Any, Protocol

from openpyxl import load_workbook
from openpyxl.utils.cell import coordinate_to_tuple

from ubudget.files.archive_guard import BUDGET, FILL_IN, Bounds, Left, Refused, guard, guard_sheet
from ubudget.files.foreign_files import NotRead, bounded_bytes


def opened(file: Path | IO[bytes]) -> tuple[Any, str]:
    """The workbook with its formulas, or `None` and what is found instead."""
    try:
        content = _content(file, FILL_IN)
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            guard(archive, FILL_IN, sheets=True)
        with warnings.catch_warnings():
            # The library warns of what it would lose on saving (extensions, styles); nothing is saved.
            warnings.simplefilter("ignore")
            return load_workbook(io.BytesIO(content), data_only=False, keep_links=False), ""
    except Exception as error:
        # A damaged file, or one that is no workbook: the library raises whatever it stumbles over.
        return None, _unreadable(error)


def _content(file: Path | IO[bytes], bounds: Bounds) -> bytes:
    return bounded_bytes(file, bounds.packed) if isinstance(file, Path) else file.read()


class UnreadableSheet(Exception):
    """A sheet of the workbook that cannot be read; the text says what is found instead."""


class Cells(Protocol):
    """What readers of edits ask of a workbook: its sheets, and what stands in a cell."""

    @property
    def sheetnames(self) -> Sequence[str]: ...

    def at(self, sheet: str, address: str) -> Any: ...


class CellValues:
    """What stands in the cells of a workbook, formulas as text; a sheet is read when it is first asked for.

    Looks are left out, and most sheets of a workbook of ours hold nothing to be read back. Raises `UnreadableSheet`.
    """

    def __init__(self, book: Any, left: Left) -> None:
        self._book, self._left = book, left
        self._sheets: dict[str, dict[tuple[int, int], Any]] = {}
        self.sheetnames: tuple[str, ...] = tuple(book.sheetnames)

    def at(self, sheet: str, address: str) -> Any:
        """The value of a cell by its address, `None` where it is empty."""
        return self.of(sheet).get(coordinate_to_tuple(address))

    def of(self, sheet: str) -> Mapping[tuple[int, int], Any]:
        """Values by row and column, in the order of the rows; empty cells are left out."""
        if sheet not in self._sheets:
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")
                    self._sheets[sheet] = self._values(self._book[sheet])
            except Exception as error:
                # As in `opened`: whatever the library stumbles over.
                raise UnreadableSheet(_unreadable(error)) from error
        return self._sheets[sheet]

    def _values(self, sheet: Any) -> dict[tuple[int, int], Any]:
        with sheet.parent._archive.open(sheet._worksheet_path) as stream:
            guard_sheet(stream, self._left)
        # The extent that a file states may be wrong.
        sheet.reset_dimensions()
        return {
            (cell.row, cell.column): cell.value for row in sheet.iter_rows() for cell in row if cell.value is not None
        }


def opened_values(file: Path) -> tuple[CellValues | None, str]:
    """The values of the workbook's cells, or `None` and what is found instead."""
    try:
        content = _content(file, BUDGET)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book, left = _streamed(content)
            return CellValues(book, left), ""
    except Exception as error:
        # As in `opened`: whatever the library stumbles over.
        return None, _unreadable(error)


def _streamed(content: bytes, *, data_only: bool = False) -> tuple[Any, Left]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        left = guard(archive, BUDGET, sheets=False)
    return load_workbook(io.BytesIO(content), read_only=True, keep_links=False, data_only=data_only), left


def _unreadable(error: Exception) -> str:
    return str(error) if isinstance(error, (Refused, NotRead)) else f"no readable workbook ({type(error).__name__})"


def has_sheet(file: Path, name: str) -> bool | None:
    """Whether a workbook has a sheet of this name; `None` where it cannot be opened."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book, _ = _streamed(_content(file, BUDGET))
    except Exception:
        # As above: whatever the library stumbles over.
        return None
    return name in book.sheetnames


def stored_values(file: str | os.PathLike[str], sheet: str) -> dict[str, Any]:
    """Address → value as stored, without calculating, of a sheet that is there; formulas without value are left out.

    Raises `Refused`, and what the library raises for damage."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book, left = _streamed(_content(Path(file), BUDGET), data_only=True)
        with book._archive.open(book[sheet]._worksheet_path) as part:
            guard_sheet(part, left)
        rows = book[sheet].iter_rows()
        return {cell.coordinate: cell.value for row in rows for cell in row if cell.value is not None}
