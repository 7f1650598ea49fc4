"""Formulas that the common spreadsheet programs calculate alike: what may go into them.

Plain old functions only; newer names turn into `#NAME?` in the programs that do not know them.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterator
from pathlib import Path

import openpyxl
from openpyxl.formula.tokenizer import Token, Tokenizer
from openpyxl.worksheet.formula import ArrayFormula

_SAFE_FUNCTIONS = """
ABS SQRT EXP LN LOG10 PI INT MOD SIGN ROUND ROUNDUP ROUNDDOWN TRUNC
SUM SUMSQ SUMPRODUCT AVERAGE COUNT COUNTA COUNTIF COUNTIFS SUMIF SUMIFS AVERAGEIF AVERAGEIFS
MIN MAX STDEV VAR LARGE SMALL RANK MEDIAN COVAR
SLOPE INTERCEPT STEYX DEVSQ RSQ LINEST MMULT MINVERSE TRANSPOSE
TINV TDIST NORMSINV NORMDIST NORMSDIST FDIST FINV CHIDIST CHIINV
INDEX MATCH VLOOKUP CHOOSE ROW ROWS COLUMN
IF AND OR IFERROR ISERROR ISNUMBER
FIXED YEAR MONTH DAY
"""
SAFE_FUNCTIONS = frozenset(_SAFE_FUNCTIONS.split())

_SHEET = r"(?:(?:'(?:[^'\[\]]|'')+'|[^\W\d][\w.]*)!)?"
_CELL = r"\$?[A-Z]{1,3}\$?[0-9]+"
REFERENCE = re.compile(rf"{_SHEET}(?:{_CELL}(?::{_CELL})?|\$?[A-Z]{{1,3}}:\$?[A-Z]{{1,3}}|\$?[0-9]+:\$?[0-9]+)")
"""A cell, a range, whole columns or whole rows, in this workbook."""


def assert_safe_formulas(path: Path) -> None:
    """Every formula of the workbook is calculated alike by the common spreadsheet programs."""
    faults = unsafe_formulas(path)
    assert not faults, "\n".join(faults)


def unsafe_formulas(path: Path) -> list[str]:
    """One line for each formula that is not safe: where it is, what is wrong, the formula."""
    book = openpyxl.load_workbook(path)
    names = {name: definition.value for name, definition in book.defined_names.items()}
    for sheet in book.worksheets:
        names |= {name: definition.value for name, definition in sheet.defined_names.items()}
    faults = [
        f"name {name}: stands for {value}, not for cells"
        for name, value in names.items()
        if not all(REFERENCE.fullmatch(part) for part in value.split(","))
    ]
    for place, formula in _formulas(book):
        faults += [f"{place}: {fault} in {formula}" for fault in _faults(formula, names.keys())]
    return faults


def _formulas(book: openpyxl.Workbook) -> Iterator[tuple[str, str]]:
    """Formulas of cells, of conditional formats and of validations, with their place."""
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell.value, ArrayFormula):
                    yield f"{sheet.title}!{cell.coordinate}", str(cell.value.text)
                elif cell.data_type == "f":
                    yield f"{sheet.title}!{cell.coordinate}", str(cell.value)
        for area in sheet.conditional_formatting:
            for rule in area.rules:
                for formula in rule.formula:
                    yield f"{sheet.title}!{area.sqref} (conditional format)", f"={formula}"
        for validation in sheet.data_validations.dataValidation:
            for formula in filter(None, (validation.formula1, validation.formula2)):
                yield f"{sheet.title}!{validation.sqref} (validation)", f"={formula}"


def _faults(formula: str, names: Container[str]) -> Iterator[str]:
    for token in Tokenizer(formula).items:
        if token.type == Token.FUNC and token.subtype == Token.OPEN:
            function = token.value.rstrip("(").upper()
            if function not in SAFE_FUNCTIONS:
                yield f"function {function}"
        elif token.type == Token.OPERAND and token.subtype == Token.RANGE:
            if not REFERENCE.fullmatch(token.value) and token.value not in names:
                yield f"operand {token.value}"
        elif token.type == Token.OPERAND and token.subtype == Token.ERROR:
            yield f"error {token.value}"
