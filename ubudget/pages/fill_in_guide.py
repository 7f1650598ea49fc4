"""Sheet *read me* of a fill-in workbook: how it is filled in, what to be careful with, what stands where."""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.pages.book import Band, BandColumn, LooseCell, Sheet
from ubudget.records.records import Role

GUIDE = "read me"

_HOW: tuple[tuple[str, str], ...] = (
    (
        "fill in",
        "Framed, shaded cells are yours. Rows may be added, copied, sorted and left empty; empty rows are skipped. A "
        "column that you do not need may stay empty.",
    ),
    (
        "the headings",
        "Leave the headings and the first column as they are: the row marked headings tells the program what a column "
        "holds, and the name above it which table it is. Sheets may be moved and given other names.",
    ),
    (
        "examples",
        "Rows marked example in the first column show how it is done and are not read. Any row may be marked so.",
    ),
    (
        "numbers",
        "A number with its unit is written with a space between, 0.1 mg or 2.5 %, and a decimal point. Where a heading "
        "says the unit in brackets, write the number alone, as your spreadsheet writes numbers.",
    ),
    (
        "per cent",
        "A cell formatted as percentage is taken as it is shown: 2.5 % is 2.5 %. Where a plain number is asked for, "
        "e.g. a probability, 95 % is taken as 0.95.",
    ),
    ("dates", "As a date cell, or as text in the order year-month-day, 2026-03-04. Other spellings are refused."),
    ("yes, no", "Choose from the list. A cell that says TRUE or FALSE is taken as well."),
    (
        "lists",
        "Entries in one cell are separated by semicolons. An entry that holds a semicolon stands in double quotes.",
    ),
    ("formulas", "Record what was observed: cells with formulas are refused. Copy the cell and paste its value."),
    (
        "pointing",
        "A row that belongs to a row of another table names it in its first columns: a certificate names its "
        "equipment, a certified value its equipment and its certificate, a parameter its symbol.",
    ),
    ("empty text", 'Two double quotes "" stand for a text that is empty on purpose.'),
    (
        "evaluate",
        "ubudget evaluate THIS-FILE.xlsx gives the results, ubudget workbook THIS-FILE.xlsx OUT.xlsx the budget with "
        "live formulas. This file is only read, never written. What is wrong in it is told by sheet, row and column.",
    ),
)

_CAREFUL: tuple[str, ...] = (
    "Acids, solvents and gases set free in the work are hazardous. The usual precautions and the rules of your own "
    "laboratory hold; this workbook replaces none of them.",
    "A wrong result can do harm where health or compliance depend on it. Whether method, equation and input quantities "
    "are right is for your own validation and for the people licensed to practise.",
)

_PARTS: dict[str, str] = {"run": "run", "method": "method", "register": "register"}


_ALONE: dict[str, str] = {
    "lists": "An entry of several parts has one row for each: insert rows as needed, and repeat the entry's name.",
    "evaluate": "ubudget ware THIS-FILE.xlsx gives volume, errors and certificate. This file is only read, never "
    "written. What is wrong in it is told by sheet and row.",
}
_NOT_ALONE = ("examples", "pointing")


def guide_sheet(
    title: str, index: Sequence[tuple[str, Role, str]], cautions: Sequence[str], *, alone: bool = False
) -> Sheet:
    """The sheet; `index` names each sheet, its part of the records and what stands there. `alone`: the workbook is one
    table of entries, the record of a calibration of ware."""
    how = [(topic, _ALONE.get(topic, text)) for topic, text in _HOW if topic not in _NOT_ALONE] if alone else _HOW
    cells = [LooseCell(1, 1, "Records to fill in", "title"), LooseCell(2, 1, title, "note", across=3)]
    row = 4
    careful = [(f"caution {number}", text) for number, text in enumerate((*_CAREFUL, *cautions), start=1)]
    for heading, entries in (("How to fill it in", how), ("Cautions", careful)):
        cells.append(LooseCell(row, 1, heading, "heading", across=3))
        for number, (topic, text) in enumerate(entries, start=row + 1):
            cells += [LooseCell(number, 1, topic, "label"), LooseCell(number, 2, text, "text", across=2)]
        row += len(entries) + 3
    where = Band(
        "where",
        row + 1,
        1,
        (
            BandColumn("sheet", [name for name, _, _ in index], "label", width=18.0),
            BandColumn(
                "part of the records", ["all" if alone else _PARTS[role] for _, role, _ in index], "text", width=20.0
            ),
            BandColumn("what is there", [words or None for _, _, words in index], "text", width=84.0),
        ),
        "What stands where",
    )
    return Sheet(GUIDE, (where,), tuple(cells), widths={1: 24.0, 2: 20.0, 3: 84.0}, landscape=False)
