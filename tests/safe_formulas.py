"""Formulas that the common spreadsheet programs calculate alike: what may go into them.

Plain old functions only; newer names turn into `#NAME?` in the programs that do not know them.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterator
from functools import cache
from pathlib import Path

from openpyxl.formula.tokenizer import Token, Tokenizer

from tests.stored_cells import defined_names, stored_sheets

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
    names = dict(defined_names(path))
    faults = [
        f"name {name}: stands for {value}, not for cells"
        for name, value in names.items()
        if not all(REFERENCE.fullmatch(part) for part in value.split(","))
    ]
    for place, formula in _formulas(path):
        if _suspects(_shape(formula)):
            faults += [f"{place}: {fault} in ={formula}" for fault in _faults(formula, names.keys())]
    return faults


def _formulas(path: Path) -> Iterator[tuple[str, str]]:
    """Formulas of cells, of conditional formats and of validations, with their place."""
    for title, sheet in stored_sheets(path).items():
        for place, formula in [*sheet.formulas.items(), *sheet.rules]:
            if formula:
                yield f"{title}!{place}", formula


def _shape(formula: str) -> str:
    """The formula with one number for all, but for numbers in names of functions: its neighbours look alike."""
    return re.sub(r"[0-9]+(?![0-9(])", "1", formula)


@cache
def _suspects(shape: str) -> bool:
    """Whether a formula of this shape may have a fault: then it is looked at itself."""
    return any(_faults(shape, ()))


def _faults(formula: str, names: Container[str]) -> Iterator[str]:
    for token in Tokenizer(f"={formula}").items:
        if token.type == Token.FUNC and token.subtype == Token.OPEN:
            function = token.value.rstrip("(").upper()
            if function not in SAFE_FUNCTIONS:
                yield f"function {function}"
        elif token.type == Token.OPERAND and token.subtype == Token.RANGE:
            if not REFERENCE.fullmatch(token.value) and token.value not in names:
                yield f"operand {token.value}"
        elif token.type == Token.OPERAND and token.subtype == Token.ERROR:
            yield f"error {token.value}"
