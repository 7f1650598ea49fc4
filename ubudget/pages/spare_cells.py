"""Cells that only a workbook with spare rows has: labels that follow the sample, marks, status texts, look-ups."""

from __future__ import annotations

from ubudget.bench.blank import BLANK_VALUES
from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS
from ubudget.bench.readings import READINGS
from ubudget.bench.ware import WARE
from ubudget.pages.placement import Placements
from ubudget.pages.spare_cell_builder import CellBuilder, Found
from ubudget.pages.spare_model import DILUTED, DILUTIONS, KIND, READ_DILUTED, READY, RESULTS, SIGNALS, Spare
from ubudget.pages.spare_sample_cells import SampleCells
from ubudget.pages.spare_standard_cells import StandardCells
from ubudget.pages.wording import text_in_formula
from ubudget.quantity.graph import Label
from ubudget.records.spare_run import ware_of

SAMPLE_NAME = "sample name"


def spare_cells(spare: Spare, placements: Placements) -> Found:
    """Table and column → its cells."""
    found: Found = {}
    for builder in (SampleCells, StandardCells, _ResultCells):
        builder(spare, placements, found).build()
    return found


class _ResultCells(CellBuilder):
    """What follows the samples: readings, measured lines, dilution factors, blanks, results."""

    def build(self) -> None:
        self.portion = {portion.solution: n for n, portion in enumerate(self.structure.portions)}
        self.blank = {portion.solution: n for n, portion in enumerate(self.structure.blanks)}
        for name in self.at:
            if name.startswith(DILUTIONS):
                home = PORTIONS if name == self.spare.dilutions else BLANK_PORTIONS
                self.follow(name, "solution", [(home, "sample", n, READY) for n in range(self.size(name))])
        self._measured()
        self._results()
        if WARE in self.at:
            kinds = {item.id: item.kind for item in ware_of(self.spare.records)}
            names = self.at[WARE].table.texts("item")
            self.put(WARE, KIND, [text_in_formula(kinds.get(name, "")) for name in names])

    def _source(self, solution: str) -> tuple[str, str, int, str]:
        label = solution.removesuffix(", diluted")
        if label in self.blank:
            return BLANK_PORTIONS, "sample", self.blank[label], "sample"
        return PORTIONS, "sample", self.portion[label], "sample"

    def _measured(self) -> None:
        table = self.at[READINGS].table
        sources = [self._source(solution) for solution in table.texts("solution")]
        self.follow(READINGS, "solution", sources)
        keys = zip(*(table.texts(name) for name in ("analyte", "line", "replicate")), strict=True)
        names = ["portion" if source[0] == PORTIONS else "blank" for source in sources]
        fields = [f"{name}|{'|'.join(key)}" for name, key in zip(names, keys, strict=True)]
        self.reading_columns(READINGS, "reading", fields, [source[2] for source in sources])
        self.follow(SIGNALS, "solution", [self._source(item.solution) for item in self.structure.measured])
        if BLANK_VALUES in self.at:
            texts = self.at[BLANK_VALUES].table.texts("solution")
            self.follow(BLANK_VALUES, "solution", [self._source(solution) for solution in texts])

    def _results(self) -> None:
        rows = self.structure.results
        self.follow(RESULTS, SAMPLE_NAME, [(PORTIONS, "sample", row.portion, READY) for row in rows])
        if "solution read" in self.at[RESULTS].table.by_name:
            sources = [(SIGNALS, "solution", row.measured, "solution") for row in rows]
            self.follow(RESULTS, "solution read", sources)
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


def label_column(table: str, placements: Placements) -> str:
    """The column that names the rows of a table."""
    return next(column.name for column in placements[table].table.columns if isinstance(column, Label))
