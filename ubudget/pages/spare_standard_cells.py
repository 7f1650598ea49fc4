"""Cells of the standards of a workbook with spare rows: labels and concentrations, their readings, levels in use."""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.bench.linearity import LEVEL_POINTS
from ubudget.bench.portions import PORTIONS
from ubudget.bench.readings import POINTS
from ubudget.bench.standards import STANDARDS
from ubudget.pages.spare_cell_builder import CellBuilder, Fill, in_quotes
from ubudget.pages.spare_model import CURVES, LEVELS, PLACE, READY, SHOWN_FITTED, SHOWN_X, SHOWN_Y, STATUS
from ubudget.quantity.graph import Given, Span
from ubudget.records.run import Run


class StandardCells(CellBuilder):
    """Standards, their readings, levels and the points of the linearity test."""

    def build(self) -> None:
        self._standards()
        self._points()
        self._shown()

    def _standards(self) -> None:
        table = self.at[STANDARDS].table
        rows, count = range(table.size), self.labelled_standards()
        run = self.planned
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
            needed = self._unread(row) if table.texts("standard")[row] in self.spare.prepared else '""'
            missing = "" if prepared else "label missing. "
            texts.append(f'{needed}&IF({label}="",IF({cell}="","",{in_quotes(missing)}),{wrong})')
            ready.append(f'IF({label}="","",IF(ISNUMBER({cell}),1,""))')
        self.put(STANDARDS, STATUS, texts, style="flag")
        self.put(STANDARDS, READY, ready, style="number", number_format="0")

    def _unread(self, row: int) -> str:
        """A prepared standard without reading, once others are read."""
        levels = [level for level, standard in enumerate(self.spare.standard_of_level) if standard == row]
        names = ",".join(f'{self.cell(LEVELS, "standard", level, STANDARDS)}=""' for level in levels)
        read = self.area(POINTS, "reading", STANDARDS)
        return f'IF(COUNT({read})=0,"",IF(OR({names}),"not read, but prepared standards are needed all. ",""))'

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

    def _points(self) -> None:
        spare, table = self.spare, self.at[POINTS].table
        level, standard = spare.level_of_points, spare.standard_of_level
        sources = [(STANDARDS, "standard", standard[level[row]], READY) for row in range(table.size)]
        self.follow(POINTS, "solution", sources)
        keys = list(zip(*(table.texts(name) for name in ("analyte", "line", "replicate")), strict=True))
        number_of = {each.label: number for number, each in enumerate(self.planned.file.standards)}
        owners = [number_of[label] for label in table.texts("solution")]
        self.reading_columns(POINTS, "level", ["|".join(key) for key in keys], owners)
        self._levels(level)

    def _shown(self) -> None:
        """Points as the charts draw them: unused ones lie on the last one used of their curve."""
        table = self.spare.fitted
        home, spans = self.at[table], self.spare.graph.tables[CURVES].references["all mark"]
        assert isinstance(spans, Span)
        lines = list(zip(home.table.texts("analyte"), home.table.texts("line"), strict=True))
        mark, ordinate = ("include", "reading") if table == POINTS else ("standard", "mean")
        for column, source in ((SHOWN_X, "x"), (SHOWN_Y, ordinate), (SHOWN_FITTED, "fitted")):
            formulas = []
            for row in range(self.size(table)):
                curve = self.structure.lines.index(lines[row])
                first, last = int(spans.start[curve]), int(spans.stop[curve]) - 1

                def rows_of(name: str, first: int = first, last: int = last) -> str:
                    return f"{home.letters[name]}${home.row(first)}:{home.letters[name]}${home.row(last)}"

                used = self.cell(CURVES, "last used", curve, table)
                at_last = f"SUMIF({rows_of('number')},{used},{rows_of(source)})"
                test, own = self.cell(table, mark, row, table), self.cell(table, source, row, table)
                formulas.append(f'IF({test}="",{at_last},{own})')
            self.put(table, column, formulas, style="number", number_format=";;;")

    def _levels(self, level_of_points: Sequence[int]) -> None:
        members: dict[int, list[int]] = {}
        for point, level in enumerate(level_of_points):
            members.setdefault(level, []).append(point)
        labels, places = [], []
        lines = self.at[LEVELS].table.texts("line"), self.at[LEVELS].table.texts("analyte")
        turn: dict[tuple[str, str], int] = {}
        for level in range(self.size(LEVELS)):
            points = members[level]
            first, last = (
                self.cell(POINTS, "include", points[0], LEVELS),
                self.cell(POINTS, "include", points[-1], LEVELS),
            )
            label = self.cell(POINTS, "solution", points[0], LEVELS)
            labels.append(f'IF(COUNT({first}:{last})=0,"",{label})')
            line = (lines[0][level], lines[1][level])
            turn[line] = turn.get(line, 0) + 1
            places.append(f'IF({self.cell(LEVELS, "standard", level, LEVELS)}="","",{turn[line]})')
        self.put(LEVELS, "standard", labels)
        self.put(LEVELS, PLACE, places, style="number", number_format="0")
        if LEVEL_POINTS in self.at:
            self.follow(
                LEVEL_POINTS, "standard", [(LEVELS, "standard", n, "standard") for n in range(self.size(LEVELS))]
            )
