"""The plan of a workbook: an evaluation laid out on sheets, every calculated number as a live formula."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from ubudget.evaluation.conclusions import CONCLUDED
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band, BandColumn, Book, LooseCell, Sheet
from ubudget.pages.budget_sheet import budget_sheet
from ubudget.pages.changes_sheet import changes_sheet
from ubudget.pages.charts import charts_sheet
from ubudget.pages.decisions_sheet import decision_rows, decisions_sheet
from ubudget.pages.evidence import with_evidence
from ubudget.pages.layout import (
    ADDITIONS,
    BLANKS,
    CALIBRATION,
    COMPUTATION,
    CORRECTIONS,
    DECISIONS,
    EQUIPMENT,
    FIRST_BAND,
    INPUTS,
    LEVELS,
    LINES,
    LOW_LEVELS,
    METHOD,
    READINGS,
    ROUTES,
    SAMPLES,
    SIMULATED,
    STANDARDS,
    STATUS,
    STEPS,
    TARGETS,
    bands_of,
    headline,
    note_of,
    place_tables,
)
from ubudget.pages.level_charts import level_charts_sheet
from ubudget.pages.liveness import live_cells
from ubudget.pages.material_words import with_verdicts
from ubudget.pages.paper import on_paper
from ubudget.pages.placement import Placement
from ubudget.pages.plan_fingerprint import with_plan_fingerprint
from ubudget.pages.record_sheet import open_cells, record_sheet
from ubudget.pages.rendering import Renderer
from ubudget.pages.results_sheet import FLAGS, ResultsSheet, results_sheet
from ubudget.pages.row_links import row_links
from ubudget.pages.simulation_sheet import (
    FIRST_OF_SIMULATED,
    out_of_date,
    simulated_beside,
    simulation_sheet,
)
from ubudget.pages.targets_band import target_rows, targets_band
from ubudget.pages.text_sheets import (
    findings_band,
    last_row_of,
    method_cells,
    register_bands,
    status_cells,
)
from ubudget.pages.trace_sheet import traceability_sheet
from ubudget.pages.verdicts import first_row_behind, verdict_band, verdict_rows
from ubudget.quantity.graph import Graph
from ubudget.version import __version__

PROGRAM = f"ubudget {__version__}"
MARKED = ("readings", "standard readings", "addition readings", "internal standard readings", "check readings")
"""Tables of single readings with include marks."""


def plan_book(evaluation: Evaluation, modified: dt.datetime | None = None) -> Book:
    """The workbook of an evaluation; `modified` defaults to midnight of the run's date, so that the same records give
    the same bytes."""
    evaluation = simulated_beside(evaluation)
    placements = placements_of(evaluation)
    live = live_cells(evaluation.graph, "results", *CONCLUDED)
    book = book_of(evaluation, placements, Renderer(evaluation.numbers, placements, live), modified)
    return with_plan_fingerprint(book)


def book_of(
    evaluation: Evaluation, placements: dict[str, Placement], renderer: Renderer, modified: dt.datetime | None = None
) -> Book:
    """The sheets of an evaluation whose tables are placed, each column as the renderer gives it."""
    method_text = method_cells(evaluation)
    results = results_sheet(evaluation, placements)
    links = row_links(evaluation, placements)
    budget = budget_sheet(evaluation, placements, links, results)
    verdicts = verdict_band(evaluation, placements)
    data = [
        sheet
        for name in (SAMPLES, READINGS, CORRECTIONS, LINES, STANDARDS, CALIBRATION, ADDITIONS)
        if (sheet := _table_sheet(name, placements, renderer, verdicts if name == CALIBRATION else None)) is not None
    ]
    charts = charts_sheet(evaluation, placements)
    targets = _table_sheet(TARGETS, placements, renderer, targets_band(evaluation, placements))
    blanks = _blanks_sheet(evaluation, placements, renderer)
    routes = _table_sheet(ROUTES, placements, renderer)
    low_levels = _table_sheet(LOW_LEVELS, placements, renderer)
    decisions = decisions_sheet(evaluation, placements, renderer)
    levels = _table_sheet(LEVELS, placements, renderer)
    method = Sheet(
        METHOD, tuple(bands_of(METHOD, placements, renderer)), tuple(method_text), widths={1: 26.0}, landscape=False
    )
    equipment = _equipment_sheet(evaluation, placements, renderer)
    traceability = traceability_sheet(evaluation, placements)
    inputs = _table_sheet(INPUTS, placements, renderer)
    steps = _table_sheet(STEPS, placements, renderer)
    computation = _computation_sheet(placements, renderer, links.columns)
    concluded = (low_levels, decisions, levels)
    editable = [sheet for sheet in (targets, *data, blanks, *concluded, method, equipment, inputs) if sheet is not None]
    changes = changes_sheet(evaluation.records, open_cells(editable))
    status = _status_sheet(evaluation, placements, results, changes.changed_count)
    order = (
        status,
        results.sheet,
        decisions,
        budget,
        simulation_sheet(evaluation, placements, renderer),
        targets,
        *data,
        charts,
        blanks,
        low_levels,
        levels,
        level_charts_sheet(placements),
        method,
        equipment,
        traceability,
        routes,
        changes.sheet,
        inputs,
        computation,
        steps,
        record_sheet(evaluation.records, PROGRAM),
    )
    document = evaluation.records.method.document
    return Book(
        tuple(sheet for sheet in order if sheet is not None),
        f"{document.id} {evaluation.records.name}",
        f"{document.id}, version {document.version}, {document.status}; run {evaluation.records.name}",
        PROGRAM,
        modified or _midnight(evaluation),
    )


def placements_of(evaluation: Evaluation) -> dict[str, Placement]:
    """Where each table of the evaluation stands in its workbook."""
    return placements_in(with_evidence(evaluation.graph), evaluation)


def placements_in(graph: Graph, evaluation: Evaluation) -> dict[str, Placement]:
    """Where each table of a graph stands: that of the evaluation, with what a workbook adds to its tables."""
    first_rows = {
        METHOD: last_row_of(method_cells(evaluation), 1) + 3,
        CALIBRATION: first_row_behind(verdict_rows(graph)),
        SIMULATED: FIRST_OF_SIMULATED,
        TARGETS: first_row_behind(target_rows(graph)),
        DECISIONS: first_row_behind(decision_rows(graph)),
    }
    return place_tables(graph, first_rows)


def _midnight(evaluation: Evaluation) -> dt.datetime:
    run, document = evaluation.records.run, evaluation.records.method.document
    day = run.file.run.date if run else document.effective or dt.date(2000, 1, 1)
    return dt.datetime(day.year, day.month, day.day)


def _table_sheet(
    name: str, placements: dict[str, Placement], renderer: Renderer, before: Band | None = None
) -> Sheet | None:
    bands = ([before] if before else []) + bands_of(name, placements, renderer)
    if not bands:
        return None
    single = bands[0] if len(bands) == 1 else None
    sheet = Sheet(
        name,
        tuple(bands),
        tuple(headline(name, note_of(name, placements))),
        freeze=f"A{single.first_row}" if single else None,
        repeat_rows=(single.top, single.first_row - 1) if single else None,
    )
    return on_paper(sheet, placements)


def _computation_sheet(placements: dict[str, Placement], renderer: Renderer, links: tuple[BandColumn, ...]) -> Sheet:
    sheet = _table_sheet(COMPUTATION, placements, renderer)
    assert sheet is not None
    bands = tuple(
        replace(band, columns=(*band.columns, *links)) if band.name == "results" else band for band in sheet.bands
    )
    return replace(sheet, bands=bands)


def _blanks_sheet(evaluation: Evaluation, placements: dict[str, Placement], renderer: Renderer) -> Sheet | None:
    bands = with_verdicts(bands_of(BLANKS, placements, renderer), evaluation, placements)
    if not bands:
        return None
    return on_paper(Sheet(BLANKS, tuple(bands), tuple(headline(BLANKS, note_of(BLANKS, placements)))), placements)


def _equipment_sheet(evaluation: Evaluation, placements: dict[str, Placement], renderer: Renderer) -> Sheet | None:
    bands = bands_of(EQUIPMENT, placements, renderer)
    top = bands[-1].last_row + 4 if bands else FIRST_BAND
    bands += register_bands(evaluation.records, top)
    if not bands:
        return None
    sheet = Sheet(EQUIPMENT, tuple(bands), tuple(headline(EQUIPMENT, note_of(EQUIPMENT, placements))))
    return on_paper(sheet, placements)


def _status_sheet(
    evaluation: Evaluation, placements: dict[str, Placement], results: ResultsSheet, changed: str
) -> Sheet:
    marks = [
        f"COUNTIF({placement.range('include', STATUS)},0)" for name, placement in placements.items() if name in MARKED
    ]
    flagged = f'SUMPRODUCT(({results.range(FLAGS)}<>"")*1)'
    simulated = out_of_date(evaluation, placements)
    cells: list[LooseCell] = status_cells(
        evaluation, PROGRAM, "+".join(marks) if marks else None, changed, flagged, simulated
    )
    band: Band | None = findings_band(evaluation.findings, last_row_of(cells, 1) + 4)
    return Sheet(
        STATUS,
        (band,) if band else (),
        tuple(cells),
        widths={} if band else {1: 46.0, 2: 20.0},
        landscape=False,
    )
