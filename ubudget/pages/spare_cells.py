"""Cells that only a workbook with spare rows has: labels that follow the sample, marks, status texts, look-ups.

Each column is given row by row as formula, or open for what is typed. Empty text stands for "not used".
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ubudget.bench.blank import BLANK_VALUES
from ubudget.bench.linearity import LEVEL_POINTS
from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS
from ubudget.bench.readings import POINTS, READINGS
from ubudget.bench.standards import STANDARDS
from ubudget.bench.ware import WARE
from ubudget.pages.placement import Placements
from ubudget.pages.spare_model import (
    CURVES,
    DILUTED,
    DILUTIONS,
    KIND,
    LEVELS,
    PLACE,
    READ_DILUTED,
    READY,
    RESULTS,
    ROW_OF,
    SHOWN_FITTED,
    SHOWN_X,
    SIGNALS,
    STATUS,
    Spare,
)
from ubudget.pages.wording import text_in_formula
from ubudget.quantity.graph import Given, Label
from ubudget.records.crosscheck_items import DELIVERS, RECEIVES
from ubudget.records.run import Run
from ubudget.records.spare_run import by_matrix, ware_of

SAMPLE_NAME = "sample name"


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
    style: str = "label"
    number_format: str = "General"
    heading: str = ""


def spare_cells(spare: Spare, placements: Placements) -> dict[tuple[str, str], Cells]:
    """Table and column → its cells."""
    return _Cells(spare, placements).all()


class _Cells:
    def __init__(self, spare: Spare, placements: Placements) -> None:
        self.spare, self.at = spare, placements
        self.found: dict[tuple[str, str], Cells] = {}
        structure = spare.evaluation.assembly.structure
        run = spare.records.run
        assert structure is not None and run is not None
        self.structure, self.given = structure, run
        self.portion = {portion.solution: n for n, portion in enumerate(structure.portions)}
        self.blank = {portion.solution: n for n, portion in enumerate(structure.blanks)}

    def all(self) -> dict[tuple[str, str], Cells]:
        self._portions(PORTIONS)
        if BLANK_PORTIONS in self.at:
            self._portions(BLANK_PORTIONS)
        if self.spare.steps:
            self._steps(self.spare.steps)
        for name in self.at:
            if name.startswith(DILUTIONS):
                home = PORTIONS if name == self.spare.dilutions else BLANK_PORTIONS
                self._follow(name, "solution", [(home, "sample", n, READY) for n in range(self.size(name))])
        self._standards()
        self._points()
        self._measured()
        self._results()
        if WARE in self.at:
            kinds = {item.id: item.kind for item in ware_of(self.spare.records)}
            names = self.at[WARE].table.texts("item")
            texts = [kinds.get(name, "") for name in names]
            self.put(WARE, KIND, [text_in_formula(text) for text in texts])
        return self.found

    # -- small pieces -----------------------------------------------------------------------------------------------

    def put(self, table: str, column: str, formulas: Sequence[str | None], **more: object) -> None:
        self.found[table, column] = Cells(formulas, **more)  # type: ignore[arg-type]

    def size(self, table: str) -> int:
        return self.at[table].table.size

    def cell(self, table: str, column: str, row: int, seen_from: str) -> str:
        return self.at[table].cell(column, row, self.at[seen_from].sheet)

    def area(self, table: str, column: str, seen_from: str, rows: int | None = None) -> str:
        home = self.at[table]
        if rows is None:
            return home.range(column, self.at[seen_from].sheet)
        letter = home.letters[column]
        return f"{home.prefix(self.at[seen_from].sheet)}${letter}${home.first_row}:${letter}${home.first_row + rows - 1}"

    def _follow(self, table: str, column: str, sources: Sequence[tuple[str, str, int, str]]) -> None:
        """A label taken from another table, shown where a column there (the label itself, or a mark) is not empty."""
        formulas = []
        for source, label, row, mark in sources:
            shown, test = self.cell(source, label, row, table), self.cell(source, mark, row, table)
            formulas.append(f'IF({test}="","",{shown})')
        self.put(table, column, formulas)

    def _open_numbers(self, table: str, part: str, rows: Sequence[int]) -> list[tuple[str, str]]:
        """Opens the numbers that the samples table holds; gives column and heading of each."""
        opened = []
        for column in self.at[table].table.columns:
            places = column.places if isinstance(column, Given) else ()
            place = next((place for place in places if place is not None and place.document == "samples"), None)
            if place is not None:
                field = str(place.path[1])
                self.put(
                    table,
                    column.name,
                    [None] * len(rows),
                    fills=[Fill(part, row, field, place.unit) for row in rows],
                    style="input",
                )
                opened.append((column.name, field))
        return opened

    def _ware(self, table: str, symbol: str, label: str, row: int) -> tuple[str, str, str]:
        """Cell that names a piece of ware, cell of its row, and its texts of what is wrong with it."""
        word = self.spare.word_of(table, symbol)
        name = self.cell(table, label, row, table)
        found = self.cell(table, f"{ROW_OF}{symbol}", row, table)
        wrong = (
            f'IF({name}="","{word} missing. ",IF({found}=0,"{word} "&{name}&" is not on the sheet equipment. ",'
            f"{self._kind(table, symbol, name, found)}))"
        )
        return name, found, wrong

    def _kind(self, table: str, symbol: str, name: str, found: str) -> str:
        if table != self.spare.steps:
            return '""'
        kinds = sorted(DELIVERS if symbol.endswith(".aliquot") else RECEIVES)
        kind = f"INDEX({self.area(WARE, KIND, table)},{found})"
        fits = ",".join(f'{kind}="{each}"' for each in kinds)
        return f'IF(OR({fits}),"",{name}&" does not serve here. ")'

    def _find_ware(self, table: str, used: Callable[[int], str]) -> None:
        """Names of ware to be typed, with the row where each stands among the ware."""
        for symbol, label in self.spare.chosen(table).items():
            word, rows = self.spare.word_of(table, symbol), range(self.size(table))
            part = {PORTIONS: "portion", BLANK_PORTIONS: "blank"}.get(table, "step")
            self.put(
                table,
                label,
                [None] * len(rows),
                fills=[Fill(part, row, word) for row in rows],
                style="input_text",
                heading=word,
            )
            names = self.area(WARE, "item", table)
            cells = [self.cell(table, label, row, table) for row in rows]
            self.put(
                table,
                f"{ROW_OF}{symbol}",
                [f'IF({used(row)},"",IFERROR(MATCH({cells[row]},{names},0),0))' for row in rows],
                style="number",
                number_format="0",
            )

    # -- samples sheet ----------------------------------------------------------------------------------------------

    def _portions(self, table: str) -> None:
        rows = range(self.size(table))
        part = "portion" if table == PORTIONS else "blank"
        fills = [Fill(part, row, "sample") for row in rows]
        self.put(table, "sample", [None] * len(rows), fills=fills, style="input_text")
        sample = [self.cell(table, "sample", row, table) for row in rows]
        self.put(table, "portion", [f'IF({sample[row]}="","","1")' for row in rows])
        if "matrix" in self.at[table].table.by_name:
            self._matrix(table, part, sample)
        self._find_ware(table, lambda row: f'{sample[row]}=""')
        numbers = self._open_numbers(table, part, list(rows))
        texts = []
        for row in rows:
            parts = [self._twice(table, sample[row])]
            parts += [
                f'IF(ISNUMBER({self.cell(table, column, row, table)}),"","{field} missing. ")'
                for column, field in numbers
            ]
            parts += [self._ware(table, symbol, label, row)[2] for symbol, label in self.spare.chosen(table).items()]
            if table == PORTIONS:
                parts += self._portion_needs(row)
            # What is typed in a row without label is told as well.
            typed = [self.cell(table, column, row, table) for column, _ in numbers]
            typed += [self.cell(table, label, row, table) for label in self.spare.chosen(table).values()]
            lost = f'IF(COUNTA({",".join(typed)})>0,"label missing. ","")' if typed else '""'
            texts.append(f'IF({sample[row]}="",{lost},{"&".join(parts)})')
        self.put(table, STATUS, texts, style="flag")
        status = [self.cell(table, STATUS, row, table) for row in rows]
        ready = [f'IF({sample[row]}="","",IF({status[row]}="",1,""))' for row in rows]
        self.put(table, READY, ready, style="number", number_format="0")

    def _matrix(self, table: str, part: str, sample: Sequence[str]) -> None:
        texts = self.at[table].table.texts("matrix")
        if by_matrix(self.spare.records):
            # The cases of the method hold for this matrix.
            texts_shown = [f'IF({sample[row]}="","",{text_in_formula(text)})' for row, text in enumerate(texts)]
            self.put(table, "matrix", texts_shown)
            return
        fills = [Fill(part, row, "matrix") for row in range(len(texts))]
        self.put(table, "matrix", [None] * len(texts), fills=fills, style="input_text")

    def _twice(self, table: str, name: str) -> str:
        """A label that another sample, blank or standard bears."""
        areas = [self.area(PORTIONS, "sample", table)]
        if BLANK_PORTIONS in self.at:
            areas.append(self.area(BLANK_PORTIONS, "sample", table))
        areas.append(self.area(STANDARDS, "standard", table, self._labelled_standards()))
        times = "+".join(f"SUMPRODUCT(({area}={name})*1)" for area in areas)
        return f'IF({times}>1,"label given twice. ","")'

    def _labelled_standards(self) -> int:
        """Rows of the standards' table that hold the labels: those of the first analyte."""
        analytes = self.at[STANDARDS].table.texts("analyte")
        return sum(1 for analyte in analytes if analyte == analytes[0])

    def _portion_needs(self, row: int) -> list[str]:
        parts = []
        if row in self.spare.materials:
            name = self.spare.materials[row]
            words = text_in_formula(f"this row is for the reference material {name}. ")
            parts.append(f'IF({self.cell(PORTIONS, "sample", row, PORTIONS)}={text_in_formula(name)},"",{words})')
        if self.spare.needs_blank:
            first = self.cell(BLANK_PORTIONS, READY, 0, PORTIONS)
            parts.append(f'IF({first}=1,"","first blank not complete. ")')
        if self.spare.steps:
            parts.append(f'IF({self.cell(self.spare.steps, STATUS, row, PORTIONS)}="","","see its dilution. ")')
        parts += self._shared_ware(row)
        return parts

    def _shared_ware(self, row: int) -> list[str]:
        """An individual piece of ware that serves twice for one result: its two deviations are one."""
        mine: list[tuple[str, str]] = []
        for symbol, label in self.spare.chosen(PORTIONS).items():
            mine.append(self._ware(PORTIONS, symbol, label, row)[:2])
        if self.spare.steps:
            for symbol, label in self.spare.chosen(self.spare.steps).items():
                name = self.cell(self.spare.steps, label, row, PORTIONS)
                found = self.cell(self.spare.steps, f"{ROW_OF}{symbol}", row, PORTIONS)
                mine.append((name, found))
        others = []
        if self.spare.needs_blank:
            for label in self.spare.chosen(BLANK_PORTIONS).values():
                others.append(self.cell(BLANK_PORTIONS, label, 0, PORTIONS))
        others += [text_in_formula(name) for name in self.spare.fixed_ware]
        parts = []
        for number, (name, found) in enumerate(mine):
            against = [each for each, _ in mine[:number]] + others
            if against:
                use = f"INDEX({self.area(WARE, 'use', PORTIONS)},MAX({found},1))"
                same = ",".join(f"{name}={each}" for each in against)
                words = f'{name}&" serves twice for this result: evaluate it from files. "'
                parts.append(f'IF(AND(N_OR_ZERO>0,{use}="individual",OR({same})),{words},"")'.replace("N_OR_ZERO", f"SUM({found})"))
        return parts

    def _steps(self, table: str) -> None:
        rows = range(self.size(table))
        self._follow(table, "solution", [(PORTIONS, "sample", row, "sample") for row in rows])
        self.put(table, "step", [f'IF({self.cell(table, "solution", row, table)}="","","1")' for row in rows])
        marks = [f"{READ_DILUTED}{a}" for a in self.spare.analytes if f"{READ_DILUTED}{a}" in self.at[table].letters]
        labels = list(self.spare.chosen(table).values())

        def vacant(row: int) -> str:
            return "AND(" + ",".join(f'{self.cell(table, label, row, table)}=""' for label in labels) + ")"

        self._find_ware(table, vacant)
        for mark in marks:
            fills = [Fill("step", row, mark, "") for row in rows]
            self.put(table, mark, [None] * len(rows), fills=fills, style="input")
        texts, ready = [], []
        for row in rows:
            parts = [self._ware(table, symbol, label, row)[2] for symbol, label in self.spare.chosen(table).items()]
            parts += [
                f'IF({cell}="","",IF(OR({cell}=1,{cell}=0),"","1 or 0 is needed. "))'
                for cell in (self.cell(table, mark, row, table) for mark in marks)
            ]
            lost = f'IF({self.cell(table, "solution", row, table)}="","no sample in this row. ","")'
            texts.append(f'IF({vacant(row)},"",{"&".join([lost, *parts])})')
            ready.append(f'IF({vacant(row)},"",IF({self.cell(table, STATUS, row, table)}="",1,""))')
        self.put(table, STATUS, texts, style="flag")
        self.put(table, READY, ready, style="number", number_format="0")

    # -- standards --------------------------------------------------------------------------------------------------

    def _standards(self) -> None:
        table = self.at[STANDARDS].table
        rows, count = range(table.size), self._labelled_standards()
        run = self.spare.evaluation.records.run
        assert run is not None
        number_of = {standard.label: number for number, standard in enumerate(run.file.standards)}
        first = {label: row for row, label in reversed(list(enumerate(table.texts("standard"))))}
        given = self.given.file.standards
        labels, fills, shown = [], [], []
        for row, label in enumerate(table.texts("standard")):
            number = number_of[label]
            own = first[label] == row
            labels.append(None if own else f'IF({self._label(first[label])}="","",{self._label(first[label])})')
            fills.append(Fill("level", number, "label") if own else None)
            shown.append(given[number].label if own and number < len(given) else None)
        self.put(STANDARDS, "standard", labels, fills=fills, shown=shown, style="input_text")
        self._stated(run, number_of)
        stated = "stated" in table.by_name
        texts, ready = [], []
        for row in rows:
            label = self._label(row)
            prepared = bool(run.file.standards[number_of[table.texts("standard")[row]]].steps)
            cell = "1" if prepared or not stated else self.cell(STANDARDS, "stated", row, STANDARDS)
            twice = f'IF({self._times(label, count)}>1,"label given twice. ","")' if row < count else '""'
            wrong = f'{twice}&IF(OR({cell}="",ISNUMBER({cell})),"","not a number. ")'
            texts.append(f'IF({label}="",IF({cell}="","",{_quoted("" if prepared else "label missing. ")}),{wrong})')
            ready.append(f'IF({label}="","",IF(ISNUMBER({cell}),1,""))')
        self.put(STANDARDS, STATUS, texts, style="flag")
        self.put(STANDARDS, READY, ready, style="number", number_format="0")

    def _label(self, row: int) -> str:
        return self.cell(STANDARDS, "standard", row, STANDARDS)

    def _times(self, label: str, count: int) -> str:
        areas = [self.area(STANDARDS, "standard", STANDARDS, count), self.area(PORTIONS, "sample", STANDARDS)]
        return "+".join(f"SUMPRODUCT(({area}={label})*1)" for area in areas)

    def _stated(self, run: Run, number_of: dict[str, int]) -> None:
        table = self.at[STANDARDS].table
        column = table.by_name.get("stated")
        if not isinstance(column, Given):
            return
        fills: list[Fill | None] = []
        shown: list[float | None] = []
        given = self.given.file.standards
        pairs = zip(table.texts("standard"), table.texts("analyte"), strict=True)
        for row, (label, analyte) in enumerate(pairs):
            number = number_of[label]
            prepared = bool(run.file.standards[number].steps)
            known = number < len(given) and analyte in given[number].concentration
            fills.append(None if prepared else Fill("level", number, analyte, column.unit))
            shown.append(float(column.values[row]) if known and not prepared else None)
        self.put(STANDARDS, "stated", [None] * table.size, fills=fills, shown=shown, style="input")

    # -- readings ---------------------------------------------------------------------------------------------------

    def _reading_columns(self, table: str, part: str, fields: Sequence[str], owners: Sequence[int]) -> None:
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
        include = [
            f'IF({named[r]}="","",IF(ISNUMBER({reading[r]}),IF({reason[r]}="",1,0),""))' for r in rows
        ]
        self.put(table, "include", include, style="number", number_format="0")
        lost = "no level with a concentration in this row. " if table == POINTS else "no sample in this row. "
        texts = [
            f'IF({reading[r]}="",IF({reason[r]}="","","no reading in this row. "),'
            f'IF(ISNUMBER({reading[r]}),IF({named[r]}="",{_quoted(lost)},""),"not a number. "))'
            for r in rows
        ]
        self.put(table, STATUS, texts, style="flag")

    def _points(self) -> None:
        spare, table = self.spare, self.at[POINTS].table
        level, standard = spare.level_of_points, spare.standard_of_level
        sources = [(STANDARDS, "standard", standard[level[row]], READY) for row in range(table.size)]
        self._follow(POINTS, "solution", sources)
        keys = list(zip(*(table.texts(name) for name in ("analyte", "line", "replicate")), strict=True))
        run = spare.evaluation.records.run
        assert run is not None
        number_of = {each.label: number for number, each in enumerate(run.file.standards)}
        owners = [number_of[label] for label in table.texts("solution")]
        self._reading_columns(POINTS, "level", ["|".join(key) for key in keys], owners)
        curve = [spare.evaluation.assembly.structure.lines.index(key[:2]) for key in keys]  # type: ignore[union-attr]
        span = spare.graph.tables[CURVES].references["all mark"]
        for column, source, own in ((SHOWN_X, "x", "x"), (SHOWN_FITTED, "fitted", "fitted")):
            formulas = []
            for row in range(table.size):
                first, last = int(span.start[curve[row]]), int(span.stop[curve[row]]) - 1  # type: ignore[union-attr]

                def rows_of(name: str, first: int = first, last: int = last) -> str:
                    letter = self.at[POINTS].letters[name]
                    return f"{letter}${self.at[POINTS].row(first)}:{letter}${self.at[POINTS].row(last)}"

                at_last = f"SUMIF({rows_of('number')},{self.cell(CURVES, 'last used', curve[row], POINTS)},{rows_of(source)})"
                mark = self.cell(POINTS, "include", row, POINTS)
                formulas.append(f'IF({mark}="",{at_last},{self.cell(POINTS, own, row, POINTS)})')
            self.put(POINTS, column, formulas, style="number", number_format=";;;")
        self._levels(level)

    def _levels(self, level_of_points: Sequence[int]) -> None:
        members: dict[int, list[int]] = {}
        for point, level in enumerate(level_of_points):
            members.setdefault(level, []).append(point)
        labels, places = [], []
        lines = self.at[LEVELS].table.texts("line"), self.at[LEVELS].table.texts("analyte")
        turn: dict[tuple[str, str], int] = {}
        for level in range(self.size(LEVELS)):
            points = members[level]
            first, last = self.cell(POINTS, "include", points[0], LEVELS), self.cell(POINTS, "include", points[-1], LEVELS)
            label = self.cell(POINTS, "solution", points[0], LEVELS)
            labels.append(f'IF(COUNT({first}:{last})=0,"",{label})')
            line = (lines[0][level], lines[1][level])
            turn[line] = turn.get(line, 0) + 1
            places.append(f'IF({self.cell(LEVELS, "standard", level, LEVELS)}="","",{turn[line]})')
        self.put(LEVELS, "standard", labels)
        self.put(LEVELS, PLACE, places, style="number", number_format="0")
        if LEVEL_POINTS in self.at:
            self._follow(LEVEL_POINTS, "standard", [(LEVELS, "standard", n, "standard") for n in range(self.size(LEVELS))])

    def _source(self, solution: str) -> tuple[str, str, int, str]:
        label = solution.removesuffix(", diluted")
        if label in self.blank:
            return BLANK_PORTIONS, "sample", self.blank[label], "sample"
        return PORTIONS, "sample", self.portion[label], "sample"

    def _measured(self) -> None:
        table = self.at[READINGS].table
        sources = [self._source(solution) for solution in table.texts("solution")]
        self._follow(READINGS, "solution", sources)
        keys = zip(*(table.texts(name) for name in ("analyte", "line", "replicate")), strict=True)
        names = ["portion" if source[0] == PORTIONS else "blank" for source in sources]
        fields = [f"{name}|{'|'.join(key)}" for name, key in zip(names, keys, strict=True)]
        self._reading_columns(READINGS, "reading", fields, [source[2] for source in sources])
        self._follow(SIGNALS, "solution", [self._source(item.solution) for item in self.structure.measured])
        if BLANK_VALUES in self.at:
            texts = self.at[BLANK_VALUES].table.texts("solution")
            self._follow(BLANK_VALUES, "solution", [self._source(solution) for solution in texts])

    def _results(self) -> None:
        rows = self.structure.results
        self._follow(RESULTS, SAMPLE_NAME, [(PORTIONS, "sample", row.portion, READY) for row in rows])
        if "solution read" in self.at[RESULTS].table.by_name:
            sources = [(SIGNALS, "solution", row.measured, "solution") for row in rows]
            self._follow(RESULTS, "solution read", sources)
        if not self.spare.steps:
            return
        formulas = []
        for number, row in enumerate(rows):
            ready = self.cell(self.spare.steps, READY, row.portion, RESULTS)
            mark = f"{READ_DILUTED}{row.line[0]}"
            chosen = "1"
            if mark in self.at[self.spare.steps].letters:
                cell = self.cell(self.spare.steps, mark, row.portion, RESULTS)
                chosen = f'IF({cell}="",1,{cell})'
            sample = self.cell(RESULTS, SAMPLE_NAME, number, RESULTS)
            formulas.append(f'IF({sample}="","",IF({ready}=1,{chosen},0))')
        self.put(RESULTS, DILUTED, formulas, style="number", number_format="0")


def _quoted(text: str) -> str:
    return f'"{text}"'


def label_column(table: str, placements: Placements) -> str:
    """The column that names the rows of a table."""
    return next(column.name for column in placements[table].table.columns if isinstance(column, Label))
