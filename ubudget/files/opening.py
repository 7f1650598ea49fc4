"""Workbooks of other people's programs opened to be read, and why one cannot be."""

from __future__ import annotations

import os
import warnings
from pathlib import Path
from typing import IO, Any

from openpyxl import load_workbook


def opened(file: str | os.PathLike[str] | IO[bytes]) -> tuple[Any, str]:
    """The workbook with its formulas, or `None` and what is found instead."""
    try:
        with warnings.catch_warnings():
            # The library warns of what it would lose on saving (extensions, styles); nothing is saved.
            warnings.simplefilter("ignore")
            return load_workbook(file, data_only=False), ""
    except Exception as error:
        # A damaged file, or one that is no workbook: the library raises whatever it stumbles over.
        return None, f"no readable workbook ({type(error).__name__})"


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
