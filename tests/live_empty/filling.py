"""A run's figures typed into a workbook with spare rows, as staff would, and its results read from the cells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import openpyxl

from tests.engines import Edit, Values
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.verbs import read_run
from ubudget.files.workbook_writer import write_book
from ubudget.pages.layout import BUDGET, RESULTS
from ubudget.pages.spare_model import READ_DILUTED
from ubudget.pages.spare_plan import FillCell, SparePlan, plan_spare
from ubudget.records.amount import Amount
from ubudget.records.records import Records
from ubudget.records.run import Portion, Run
from ubudget.records.spare_rows import SpareRows

EXAMPLES = Path(__file__).resolve().parents[2] / "worked_examples"
COLUMNS = ("quantity", "symbol", "group", "estimate", "u(x)", "unit", "type A, B", "distribution", "c", "unit of c",
           "c·u(x)", "share of u²", "ν")  # fmt: skip


def example(name: str) -> Records:
    """A worked example; of samples with several portions the first alone, since a row is a sample."""
    return first_portions(read_run(EXAMPLES / name))


def first_portions(records: Records) -> Records:
    run = records.run
    assert run is not None
    kept = tuple(portion for portion in run.portions if portion.portion == 1)
    names = {portion.solution for portion in kept} | {standard.label for standard in run.file.standards}
    solutions = tuple(solution for solution in run.solutions if solution.source in names)
    names |= {solution.label for solution in solutions}
    readings = tuple(reading for reading in run.readings if reading.solution in names)
    return replace(records, run=replace(run, portions=kept, solutions=solutions, readings=readings))


def planned(records: Records, samples: int, levels: int, replicates: int, blanks: int) -> SparePlan:
    plan, findings = plan_spare(records, SpareRows(samples, levels, replicates, blanks))
    assert plan is not None, findings
    return plan


@dataclass
class Filling:
    """Cells to fill, by what they are for."""

    plan: SparePlan

    def __post_init__(self) -> None:
        self.cell = {(c.fill.part, c.fill.row, c.fill.field): c for c in self.plan.fills}
        self.edits: list[Edit] = []

    def put(self, part: str, row: int, field: str, value: object) -> None:
        cell: FillCell = self.cell[part, row, field]
        self.edits.append((cell.sheet, cell.address, value))


def typed(plan: SparePlan, records: Records) -> list[Edit]:
    """The cells that show the run: samples, blanks, levels and readings from the first row on, others emptied."""
    run = records.run
    assert run is not None
    filling = Filling(plan)
    for cell in filling.cell.values():
        if cell.fill.part == "level":
            filling.edits.append((cell.sheet, cell.address, None))
    sheet = run.file.run
    for field, value in (("id", sheet.id), ("date", sheet.date.isoformat()), ("analyst", sheet.analyst)):
        filling.put("run", 0, field, value)
    for number, standard in enumerate(run.file.standards):
        filling.put("level", number, "label", standard.label)
        for analyte, amount in standard.concentration.items():
            filling.put("level", number, analyte, amount.value)
        _readings(filling, run, "level", number, "", {standard.label: None})
    structure = plan.evaluation.assembly.structure
    assert structure is not None
    material_rows = {p.sample: n for n, p in enumerate(structure.portions) if p.kind == "reference material"}
    free = iter(n for n, p in enumerate(structure.portions) if p.kind == "sample")
    blank_rows = iter(range(len(structure.blanks)))
    for portion in run.portions:
        if portion.kind == "blank":
            _portion(filling, run, portion, "blank", next(blank_rows))
        else:
            row = material_rows[portion.sample] if portion.kind == "reference material" else next(free)
            _portion(filling, run, portion, "portion", row)
    return filling.edits


def _portion(filling: Filling, run: Run, portion: Portion, part: str, row: int) -> None:
    filling.put(part, row, "sample", portion.sample)
    if (part, row, "matrix") in filling.cell:
        filling.put(part, row, "matrix", portion.matrix)
    for field, value in portion.columns.items():
        if (part, row, field) in filling.cell:
            filling.put(part, row, field, value.value if isinstance(value, Amount) else value)
    solutions: dict[str, Sequence[str] | None] = {portion.solution: None}
    for solution in run.solutions:
        if solution.source == portion.solution:
            (step,) = solution.steps
            filling.put("step", row, "pipette", step.aliquot)
            filling.put("step", row, "flask", step.to)
            solutions[solution.label] = solution.reports
            for cell in filling.plan.fills:
                analyte = cell.fill.field.removeprefix(READ_DILUTED)
                if cell.fill.part == "step" and cell.fill.row == row and analyte != cell.fill.field:
                    read = not solution.reports or analyte in solution.reports
                    filling.put("step", row, cell.fill.field, 1 if read else 0)
    _readings(filling, run, "reading", row, f"{part}|", solutions)


def _readings(
    filling: Filling, run: Run, part: str, row: int, prefix: str, solutions: dict[str, Sequence[str] | None]
) -> None:
    """Readings of the solution whose result is reported on each line: the last one that reports the analyte."""
    excluded = {(e.solution, e.analyte, e.line, e.replicate): e for e in run.file.exclusions}
    last = {}
    for reading in run.readings:
        reports = solutions.get(reading.solution, ())
        if reading.solution in solutions and (not reports or reading.analyte in reports):
            last[reading.analyte, reading.line] = reading
    for (analyte, line), reading in last.items():
        for replicate, value in enumerate(reading.values, start=1):
            key = f"{prefix}{analyte}|{line}|{replicate}"
            filling.put(part, row, f"{key}|reading", value)
            mark = excluded.get((reading.solution, analyte, line, replicate))
            if mark is not None:
                filling.put(part, row, f"{key}|reason", mark.reason)
                filling.put(part, row, f"{key}|who", mark.who)
                filling.put(part, row, f"{key}|when", mark.when.isoformat() if mark.when else None)


def write_filled(plan: SparePlan, edits: Sequence[Edit], path: Path) -> Path:
    """The workbook with cells filled, saved as a spreadsheet program would."""
    write_book(plan.book, path, force=True)
    book = openpyxl.load_workbook(path)
    for sheet, address, value in edits:
        book[sheet][address].value = value
    book.save(path)
    return path


def budget_edits(evaluation: Evaluation, row: int) -> list[Edit]:
    result = evaluation.results[row]
    name = f"{result.analyte} {result.line}" if result.line else result.analyte
    return [(BUDGET, "B4", result.sample), (BUDGET, "B5", name)]


def result_rows(values: Values, plan: SparePlan) -> dict[tuple[str, str], dict[str, object]]:
    """Shown results by sample and measured quantity, from recalculated cells."""
    band = next(sheet for sheet in plan.book.sheets if sheet.name == RESULTS).bands[0]
    rows = {}
    for row in range(band.first_row, band.last_row + 1):
        cells = {
            column.heading: values[RESULTS].get(f"{chr(64 + band.left + n)}{row}")
            for n, column in enumerate(band.columns)
        }
        if cells["sample"] not in (None, ""):
            rows[str(cells["sample"]), str(cells["measured quantity"])] = cells
    return rows


def budget_rows(values: Values, plan: SparePlan) -> dict[str, dict[str, object]]:
    """Rows of the printed budget by symbol, from recalculated cells."""
    band = next(sheet for sheet in plan.book.sheets if sheet.name == BUDGET).bands[0]
    rows = {}
    for row in range(band.first_row, band.last_row + 1):
        cells = {name: values[BUDGET].get(f"{chr(64 + n)}{row}") for n, name in enumerate(COLUMNS, start=1)}
        if cells["symbol"] not in (None, ""):
            rows[str(cells["symbol"])] = cells
    return rows
