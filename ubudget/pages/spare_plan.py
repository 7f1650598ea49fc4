"""The plan of a workbook with spare rows: approved once, filled every day; every calculated number is a formula."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from ubudget.bench.drawn import DRAWN
from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS
from ubudget.bench.readings import POINTS, READINGS
from ubudget.bench.standards import STANDARDS
from ubudget.bench.ware import WARE
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.spare_evaluation import evaluate_spare
from ubudget.pages.book import Book, Choice, Highlight, LooseCell, Sheet
from ubudget.pages.layout import (
    BLANKS,
    BUDGET,
    CALIBRATION,
    CHANGES,
    CHARTS,
    COMPUTATION,
    RECORD,
    RESULTS,
    STATUS,
    TRACEABILITY,
)
from ubudget.pages.layout import READINGS as READINGS_SHEET
from ubudget.pages.liveness import live_cells
from ubudget.pages.placement import Placements, quoted
from ubudget.pages.plan import book_of, placements_in
from ubudget.pages.plan_fingerprint import with_plan_fingerprint
from ubudget.pages.record_sheet import FINGERPRINT_CELL, SPARE_CELL, fingerprint
from ubudget.pages.spare_cell_builder import Cells, Fill
from ubudget.pages.spare_cells import label_column, spare_cells
from ubudget.pages.spare_model import DILUTED, LEVELS, READY, SHOWN_FITTED, SHOWN_X, SHOWN_Y, Spare
from ubudget.pages.spare_model import STATUS as ROW_STATUS
from ubudget.pages.spare_rendering import SpareRenderer
from ubudget.pages.spare_sheets import (
    budget_with_spare,
    calibration_with_spare,
    charts_with_spare,
    checks_with_spare,
    links_with_spare,
    readings_with_spare,
    results_with_spare,
    shaded_off,
    status_with_spare,
    stored_out,
)
from ubudget.quantity.spelling import column_number
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Records
from ubudget.records.spare_rows import SpareRows
from ubudget.records.spare_run import planned_records, specimen_findings

_BELOW = 1
"""Open rows below the last planned one, which take what is too much, so that it can be told."""
END = "end of the planned rows"
FULL = "more rows than planned: they do not count; write a workbook with more"


@dataclass(frozen=True)
class FillCell:
    """An open cell that staff fill, and what it is for."""

    sheet: str
    row: int
    column: str
    fill: Fill

    @property
    def address(self) -> str:
        return f"{self.column}{self.row}"


@dataclass(frozen=True, eq=False)
class SparePlan:
    """The workbook, the cells that are filled, and the rows that hold what is too much."""

    book: Book
    fills: tuple[FillCell, ...]
    overflow: tuple[FillCell, ...]
    evaluation: Evaluation


def plan_spare(records: Records, rows: SpareRows) -> tuple[SparePlan | None, list[Finding]]:
    """The workbook with spare rows for the method of a run; None, with findings, where that is not possible."""
    findings = specimen_findings(records, rows)
    if findings:
        return None, findings
    evaluation, findings = evaluate_spare(planned_records(records, rows))
    if evaluation is None:
        return None, [finding for finding in findings if finding.severity == "stop"]
    spare = Spare(records, evaluation)
    findings = spare.findings()
    if stops(findings):
        return None, findings
    return _Plan(spare, rows).plan(), []


class _Plan:
    def __init__(self, spare: Spare, rows: SpareRows) -> None:
        self.spare, self.rows = spare, rows
        self.at: Placements = placements_in(spare.graph, spare.evaluation)
        self.fingerprint = fingerprint(spare.records.texts, rows.text)
        self.cells: dict[tuple[str, str], Cells] = spare_cells(spare, self.at)

    def plan(self) -> SparePlan:
        evaluation = self.spare.evaluation
        live = live_cells(evaluation.graph, "results")
        renderer = SpareRenderer(self.spare, self.cells, evaluation.numbers, self.at, live)
        book = book_of(evaluation, dict(self.at), renderer)
        self.guards = {name: self.at[name].letters[label_column(name, self.at)] for name in self.spare.keys}
        overflow = tuple(self._overflow())
        sheets = {sheet.name: sheet for sheet in book.sheets if sheet.name not in (TRACEABILITY,)}
        run = self.spare.records.run
        assert run is not None
        specimen = (
            f"Made for {self.rows.text}, after run {run.file.run.id} of {run.file.run.date.isoformat()}: certificates "
            "that count are those of that day."
        )
        sheets[STATUS], fields, warned = status_with_spare(
            sheets[STATUS], list(self._checks(overflow)), specimen, self.fingerprint
        )
        warning = f'IF({warned}>0,"Look at the warnings on the sheet status before you use these results.","")'
        sheets[RESULTS] = results_with_spare(sheets[RESULTS], evaluation, self.at, warning)
        sheets[BUDGET] = budget_with_spare(sheets[BUDGET], evaluation, self.at)
        diluted = DILUTED if self.spare.steps else None
        sheets[COMPUTATION] = links_with_spare(
            sheets[COMPUTATION], self.at, diluted, self.spare.steps, {STANDARDS: READY, LEVELS: "standard"}
        )
        if CHARTS in sheets:
            sheets[CHARTS] = charts_with_spare(sheets[CHARTS], self.at[self.spare.fitted])
        if BLANKS in sheets:
            sheets[BLANKS] = checks_with_spare(sheets[BLANKS], self.at)
        sheets[READINGS_SHEET] = readings_with_spare(sheets[READINGS_SHEET])
        sheets[CALIBRATION] = calibration_with_spare(sheets[CALIBRATION])
        sheets[RECORD] = self._record(sheets[RECORD])
        sheets[CHANGES] = stored_out(sheets[CHANGES])
        made = tuple(self._finished(sheet, overflow) for sheet in sheets.values())
        fills = (*self._fills(), *(FillCell(STATUS, int(a[1:]), "B", Fill("run", 0, f)) for f, a in fields.items()))
        method = self.spare.records.method.document
        title = f"{method.id} for daily use"
        header = f"{method.id}, version {method.version}, {method.status}; for daily use"
        book = with_plan_fingerprint(replace(book, sheets=made, title=title, header=header))
        return SparePlan(book, fills, overflow, evaluation)

    def _record(self, sheet: Sheet) -> Sheet:
        row, column = SPARE_CELL
        cells = [
            replace(cell, value=self.fingerprint) if (cell.row, cell.column) == FINGERPRINT_CELL else cell
            for cell in sheet.cells
        ]
        cells.append(LooseCell(row, 1, "spare rows", "label"))
        cells.append(LooseCell(row, column, self.rows.text, "record", across=3))
        return replace(sheet, cells=tuple(cells))

    def _finished(self, sheet: Sheet, overflow: tuple[FillCell, ...]) -> Sheet:
        """With rows for what is too much, drop-down lists, and empty rows without rules."""
        below = tuple(
            LooseCell(cell.row, column_number(cell.column), None, "input_text", open=True)
            for cell in overflow
            if cell.sheet == sheet.name
        )
        below = (*below, *self._ends(sheet.name, overflow))
        choices = tuple(choice for name, choice in self._choices() if name == sheet.name)
        sheet = replace(sheet, cells=(*sheet.cells, *below), choices=(*sheet.choices, *choices))
        sheet = replace(sheet, highlights=(*sheet.highlights, *self._hidden(sheet.name)))
        return shaded_off(sheet, lambda band: self.guards.get(band))

    def _ends(self, sheet: str, overflow: tuple[FillCell, ...]) -> Iterator[LooseCell]:
        """What the row below the last planned one is, in words."""
        for table in dict.fromkeys(cell.fill.part for cell in overflow if cell.sheet == sheet):
            home = self.at[table]
            row = home.last_row + 1
            mine = ",".join(cell.address for cell in overflow if cell.fill.part == table)
            column = column_number(home.letters[ROW_STATUS])
            yield LooseCell(row, column, None, "flag", f'IF(COUNTA({mine})>0,"{FULL}","{END}")')

    def _hidden(self, sheet: str) -> Iterator[Highlight]:
        """Places of unused points in charts are not shown as numbers."""
        points = self.at[self.spare.fitted]
        if points.sheet == sheet:
            mark = points.letters["include" if self.spare.fitted == POINTS else "standard"]
            for column in (*DRAWN.values(), SHOWN_X, SHOWN_Y, SHOWN_FITTED):
                if column in points.letters:
                    area = points.range(column, sheet).replace("$", "")
                    yield Highlight(area, f'${mark}{points.first_row}=""', "decimals", ";;;")

    def _choices(self) -> Iterator[tuple[str, Choice]]:
        for (table, column), cells in self.cells.items():
            if cells.heading and any(cells.fills) and WARE in self.at:
                home, ware = self.at[table], self.at[WARE]
                source, area = ware.range("item", home.sheet), home.range(column, home.sheet)
                yield home.sheet, Choice(area, source, "an item of the sheet equipment", only=False)
        for row, name in self.spare.materials.items():
            home = self.at[PORTIONS]
            place = home.cell("sample", row, home.sheet)
            yield home.sheet, Choice(place, f'"{name}"', f"this row is for the reference material {name}", only=False)

    def _fills(self) -> Iterator[FillCell]:
        for (table, column), cells in self.cells.items():
            home = self.at[table]
            for row, fill in enumerate(cells.fills):
                if fill is not None:
                    yield FillCell(home.sheet, home.row(row), home.letters[column], fill)

    def _overflow(self) -> Iterator[FillCell]:
        tables = [PORTIONS, BLANK_PORTIONS, self.spare.steps or "", STANDARDS, READINGS, POINTS]
        for (table, column), cells in self.cells.items():
            if table in tables and any(cells.fills):
                home = self.at[table]
                for extra in range(1, _BELOW + 1):
                    yield FillCell(home.sheet, home.last_row + extra, home.letters[column], Fill(table, -1, column))

    def _checks(self, overflow: tuple[FillCell, ...]) -> Iterator[tuple[str, str]]:
        """Name and formula of each warning: empty text where all is well."""
        tables = {
            PORTIONS: "samples",
            BLANK_PORTIONS: "blanks",
            self.spare.steps or "": "dilutions",
            STANDARDS: "standards",
            READINGS: "readings",
            POINTS: "readings of standards",
        }
        for table, words in tables.items():
            if table in self.at:
                status = self.at[table].range(ROW_STATUS, STATUS)
                count = f'SUMPRODUCT(({status}<>"")*1)'
                found = f'"rows that need attention: "&{count}&" (column status, sheet {self.at[table].sheet})"'
                below = [cell for cell in overflow if cell.fill.part == table]
                if below:
                    areas = ",".join(f"{quoted(cell.sheet)}!{cell.address}" for cell in below)
                    yield words, f'IF(COUNTA({areas})>0,"{FULL}",IF({count}>0,{found},""))'
                else:
                    yield words, f'IF({count}>0,{found},"")'
