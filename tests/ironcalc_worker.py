"""Recalculates workbooks with ironcalc in a process of its own: some formulas make that engine hang.

Reads a JSON list of jobs on standard input, writes the JSON list of answers on standard output, and names on
standard error what it is working on, so that the one who set the time limit can say where it got stuck.

A job is {"path": file, "variants": [edits, ...], "wanted": [[sheet, cell], ...]}, its edits are
[[sheet, cell, value], ...]; its answer is one list of wanted values for each variant. Every variant starts
from the file as it is.
"""

import json
import re
import sys
from collections.abc import Callable
from typing import Any

import ironcalc

Place = tuple[int, int, int]
"""Sheet counted from 0, row and column counted from 1, as ironcalc takes them."""

CELL = re.compile(r"([A-Z]{1,3})([0-9]+)")


class Book:
    """A loaded workbook whose cells are found by the name of the sheet and the address of the cell."""

    def __init__(self, path: str) -> None:
        self.model = ironcalc.load_from_xlsx(path, "en", "UTC", "en")
        properties = self.model.get_worksheets_properties()
        self.sheets = {sheet["name"]: index for index, sheet in enumerate(properties)}

    def place(self, sheet: str, cell: str) -> Place:
        match = CELL.fullmatch(cell)
        if match is None:
            raise ValueError(f"{cell!r} is not the address of a cell")
        return self.sheets[sheet], int(match[2]), ironcalc.column_number_from_name(match[1])

    def put(self, place: Place, value: object) -> None:
        """Write an input; a text is a text here, whatever it begins with."""
        if value is None:
            self.model.clear_cell_contents(*place)
        elif isinstance(value, bool):
            self.model.update_cell_with_bool(*place, value)
        elif isinstance(value, int | float):
            self.model.update_cell_with_number(*place, float(value))
        else:
            self.model.update_cell_with_text(*place, str(value))

    def restorer(self, place: Place) -> Callable[[], None]:
        """What puts the cell back as it is now."""
        formula = self.model.get_cell_formula(*place)
        if formula is not None:
            return lambda: self.model.update_cell_with_formula(*place, formula)
        value = self.model.get_cell_value(*place)
        return lambda: self.put(place, value)


def answer(job: dict[str, Any]) -> list[list[object]]:
    say(f"loading {job['path']}")
    book = Book(job["path"])
    wanted = [book.place(sheet, cell) for sheet, cell in job["wanted"]]
    found: list[list[object]] = []
    for edits in job["variants"]:
        say(f"calculating {job['path']} with {edits or 'nothing changed'}")
        restorers = []
        for sheet, cell, value in edits:
            place = book.place(sheet, cell)
            restorers.append(book.restorer(place))
            book.put(place, value)
        book.model.evaluate()
        found.append([book.model.get_cell_value(*place) for place in wanted])
        for restore in reversed(restorers):
            restore()
    return found


def say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


if __name__ == "__main__":
    json.dump([answer(job) for job in json.load(sys.stdin)], sys.stdout)
