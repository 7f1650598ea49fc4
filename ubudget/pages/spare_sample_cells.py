"""Cells of the samples sheet of a workbook with spare rows: what is typed, look-ups of ware, and what is missing."""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS
from ubudget.bench.standards import STANDARDS
from ubudget.bench.ware import WARE
from ubudget.pages.spare_cell_builder import CellBuilder, Fill
from ubudget.pages.spare_model import READ_DILUTED, READY, ROW_OF, STATUS
from ubudget.pages.wording import text_in_formula
from ubudget.records.spare_run import by_matrix


class SampleCells(CellBuilder):
    """Portions, blanks and dilution steps."""

    def build(self) -> None:
        tables = (PORTIONS, BLANK_PORTIONS, self.spare.steps or "")
        self.fixed = {
            (table, symbol): self.spare.fixed_ware(table, symbol)
            for table in tables
            for symbol in self.spare.chosen(table)
        }
        self._portions(PORTIONS)
        if BLANK_PORTIONS in self.at:
            self._portions(BLANK_PORTIONS)
        if self.spare.steps:
            self._steps(self.spare.steps)

    def _portions(self, table: str) -> None:
        rows = range(self.size(table))
        part = "portion" if table == PORTIONS else "blank"
        fills = [Fill(part, row, "sample") for row in rows]
        self.put(table, "sample", [None] * len(rows), fills=fills, style="input_text")
        sample = [self.cell(table, "sample", row, table) for row in rows]
        self.put(table, "portion", [f'IF({sample[row]}="","","1")' for row in rows])
        if "matrix" in self.at[table].table.by_name:
            self._matrix(table, part, sample)
        self.find_ware(table, lambda row: f'{sample[row]}=""')
        numbers = self.open_numbers(table, part, list(rows))
        texts = []
        for row in rows:
            parts = [self.twice(table, sample[row])]
            parts += [
                f'IF(ISNUMBER({self.cell(table, column, row, table)}),"","{field} missing. ")'
                for column, field in numbers
            ]
            parts += [self.ware(table, symbol, label, row)[2] for symbol, label in self.spare.chosen(table).items()]
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

    def twice(self, table: str, name: str) -> str:
        """A label that another sample, blank or standard bears."""
        areas = [self.area(PORTIONS, "sample", table)]
        if BLANK_PORTIONS in self.at:
            areas.append(self.area(BLANK_PORTIONS, "sample", table))
        areas.append(self.area(STANDARDS, "standard", table, self.labelled_standards()))
        times = "+".join(f"SUMPRODUCT(({area}={name})*1)" for area in areas)
        return f'IF({times}>1,"label given twice. ","")'

    def _portion_needs(self, row: int) -> list[str]:
        parts = []
        if row in self.spare.materials:
            name = self.spare.materials[row]
            words = text_in_formula(f"this row is for the reference material {name}. ")
            parts.append(f'IF({self.cell(PORTIONS, "sample", row, PORTIONS)}={text_in_formula(name)},"",{words})')
        if self.spare.needs_blank:
            first = self.cell(BLANK_PORTIONS, READY, 0, PORTIONS)
            parts.append(f'IF({first}=1,"","first blank not complete. ")')
        if self.spare.prepared:
            status = self.area(STANDARDS, STATUS, PORTIONS)
            parts.append(f'IF(SUMPRODUCT(({status}<>"")*1)>0,"see the standards. ","")')
        if self.spare.steps:
            parts.append(f'IF({self.cell(self.spare.steps, STATUS, row, PORTIONS)}="","","see its dilution. ")')
        parts += self._shared_ware(row)
        return parts

    def _shared_ware(self, row: int) -> list[str]:
        """An individual piece of ware that serves twice for one result: its two deviations are one."""
        used: list[tuple[str, str, list[str]]] = []
        tables = [(BLANK_PORTIONS, 0)] if self.spare.needs_blank else []
        tables += [(PORTIONS, row), *([(self.spare.steps, row)] if self.spare.steps else [])]
        for table, at in tables:
            for symbol, label in self.spare.chosen(table).items():
                name = self.cell(table, label, at, PORTIONS)
                found = self.cell(table, f"{ROW_OF}{symbol}", at, PORTIONS)
                used.append((name, found, self.fixed[table, symbol]))
        use = self.area(WARE, "use", PORTIONS) if used else ""
        parts = []
        for number, (name, found, fixed) in enumerate(used):
            tests = [f"{name}={text_in_formula(each)}" for each in fixed]
            if number:
                same = ",".join(f"{name}={each}" for each, _, _ in used[:number])
                tests.append(f'AND(INDEX({use},MAX({found},1))="individual",OR({same}))')
            if tests:
                words = f'{name}&" serves twice for this result: evaluate it from files. "'
                parts.append(f'IF(AND(SUM({found})>0,OR({",".join(tests)})),{words},"")')
        return parts

    def _steps(self, table: str) -> None:
        rows = range(self.size(table))
        self.follow(table, "solution", [(PORTIONS, "sample", row, "sample") for row in rows])
        self.put(table, "step", [f'IF({self.cell(table, "solution", row, table)}="","","1")' for row in rows])
        marks = [f"{READ_DILUTED}{a}" for a in self.spare.analytes if f"{READ_DILUTED}{a}" in self.at[table].letters]
        labels = list(self.spare.chosen(table).values())

        def vacant(row: int) -> str:
            return "AND(" + ",".join(f'{self.cell(table, label, row, table)}=""' for label in labels) + ")"

        self.find_ware(table, vacant)
        for mark in marks:
            fills = [Fill("step", row, mark, "") for row in rows]
            self.put(table, mark, [None] * len(rows), fills=fills, style="input")
        texts, ready = [], []
        for row in rows:
            parts = [self.ware(table, symbol, label, row)[2] for symbol, label in self.spare.chosen(table).items()]
            parts += [
                f'IF({cell}="","",IF(OR({cell}=1,{cell}=0),"","1 or 0 is needed. "))'
                for cell in (self.cell(table, mark, row, table) for mark in marks)
            ]
            lost = f'IF({self.cell(table, "solution", row, table)}="","no sample in this row. ","")'
            texts.append(f'IF({vacant(row)},"",{"&".join([lost, *parts])})')
            ready.append(f'IF({vacant(row)},"",IF({self.cell(table, STATUS, row, table)}="",1,""))')
        self.put(table, STATUS, texts, style="flag")
        self.put(table, READY, ready, style="number", number_format="0")
