"""A run's figures typed into a workbook with spare rows, as staff would, and its results read from the cells."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tests.engines import Edit, Values
from tests.typed_cells import type_into
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.verbs import read_run
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages.layout import BUDGET, RESULTS
from ubudget.pages.spare_model import READ_DILUTED
from ubudget.pages.spare_plan import FillCell, SparePlan, plan_spare
from ubudget.pages.wording import interval_text
from ubudget.quantity.spelling import column_letters
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


def part_of(records: Records, samples: Sequence[int], levels: Sequence[int], blanks: int, replicates: int) -> Records:
    """A run of some of its samples, levels and blanks, with fewer replicates; materials are left out."""
    run = records.run
    assert run is not None
    all_samples = [portion for portion in run.portions if portion.kind == "sample"]
    all_blanks = [portion for portion in run.portions if portion.kind == "blank"]
    portions = (*all_blanks[:blanks], *(all_samples[number] for number in samples))
    standards = tuple(run.file.standards[number] for number in levels)
    sources = {portion.solution for portion in portions}
    solutions = tuple(solution for solution in run.solutions if solution.source in sources)
    names = sources | {standard.label for standard in standards} | {solution.label for solution in solutions}
    readings = tuple(
        replace(reading, values=reading.values[:replicates]) for reading in run.readings if reading.solution in names
    )
    marks = tuple(e for e in run.file.exclusions if e.solution in names and e.replicate <= replicates)
    file = replace(run.file, standards=standards, exclusions=marks)
    return replace(records, run=replace(run, file=file, portions=portions, solutions=solutions, readings=readings))


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


@dataclass(frozen=True)
class Rows:
    """Rows to use for samples and levels, in order; those of the blanks begin with the first."""

    samples: Sequence[int] = range(400)
    levels: Sequence[int] = range(40)
    blanks: Sequence[int] = range(40)


def typed(plan: SparePlan, records: Records, rows: Rows | None = None) -> list[Edit]:
    """The cells that show the run; levels that the workbook shows as issued are emptied where the run has none."""
    rows = rows or Rows()
    run = records.run
    assert run is not None
    filling = Filling(plan)
    for cell in filling.cell.values():
        if cell.fill.part == "level":
            filling.edits.append((cell.sheet, cell.address, None))
    sheet = run.file.run
    for field, value in (("id", sheet.id), ("date", sheet.date.isoformat()), ("analyst", sheet.analyst)):
        filling.put("run", 0, field, value)
    for number, standard in zip(rows.levels, run.file.standards, strict=False):
        filling.put("level", number, "label", standard.label)
        for analyte, amount in standard.concentration.items():
            filling.put("level", number, analyte, amount.value)
        _readings(filling, run, "level", number, "", {standard.label: None})
    structure = plan.evaluation.assembly.structure
    assert structure is not None
    material_rows = {p.sample: n for n, p in enumerate(structure.portions) if p.kind == "reference material"}
    free, blank_rows = iter(rows.samples), iter(rows.blanks)
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


def empty_bytes(plan: SparePlan) -> bytes:
    """The workbook as issued, written once for the tests that fill one plan in turn."""
    if not _LAST or _LAST[0][0] is not plan:
        _LAST[:] = [(plan, book_bytes(plan.book))]
    return _LAST[0][1]


_LAST: list[tuple[SparePlan, bytes]] = []


def write_filled(plan: SparePlan, edits: Sequence[Edit], path: Path) -> Path:
    """The workbook with cells filled."""
    path.write_bytes(empty_bytes(plan))
    return type_into(path, edits)


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


def shown_where_empty(values: Values, plan: SparePlan, edits: Sequence[Edit]) -> list[str]:
    """Calculated cells that show something in rows whose label, or whose reading, is empty.

    The places of points in charts are left aside: a chart has no way to leave a calculated cell out, so unused points
    lie on the last point used (their cells show nothing by their number format)."""
    typed_in = {(sheet, address): value for sheet, address, value in edits}
    waiting = {*SPARE_TABLES, "results", "reported results", "linearity points", "levels", "blank values"}
    found = []
    for sheet in plan.book.sheets:
        for band in sheet.bands:
            if band.name not in waiting and not band.name.startswith(("dilutions of", "dilution steps")):
                continue
            headings = [column.heading for column in band.columns]
            for row in range(band.rows):
                at = band.first_row + row
                cells = {
                    heading: typed_in.get((sheet.name, f"{column_letters(band.left + n)}{at}"))
                    if column.formulas is None or column.formulas[row] is None
                    else values[sheet.name].get(f"{column_letters(band.left + n)}{at}")
                    for n, (heading, column) in enumerate(zip(headings, band.columns, strict=True))
                }
                label = cells["sample"] if "sample" in cells else cells[headings[0]]
                if label in (None, ""):
                    kept = set[str]()
                elif "reading" in cells and cells["reading"] is None:
                    kept = {"solution", "analyte", "line", "replicate"}
                else:
                    continue
                found += [
                    f"{sheet.name}!{heading} {at}: {value!r}"
                    for heading, value in cells.items()
                    if value not in (None, "") and heading not in kept and "for the chart" not in heading
                ]
    return found


SPARE_TABLES = ("portions", "blank portions", "readings", "measured lines", "standards", "standard readings")


def disagreements(values: Values, plan: SparePlan, evaluation: Evaluation) -> list[str]:
    """Reported figures that differ from those of the evaluation, and results shown that it lacks."""
    rows = result_rows(values, plan)
    found = []
    names = set()
    for result in evaluation.results:
        name = result.sample, f"{result.analyte} {result.line}" if result.line else result.analyte
        names.add(name)
        expected = {
            "value": result.reported_value,
            "U": result.reported_expanded_uncertainty,
            "u": result.standard_uncertainty,
            "k": result.coverage_factor,
            "ν_eff": 1e99
            if result.coverage_factor and result.effective_degrees_of_freedom is None
            else result.effective_degrees_of_freedom,
            "reported": interval_text(result),
        }
        for heading, value in expected.items():
            if not alike(rows.get(name, {}).get(heading), value):
                found.append(f"{name}, {heading}: expected {value!r}, found {rows.get(name, {}).get(heading)!r}")
    found += [f"{name}: shown, but not in the evaluation" for name in rows if name not in names]
    return found


def budget_disagreements(values: Values, plan: SparePlan, evaluation: Evaluation, row: int) -> list[str]:
    """Rows of the printed budget against those of the evaluation."""
    rows = budget_rows(values, plan)
    expected = {line.symbol: line for line in evaluation.results[row].budget}
    found = [f"{symbol}: in one budget alone" for symbol in rows.keys() ^ expected.keys()]
    for symbol, line in expected.items():
        cells = rows.get(symbol, {})
        for heading, value in (
            ("estimate", line.estimate),
            ("u(x)", line.standard_uncertainty),
            ("c", line.sensitivity_coefficient),
            ("c·u(x)", line.contribution),
            ("share of u²", line.share),
            ("ν", 1e99 if line.degrees_of_freedom is None else line.degrees_of_freedom),
            ("group", line.group),
            ("type A, B", line.evaluation),
        ):
            if not alike(cells.get(heading), value):
                found.append(f"{symbol}, {heading}: expected {value!r}, found {cells.get(heading)!r}")
    return found


def alike(found: object, expected: object) -> bool:
    """Numbers to 1e-9, an empty cell like nothing, else the same."""
    if isinstance(expected, (int, float)) and isinstance(found, (int, float)):
        return math.isclose(found, expected, rel_tol=1e-9, abs_tol=1e-14)
    return (found or None) == (expected or None)


def errors_in(values: Values) -> list[str]:
    return [
        f"{sheet}!{cell} {value}"
        for sheet, cells in values.items()
        for cell, value in cells.items()
        if isinstance(value, str) and value.startswith("#")
    ]
