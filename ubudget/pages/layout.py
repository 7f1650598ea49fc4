"""Which table stands on which sheet, and in which order."""

from __future__ import annotations

from ubudget.pages.book import Band, LooseCell
from ubudget.pages.placement import Placement
from ubudget.pages.rendering import Renderer
from ubudget.quantity.graph import Graph

STATUS, RESULTS, BUDGET, SIMULATED, TARGETS = "status", "results", "budget", "simulation", "targets"
SAMPLES, READINGS, CORRECTIONS, LINES, STANDARDS, CALIBRATION, ADDITIONS, STEPS, CHARTS, BLANKS = (
    "samples",
    "readings",
    "signal corrections",
    "measured lines",
    "standards",
    "calibration",
    "standard additions",
    "fit steps",
    "calibration charts",
    "blanks and checks",
)
ROUTES, LOW_LEVELS = "both routes", "low levels"
DECISIONS, LEVELS, LEVEL_CHARTS = "decisions", "uncertainty by level", "charts by level"
METHOD, EQUIPMENT, TRACEABILITY, CHANGES, COMPUTATION, INPUTS, RECORD = (
    "method",
    "equipment",
    "traceability",
    "changes",
    "computation",
    "input quantities",
    "record",
)

_SHEET_OF: dict[str, tuple[str, str]] = {
    # table → (sheet, what a reader finds there)
    "portions": (SAMPLES, "Masses, volumes and other quantities of each test portion."),
    "blank portions": (SAMPLES, ""),
    "readings": (
        READINGS,
        "Every reading as recorded. To leave one out, set include to 0 and give reason, name and date beside it.",
    ),
    "internal standard": (
        CORRECTIONS,
        "Order of corrections: readings are divided by the internal standard first, then by the drift D.",
    ),
    "internal standard by solution": (CORRECTIONS, ""),
    "residual drift": (
        CORRECTIONS,
        "Readings are divided by the drift D, linear in position between two checks.",
    ),
    "drift": (CORRECTIONS, "Readings are divided by the drift D, linear in position between two checks."),
    "drift checks": (CORRECTIONS, ""),
    "signal corrections": (CORRECTIONS, ""),
    "internal standard readings": (CORRECTIONS, ""),
    "check readings": (CORRECTIONS, ""),
    "measured lines": (
        LINES,
        "Mean of the readings kept, and the concentration read from the calibration line.",
    ),
    "spectral overlaps": (LINES, ""),
    "pooled scatter": (LINES, ""),
    "curves": (
        CALIBRATION,
        "Curves by least squares on the readings kept, written about their weighted mean.",
    ),
    "weighting": (CALIBRATION, ""),
    "scatter by level": (CALIBRATION, ""),
    "linearity": (CALIBRATION, ""),
    "levels": (CALIBRATION, ""),
    "stocks": (STANDARDS, "How the standards came from their stock solutions."),
    "stocks by the other basis": (STANDARDS, "How the standards came from their stock solutions."),
    "kept standards": (STANDARDS, ""),
    "preparation steps": (STANDARDS, ""),
    "standards": (STANDARDS, ""),
    "standard readings": (CALIBRATION, ""),
    "linearity points": (CALIBRATION, ""),
    "device curves": (
        CALIBRATION,
        "What the curves of the device add to each line, and the evidence.",
    ),
    "exported standards": (CALIBRATION, ""),
    "nominal values": (CALIBRATION, ""),
    "check recoveries": (CALIBRATION, ""),
    "check solutions": (CALIBRATION, ""),
    "check values": (CALIBRATION, ""),
    "addition lines": (
        ADDITIONS,
        "One line for each solution, analyte and line: reading against added concentration, extended to reading zero.",
    ),
    "addition readings": (ADDITIONS, ""),
    "additions": (ADDITIONS, ""),
    "added volumes": (ADDITIONS, ""),
    "both routes": (
        ROUTES,
        "Each result by its budget and by the validation data of the method. F compares the long-term scatter with "
        "what the budget counts of type A.",
    ),
    "blanks": (
        BLANKS,
        "The mean procedural blank of each line is subtracted from every result of that line.",
    ),
    "spectral overlaps of blanks": (BLANKS, ""),
    "blank values": (BLANKS, ""),
    "quality of lines": (BLANKS, ""),
    "quality checks": (BLANKS, ""),
    "detection limits": (
        LOW_LEVELS,
        "Limits hold for the nominal portion; each sample's own are scaled by ∂w/∂c. Class: 1, 2, 3 = below the "
        "quantification, detection, decision limit. Form: 0 = value ± U, 1 and 2 = less than, 3 = not detected, "
        "4 = value by the rule, 5 = bounds.",
    ),
    "low levels": (LOW_LEVELS, ""),
    "scaled limits": (LOW_LEVELS, ""),
    "limits of the run": (LOW_LEVELS, ""),
    "tolerance limits": (
        DECISIONS,
        "Each result beside its limits. Decisions follow the open cells below: limits, guard bands, requirements.",
    ),
    "level functions": (
        LEVELS,
        "Standard uncertainty as a function of the level, within the range in which it holds.",
    ),
    "level function points": (LEVELS, ""),
    "uncertainty by level": (LEVELS, ""),
    "reference materials": (BLANKS, ""),
    "stated targets": (
        TARGETS,
        "U of each result beside its target, and to what part of itself u of the largest group would have to fall.",
    ),
    "targets": (TARGETS, ""),
    "quality limits": (METHOD, ""),
    "reporting": (METHOD, ""),
    "constants": (METHOD, ""),
    "line rule": (METHOD, ""),
    "balances": (EQUIPMENT, "Limits and certified values that enter the results. Half-widths are ±."),
    "repeatability by load": (EQUIPMENT, ""),
    "errors of indication": (EQUIPMENT, ""),
    "check weighings": (EQUIPMENT, ""),
    "weights": (EQUIPMENT, ""),
    "minimum masses": (EQUIPMENT, ""),
    "ware": (EQUIPMENT, ""),
    "certified volumes": (EQUIPMENT, ""),
    "inputs": (INPUTS, "Estimates and uncertainties that the method states, and how each was stated."),
    "observations": (INPUTS, ""),
    "precision": (INPUTS, ""),
    "correlations": (INPUTS, ""),
    "validation data": (INPUTS, ""),
    "lines": (INPUTS, ""),
    "recoveries": (INPUTS, ""),
    "recovery tests": (INPUTS, ""),
    "recovery studies": (INPUTS, ""),
    "recovery references": (INPUTS, ""),
    "atomic weights": (INPUTS, ""),
    "molar masses": (INPUTS, ""),
    "conversion factors": (INPUTS, ""),
    "line points": (INPUTS, ""),
    "portion results": (
        COMPUTATION,
        "One row for each portion and line: the equation, its partial derivatives, the sums.",
    ),
    "line results": (
        COMPUTATION,
        "One row for each result: c(x) sensitivity coefficient, c·u(x) contribution, u the root of the sum of squares.",
    ),
    "values by validation data": (COMPUTATION, ""),
    "simulation": (
        SIMULATED,
        "Monte Carlo propagation of distributions beside the law of propagation (JCGM 101:2008, 7 and 8).",
    ),
    "line pairs": (COMPUTATION, ""),
    "reported values": (COMPUTATION, ""),
    "results": (
        COMPUTATION,
        "One row for each result: c(x) sensitivity coefficient, c·u(x) contribution, u the root of the sum of squares.",
    ),
    "decisions": (COMPUTATION, ""),
}
_DILUTIONS = ("dilution steps of ", "dilutions of ", "buoyancy of ")
"""Tables named after a symbol, behind the portions."""
_PREPARATION = "preparation steps"
_DERIVED = "derived results "
"""Tables of derived results, numbered, behind the results that they are derived from."""
_DERIVED_LOW = "low levels of derived results "
"""Tables of what a rule makes of results below limits, numbered as the derived results are."""
_ITEMS, _STEPS = " by item: ", "fit step "
_ITEMS_BEHIND = {"curves": "standards", "addition lines": "added volumes"}
"""Table of fits → the table behind which its tables of items stand."""

TITLES = {
    STATUS: "Status of this workbook",
    RESULTS: "Reported results",
    BUDGET: "Uncertainty budget of one result",
    TARGETS: "Target uncertainties",
    SIMULATED: "Simulated results",
    SAMPLES: "Samples: weighings, volumes, dilutions",
    READINGS: "Readings",
    CORRECTIONS: "Corrections of readings: internal standard, drift",
    LINES: "Measured lines",
    STANDARDS: "Standards",
    CALIBRATION: "Calibration",
    ADDITIONS: "Standard additions",
    STEPS: "Steps of the curve fits",
    CHARTS: "Calibration charts",
    BLANKS: "Blanks and checks",
    ROUTES: "Both routes to the uncertainty",
    LOW_LEVELS: "Low levels: limits, and results near them",
    DECISIONS: "Decisions on conformity",
    LEVELS: "Uncertainty by level",
    LEVEL_CHARTS: "Charts of uncertainty by level",
    METHOD: "Method",
    EQUIPMENT: "Equipment and reference materials",
    TRACEABILITY: "Traceability: what the results rest on",
    CHANGES: "Changes",
    COMPUTATION: "Computation",
    INPUTS: "Input quantities of the method",
    RECORD: "The record: original data of this workbook",
}
FIRST_BAND = 6
"""Row of the first band's heading; row 1 holds the title, row 2 a note, the row above a heading the band's name."""
NOTE_WIDTH = 8


def sheet_of(table: str) -> str:
    """Name of the sheet that holds a table."""
    if _ITEMS in table:
        return _SHEET_OF[_ITEMS_BEHIND[table.partition(_ITEMS)[0]]][0]
    if table.startswith(_STEPS):
        return STEPS
    if table.startswith(_DERIVED):
        return COMPUTATION
    if table.startswith(_PREPARATION):
        return STANDARDS
    if table.startswith(_DERIVED_LOW):
        return LOW_LEVELS
    return SAMPLES if table.startswith(_DILUTIONS) else _SHEET_OF[table][0]


def _rank(table: str) -> int:
    if table.startswith(_DILUTIONS):
        return list(_SHEET_OF).index("blank portions")
    if _ITEMS in table:
        return list(_SHEET_OF).index(_ITEMS_BEHIND[table.partition(_ITEMS)[0]])
    if table.startswith(_STEPS):
        return list(_SHEET_OF).index("standards")
    if table.startswith(_DERIVED):
        return list(_SHEET_OF).index("line results")
    if table.startswith(_PREPARATION):
        return list(_SHEET_OF).index(_PREPARATION)
    if table.startswith(_DERIVED_LOW):
        return list(_SHEET_OF).index("low levels")
    return list(_SHEET_OF).index(table)


def place_tables(graph: Graph, first_row: dict[str, int]) -> dict[str, Placement]:
    """Tables stacked on their sheets; `first_row` moves the first band of a sheet down (room for text above it)."""
    next_row: dict[str, int] = {}
    placements = {}
    for name in sorted(graph.tables, key=_rank):
        table = graph.tables[name]
        if not table.columns or table.size == 0:
            continue
        sheet = sheet_of(name)
        top = next_row.get(sheet, first_row.get(sheet, FIRST_BAND))
        placements[name] = Placement(table, sheet, top)
        next_row[sheet] = top + Band.HEADING_ROWS + table.size + 2
    return placements


def bands_of(sheet: str, placements: dict[str, Placement], renderer: Renderer) -> list[Band]:
    """The bands of the tables that stand on a sheet."""
    return [
        Band(name, placement.top, placement.left, tuple(renderer.columns(name)), placement.table.title)
        for name, placement in placements.items()
        if placement.sheet == sheet
    ]


def note_of(sheet: str, placements: dict[str, Placement]) -> str:
    """What a reader finds on the sheet."""
    for name, (home, note) in _SHEET_OF.items():
        if home == sheet and note and (name in placements):
            return note
    return ""


def headline(sheet: str, note: str = "") -> list[LooseCell]:
    """Title and note at the head of a sheet."""
    cells = [LooseCell(1, 1, TITLES[sheet], "title")]
    if note:
        cells.append(LooseCell(2, 1, note, "note", across=NOTE_WIDTH))
    return cells
