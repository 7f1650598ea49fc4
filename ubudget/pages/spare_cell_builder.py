"""How cells of a workbook with spare rows are spelled: what all its tables share.

Each column is given row by row as formula, or open for what is typed. Empty text stands for "not used".
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS
from ubudget.bench.readings import POINTS
from ubudget.bench.standards import STANDARDS
from ubudget.bench.ware import WARE
from ubudget.pages.book import Style
from ubudget.pages.placement import Placements
from ubudget.pages.spare_model import KIND, ROW_OF, STATUS, Spare
from ubudget.quantity.graph import Given
from ubudget.quantity.spelling import number_text
from ubudget.quantity.units import convert
from ubudget.records.crosscheck_items import DELIVERS, RECEIVES


@dataclass(frozen=True)
class Fill:
    """What an open cell is for: which part of the records, and the row and field there."""

    part: str
    row: int
    field: str
    unit: str | None = None
    """Unit of a number; `None` = text."""


@dataclass(frozen=True)
class Cells:
    """One column: a formula, or for an open cell what it is for and what it shows as issued."""

    formulas: Sequence[str | None]
    fills: Sequence[Fill | None] = ()
    shown: Sequence[str | float | None] = ()
    style: Style = "label"
    number_format: str = "General"
    heading: str = ""


Found = dict[tuple[str, str], Cells]
"""Table and column → its cells."""


class CellBuilder:
    """Adds the cells of some tables to `found`."""

    def __init__(self, spare: Spare, placements: Placements, found: Found) -> None:
        self.spare, self.at, self.found = spare, placements, found
        structure = spare.evaluation.assembly.structure
        run = spare.records.run
        planned = spare.evaluation.records.run
        assert structure is not None and run is not None and planned is not None
        self.structure, self.given, self.planned = structure, run, planned

    def put(
        self,
        table: str,
        column: str,
        formulas: Sequence[str | None],
        *,
        fills: Sequence[Fill | None] = (),
        shown: Sequence[str | float | None] = (),
        style: Style = "label",
        number_format: str = "General",
        heading: str = "",
    ) -> None:
        self.found[table, column] = Cells(formulas, fills, shown, style, number_format, heading)

    def size(self, table: str) -> int:
        return self.at[table].table.size

    def cell(self, table: str, column: str, row: int, seen_from: str) -> str:
        return self.at[table].cell(column, row, self.at[seen_from].sheet)

    def area(self, table: str, column: str, seen_from: str, rows: int | None = None) -> str:
        home = self.at[table]
        if rows is None:
            return home.range(column, self.at[seen_from].sheet)
        letter = home.letters[column]
        return (
            f"{home.prefix(self.at[seen_from].sheet)}${letter}${home.first_row}:${letter}${home.first_row + rows - 1}"
        )

    def follow(self, table: str, column: str, sources: Sequence[tuple[str, str, int, str]]) -> None:
        """A label taken from another table, shown where a column there (the label itself, or a mark) is not empty."""
        formulas = []
        for source, label, row, mark in sources:
            shown, test = self.cell(source, label, row, table), self.cell(source, mark, row, table)
            formulas.append(f'IF({test}="","",{shown})')
        self.put(table, column, formulas)

    def open_numbers(self, table: str, part: str, rows: Sequence[int]) -> list[tuple[str, str]]:
        """Opens the numbers that the samples table holds, each once; gives column and heading of each."""
        opened: list[tuple[str, str]] = []
        first: dict[str, tuple[str, str]] = {}
        for column in self.at[table].table.columns:
            places = column.places if isinstance(column, Given) else ()
            place = next((place for place in places if place is not None and place.document == "samples"), None)
            if place is not None:
                field = str(place.path[1])
                if field in first:
                    self.again(table, column.name, *first[field], place.unit)
                    continue
                first[field] = column.name, place.unit
                self.put(
                    table,
                    column.name,
                    [None] * len(rows),
                    fills=[Fill(part, row, field, place.unit) for row in rows],
                    style="input",
                )
                opened.append((column.name, field))
        return opened

    def again(self, table: str, column: str, typed: str, unit: str, wanted: str) -> None:
        """A number that two quantities take from one column is typed once."""
        factor = convert(1.0, unit, wanted)
        formulas = []
        for row in range(self.size(table)):
            cell = self.cell(table, typed, row, table)
            formulas.append(f'IF({cell}="","",{cell if factor == 1 else f"{cell}*{number_text(factor)}"})')
        self.put(table, column, formulas, style="number")

    def ware(self, table: str, symbol: str, label: str, row: int) -> tuple[str, str, str]:
        """Cell that names a piece of ware, cell of its row, and its texts of what is wrong with it."""
        word = self.spare.word_of(table, symbol)
        name = self.cell(table, label, row, table)
        found = self.cell(table, f"{ROW_OF}{symbol}", row, table)
        wrong = (
            f'IF({name}="","{word} missing. ",IF({found}=0,"{word} "&{name}&" is not on the sheet equipment. ",'
            f"{self.kind(table, symbol, name, found)}))"
        )
        return name, found, wrong

    def kind(self, table: str, symbol: str, name: str, found: str) -> str:
        if table != self.spare.steps:
            return '""'
        kinds = sorted(DELIVERS if symbol.endswith(".aliquot") else RECEIVES)
        kind = f"INDEX({self.area(WARE, KIND, table)},{found})"
        fits = ",".join(f'{kind}="{each}"' for each in kinds)
        return f'IF(OR({fits}),"",{name}&" does not serve here. ")'

    def find_ware(self, table: str, used: Callable[[int], str]) -> None:
        """Names of ware to be typed, with the row where each stands among the ware."""
        typed: dict[str, str] = {}
        for symbol, label in self.spare.chosen(table).items():
            word, rows = self.spare.word_of(table, symbol), range(self.size(table))
            part = {PORTIONS: "portion", BLANK_PORTIONS: "blank"}.get(table, "step")
            first = typed.setdefault(word, label)
            if first == label:
                fills = [Fill(part, row, word) for row in rows]
                self.put(table, label, [None] * len(rows), fills=fills, style="input_text", heading=word)
            else:
                above = [self.cell(table, first, row, table) for row in rows]
                self.put(table, label, [f'IF({cell}="","",{cell})' for cell in above])
            names = self.area(WARE, "item", table)
            cells = [self.cell(table, label, row, table) for row in rows]
            self.put(
                table,
                f"{ROW_OF}{symbol}",
                [f'IF({used(row)},"",{_row_of(cells[row], names)})' for row in rows],
                style="number",
                number_format="0",
            )

    def reading_columns(self, table: str, part: str, fields: Sequence[str], owners: Sequence[int]) -> None:
        """Open readings; a reading counts that is a number, has its row, and no reason for leaving it out."""
        rows = range(self.size(table))

        def cells(column: str) -> list[str]:
            return [self.cell(table, column, row, table) for row in rows]

        named, reading, reason = cells("solution"), cells("reading"), cells("reason")
        self.put(
            table, "reading", [None] * len(rows), style="input",
            fills=[Fill(part, owners[r], f"{fields[r]}|reading", "") for r in rows],
        )  # fmt: skip
        for name in ("reason", "who", "when"):
            fills = [Fill(part, owners[r], f"{fields[r]}|{name}") for r in rows]
            self.put(table, name, [None] * len(rows), fills=fills, style="input_text")
        include = [f'IF({named[r]}="","",IF(ISNUMBER({reading[r]}),IF({reason[r]}="",1,0),""))' for r in rows]
        self.put(table, "include", include, style="number", number_format="0")
        lost = "no level with a concentration in this row. " if table == POINTS else "no sample in this row. "
        texts = [
            f'IF({reading[r]}="",IF({reason[r]}="","","no reading in this row. "),'
            f'IF(ISNUMBER({reading[r]}),IF({named[r]}="",{in_quotes(lost)},""),"not a number. "))'
            for r in rows
        ]
        self.put(table, STATUS, texts, style="flag")

    def labelled_standards(self) -> int:
        """Rows of the standards' table that hold the labels: those of the first analyte."""
        analytes = self.at[STANDARDS].table.texts("analyte")
        return sum(1 for analyte in analytes if analyte == analytes[0])


def _row_of(name: str, names: str) -> str:
    """Place of a name in a column, 0 where it is not there; a name with * or ? is no pattern."""
    found = f"MATCH({name},{names},0)"
    return f"IFERROR(IF(INDEX({names},{found})={name},{found},0),0)"


def in_quotes(text: str) -> str:
    """A short text of ours as a formula writes it."""
    return f'"{text}"'
