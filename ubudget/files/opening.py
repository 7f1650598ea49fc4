"""Workbooks of other people's programs opened to be read, and why one cannot be."""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Any, Protocol

from openpyxl import load_workbook
from openpyxl.utils.cell import coordinate_to_tuple


def opened(file: str | os.PathLike[str] | IO[bytes]) -> tuple[Any, str]:
    """The workbook with its formulas, or `None` and what is found instead."""
    try:
        with warnings.catch_warnings():
            # The library warns of what it would lose on saving (extensions, styles); nothing is saved.
            warnings.simplefilter("ignore")
            return load_workbook(file, data_only=False), ""
    except Exception as error:
        # A damaged file, or one that is no workbook: the library raises whatever it stumbles over.
        return None, _unreadable(error)


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

    def __init__(self, book: Any) -> None:
        self._book = book
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
                    self._sheets[sheet] = _values(self._book[sheet])
            except Exception as error:
                # As in `opened`: whatever the library stumbles over.
                raise UnreadableSheet(_unreadable(error)) from error
        return self._sheets[sheet]


def _values(sheet: Any) -> dict[tuple[int, int], Any]:
    # The extent that a file states may be wrong.
    sheet.reset_dimensions()
    return {(cell.row, cell.column): cell.value for row in sheet.iter_rows() for cell in row if cell.value is not None}


def opened_values(file: Path) -> tuple[CellValues | None, str]:
    """The values of the workbook's cells, or `None` and what is found instead."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return CellValues(load_workbook(io.BytesIO(file.read_bytes()), read_only=True)), ""
    except Exception as error:
        # As in `opened`: whatever the library stumbles over.
        return None, _unreadable(error)


def _unreadable(error: Exception) -> str:
    return f"no readable workbook ({type(error).__name__})"


def has_sheet(file: str | os.PathLike[str], name: str) -> bool | None:
    """Whether a workbook has a sheet of this name; `None` where it cannot be opened."""
    try:
        # Opened here: over a damaged file the library would leave it open.
        with Path(file).open("rb") as stream, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return name in load_workbook(stream, read_only=True).sheetnames
    except Exception:
        # As above: whatever the library stumbles over.
        return None


def stored_values(file: str | os.PathLike[str], sheet: str) -> dict[str, Any]:
    """Address → value as stored, without calculating, of a sheet that is there; formulas without value are left out."""
    with Path(file).open("rb") as stream, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        rows = load_workbook(stream, read_only=True, data_only=True)[sheet].iter_rows()
        return {cell.coordinate: cell.value for row in rows for cell in row if cell.value is not None}
