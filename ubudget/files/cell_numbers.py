"""A number in a cell of a table, as text: what is taken for one, and the finding otherwise."""

from __future__ import annotations

import re

from ubudget.files.csv_text import Heading
from ubudget.files.fault_words import shown
from ubudget.records.amount import parse_amount
from ubudget.records.finding import Finding


def number_in(cell: str) -> float:
    """The number in a cell; `ValueError` with found and accepted otherwise."""
    if re.fullmatch(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?", cell):
        raise ValueError("a decimal comma; accepted: a decimal point")
    try:
        amount = parse_amount(cell)
    except ValueError as error:
        if str(error).startswith("accepted:"):
            raise ValueError("text; accepted: a number, or an empty cell where nothing was read") from None
        raise
    if amount.unit:
        raise ValueError("a unit in the cell; accepted: a number alone, the unit stands in the heading")
    return amount.value


def cell_number(cell: str, heading: Heading, file: str, place: str, findings: list[Finding]) -> float | None:
    """The number in a cell; None and a finding otherwise."""
    try:
        return number_in(cell)
    except ValueError as error:
        found, _, accepted = str(error).partition("; accepted: ")
        remedy = "correct the cell"
        if found == "text":
            remedy = "give a number; a reading below a limit is entered as it was read"
        findings.append(Finding("stop", file, f"{place}, {heading.text}", f"{shown(cell)} ({found})", accepted, remedy))
        return None
