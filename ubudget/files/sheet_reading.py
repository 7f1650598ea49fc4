"""The cells of one sheet of somebody's workbook, streamed from its XML (ECMA-376 part 1, 18.3.1).

Formula and stored value come in one pass. Nothing is unfolded that the file only claims: ranges stay ranges, and the
number of cells is bounded.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime
from functools import cache
from math import isfinite
from typing import IO, Any, Final
from xml.parsers.expat import ParserCreate

from ubudget.files.sheet_xml import serial
from ubudget.pages.cells_as_read import Area, CellAsRead, CellValue, RuleAsRead, SheetAsRead, address_of, place_of
from ubudget.pages.formula_tokens import moved
from ubudget.quantity.spelling import column_letters

MOST_ROWS: Final = 1_048_576
MOST_COLUMNS: Final = 16_384
"""Rows and columns of a sheet of the common spreadsheets."""
CHUNK: Final = 1 << 20
LONGEST_FORMULA: Final = 32_768
"""Signs; four times what common spreadsheets take, since some spell at greater length."""
LONGEST_SPELLED: Final = 300_000_000
"""Signs of all formulas that stand for other cells as well."""
_ADDRESS: Final = re.compile(r"[A-Z]{1,3}[1-9][0-9]{0,6}")
_ESCAPED: Final = re.compile(r"_x([0-9A-Fa-f]{4})_")
_TEXTS: Final = frozenset({"v", "f", "t", "formula", "formula1", "formula2"})


class Unreadable(Exception):
    """What a file holds that is not read, in words for a finding."""


class Left:
    """Cells and bytes that may still be read of one file."""

    def __init__(self, cells: int, bytes_: int) -> None:
        self._cells, self._bytes = cells, bytes_
        self._most_cells, self._most_bytes = cells, bytes_
        self._spelled = LONGEST_SPELLED

    def cell(self) -> None:
        self._cells -= 1
        if self._cells < 0:
            raise Unreadable(f"more than {self._most_cells:,} cells")

    def spell(self, formula: str) -> str:
        """A formula that stands for many cells, made for one of them."""
        self._spelled -= len(formula)
        if self._spelled < 0:
            raise Unreadable(f"shared formulas of more than {LONGEST_SPELLED / 1e6:.0f} MB")
        return formula

    def read(self, stream: IO[bytes], size: int = CHUNK) -> bytes:
        chunk = stream.read(size)
        self._bytes -= len(chunk)
        if self._bytes < 0:
            raise Unreadable(f"a file that unpacks to more than {self._most_bytes / 1e6:,.0f} MB")
        return chunk


class Styles:
    """Of each cell style, by number: whether it locks, and whether it shows a date."""

    def __init__(self, locked: Sequence[bool], dates: Sequence[bool]) -> None:
        self._locked, self._dates = locked, dates

    def locked(self, number: int) -> bool:
        return self._locked[number] if 0 <= number < len(self._locked) else True

    def is_date(self, number: int) -> bool:
        return self._dates[number] if 0 <= number < len(self._dates) else False


@cache
def columns() -> dict[str, int]:
    """The number of each column by its letters."""
    return {column_letters(number): number for number in range(1, MOST_COLUMNS + 1)}


def local(name: str) -> str:
    return name.rpartition(":")[2]


def decoded(text: str) -> str:
    """Text of a cell with its escapes resolved (22.9.2.19, ST_Xstring)."""
    if "_x" not in text:
        return text
    decoded = _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)
    # Halves of a pair, which make no letter, cannot be written anywhere.
    return decoded.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def no_doctype(*declaration: object) -> None:
    raise Unreadable("a part that declares a document type or entities, which no workbook does")


def areas_of(text: str) -> tuple[Area, ...]:
    """The areas of a list of ranges, `A1:B3 D4`."""
    areas = []
    for piece in text.upper().replace("$", "").split():
        first, _, last = piece.partition(":")
        if _ADDRESS.fullmatch(first) is None or (last and _ADDRESS.fullmatch(last) is None):
            continue  # whole rows and columns, which ours have nowhere
        (left, top), (right, bottom) = place_of(first), place_of(last or first)
        areas.append(Area(min(left, right), min(top, bottom), max(left, right), max(top, bottom)))
    return tuple(areas)


class SheetReader:
    """Reads one sheet; handlers of the parser come first, the sheet in the end."""

    def __init__(self, name: str, visible: bool, styles: Styles, texts: Sequence[str], left: Left) -> None:
        self._name, self._visible, self._styles, self._texts, self._left = name, visible, styles, texts, left
        self._cells: dict[str, CellAsRead] = {}
        self._dated: list[str] = []
        self._shared: dict[str, tuple[str, int, int]] = {}
        self._hidden_rows: set[int] = set()
        self._hidden_columns: set[int] = set()
        self._protected = False
        self._lists: list[RuleAsRead] = []
        self._conditions: list[RuleAsRead] = []
        self._row = self._column = 0
        self._row_text = "0"
        self._here: dict[str, Any] = {}
        self._collected: list[str] | None = None
        self._rule: tuple[str, tuple[Area, ...], str] = ("", (), "")
        self._formulas: list[str] = []
        self._phonetic = 0

    def read(self, stream: IO[bytes]) -> SheetAsRead:
        parser = ParserCreate()
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = no_doctype
        parser.StartElementHandler, parser.EndElementHandler = self._start, self._end
        parser.CharacterDataHandler = self._text
        while chunk := self._left.read(stream):
            parser.Parse(chunk, False)
        parser.Parse(b"", True)
        return SheetAsRead(
            self._name,
            self._cells,
            self._visible,
            self._protected,
            frozenset(self._hidden_rows),
            frozenset(self._hidden_columns),
            tuple(self._lists),
            tuple(self._conditions),
            frozenset(self._dated),
        )

    def _text(self, text: str) -> None:
        if self._collected is not None:
            self._collected.append(text)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        if ":" in name:
            name = local(name)
        if name == "c":
            self._start_cell(attributes)
        elif name in _TEXTS:
            self._collected = []
            if name == "f":
                self._here["f"] = attributes
        elif name == "row":
            self._left.cell()
            self._start_row(attributes)
        elif name == "rPh":
            self._phonetic += 1
        elif name == "col":
            self._start_column(attributes)
        elif name == "sheetProtection":
            self._protected = _is_true(attributes.get("sheet"))
        elif name == "dataValidation":
            said = "free" if not _is_true(attributes.get("showErrorMessage")) else "refused"
            kind = f"{attributes.get('type', 'none')} {attributes.get('operator', 'between')} {said}"
            self._rule = ("list", areas_of(attributes.get("sqref", "")), kind)
            self._formulas = []
        elif name == "conditionalFormatting":
            self._rule = ("condition", areas_of(attributes.get("sqref", "")), "")
        elif name == "cfRule":
            self._rule = ("condition", self._rule[1], attributes.get("type", ""))
            self._formulas = []

    def _end(self, name: str) -> None:
        if ":" in name:
            name = local(name)
        if name == "c":
            self._end_cell()
        elif name in _TEXTS:
            text = "".join(self._collected or ())
            self._collected = None
            if name == "t":
                if not self._phonetic:
                    self._here["t"] = self._here.get("t", "") + text
            elif name == "f":
                self._here["formula"] = text
            elif name == "v":
                self._here["v"] = text
            else:
                self._formulas.append(text)
        elif name == "rPh":
            self._phonetic -= 1
        elif name == "dataValidation":
            self._lists.append(RuleAsRead(self._rule[1], self._rule[2], tuple(self._formulas)))
        elif name == "cfRule":
            self._conditions.append(RuleAsRead(self._rule[1], self._rule[2], tuple(self._formulas)))

    def _start_row(self, attributes: dict[str, str]) -> None:
        self._row = int(attributes.get("r", self._row + 1))
        self._column = 0
        self._row_text = str(self._row)
        if not 1 <= self._row <= MOST_ROWS:
            raise Unreadable(f"a row number {self._row} (sheet {self._name})")
        if _is_true(attributes.get("hidden")) or attributes.get("ht") == "0":
            self._hidden_rows.add(self._row)

    def _start_column(self, attributes: dict[str, str]) -> None:
        first, last = int(attributes.get("min", 1)), int(attributes.get("max", 1))
        if not 1 <= first <= last <= MOST_COLUMNS:
            raise Unreadable(f"column numbers {first} to {last} (sheet {self._name})")
        if _is_true(attributes.get("hidden")) or float(attributes.get("width", 1)) == 0:
            self._hidden_columns.update(range(first, last + 1))

    def _start_cell(self, attributes: dict[str, str]) -> None:
        self._left.cell()
        address = attributes.get("r")
        if address is None:
            self._column += 1
            if self._column > MOST_COLUMNS:
                raise Unreadable(f"more than {MOST_COLUMNS} columns (sheet {self._name})")
            address = address_of(self._column, self._row)
        else:
            letters = address[: -len(self._row_text)]
            column = columns().get(letters)
            if column is None or not address.endswith(self._row_text):
                raise Unreadable(f"a cell {address[:20]} in row {self._row} (sheet {self._name})")
            self._column = column
        self._here = {"type": attributes.get("t", "n"), "style": int(attributes.get("s", 0)), "address": address}

    def _end_cell(self) -> None:
        here = self._here
        self._here = {}
        locked = self._styles.locked(here["style"])
        value, formula = self._value(here), self._formula(here)
        if formula is None and value is None and locked:
            return
        address = here["address"]
        self._cells[address] = CellAsRead(formula, value, locked)
        if not locked and isinstance(value, float) and self._styles.is_date(here["style"]):
            self._dated.append(address)

    def _value(self, here: dict[str, Any]) -> CellValue:
        kind = here["type"]
        if kind == "inlineStr":
            return decoded(here.get("t", "")) or None
        text = here.get("v")
        if text is None or text == "":
            return None
        if kind == "s":
            number = int(text)
            if not 0 <= number < len(self._texts):
                raise Unreadable(f"a text that is missing (sheet {self._name})")
            return self._texts[number] or None
        if kind in ("str", "e"):
            return decoded(text)
        if kind == "b":
            return "TRUE" if _is_true(text) else "FALSE"
        if kind == "d":
            moment = datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
            return serial(moment)
        read = float(text)
        return read if isfinite(read) else text

    def _formula(self, here: dict[str, Any]) -> str | None:
        attributes = here.get("f")
        if attributes is None:
            return None
        text = str(here.get("formula", "")).strip()
        if len(text) > LONGEST_FORMULA:
            raise Unreadable(f"a formula of more than {LONGEST_FORMULA:,} signs (sheet {self._name})")
        kind = attributes.get("t", "normal")
        if kind == "shared":
            number = attributes.get("si", "")
            if text:
                self._shared[number] = (text, self._column, self._row)
            elif number in self._shared:
                master, column, row = self._shared[number]
                return moved(self._left.spell(master), self._row - row, self._column - column)
            return text
        if kind in ("array", "dataTable"):
            return f"{{{text}}}"
        return text or None


def _is_true(text: str | None) -> bool:
    return text in ("1", "true", "on")
