"""Sheets of words around the tables, made to follow rows that may be empty: results, budget, status, charts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from ubudget.bench.portions import PORTIONS
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band, Chart, Highlight, LooseCell, Sheet, Value
from ubudget.pages.layout import BUDGET, CHARTS, COMPUTATION, RESULTS, STATUS
from ubudget.pages.placement import Placement, Placements
from ubudget.pages.results_sheet import FLAGS, KEY
from ubudget.pages.spare_cells import SAMPLE_NAME
from ubudget.pages.spare_model import SHOWN_FITTED, SHOWN_X, SHOWN_Y
from ubudget.pages.spare_model import STATUS as ROW_STATUS
from ubudget.pages.text_sheets import last_row_of
from ubudget.pages.verdicts import NAME as VERDICTS
from ubudget.pages.verdicts import NOT_TESTED
from ubudget.pages.wording import NOT_AVAILABLE, line_label, text_in_formula
from ubudget.quantity.spelling import column_letters

WARNINGS = "warnings"
_WHEN_MADE = ", when this workbook was made"
"""End of the names of counts that hold for a run's figures alone."""
LEAVE_OUT = "An empty cell is no reading. To leave a reading out, give the reason beside it, with name and date."
CURVES_NOTE = "Curves by least squares on the readings kept."
RUN_FIELDS = {"run": "id", "date of the run": "date", "analyst": "analyst"}
"""Name on the status sheet → field of the run."""
_HEADINGS = {"run": "run", "date of the run": "date of the run (yyyy-mm-dd)", "analyst": "analyst"}


def unsaved(cells: Sequence[LooseCell]) -> tuple[LooseCell, ...]:
    """Calculated cells without a stored value: the figures are those of no day."""
    return tuple(replace(cell, value=None) if cell.formula is not None else cell for cell in cells)


def _without_values(band: Band) -> Band:
    columns = []
    for column in band.columns:
        formulas = column.formulas or [None] * band.rows
        values: list[Value] = [None if f is not None else v for f, v in zip(formulas, column.values, strict=True)]
        columns.append(replace(column, values=values))
    return replace(band, columns=tuple(columns))


def results_with_spare(sheet: Sheet, evaluation: Evaluation, placements: Placements, warned: str) -> Sheet:
    """Rows follow the samples; a sample that is not complete says so in place of its result."""
    band = sheet.bands[0]
    headings = [column.heading for column in band.columns]
    sample = column_letters(headings.index("sample") + 1)
    home, portions = placements["results"], placements[PORTIONS]
    rows = range(band.rows)
    keys = evaluation.keys

    def own(row: int) -> str:
        return f"${sample}{band.first_row + row}"

    def following(texts: Sequence[str]) -> list[str | None]:
        return [f'IF({own(row)}="","",{text})' for row, text in zip(rows, texts, strict=True)]

    names = [portions.cell("sample", key.portions[0], RESULTS) for key in keys]
    status = [portions.cell(ROW_STATUS, key.portions[0], RESULTS) for key in keys]
    known = [home.cell(SAMPLE_NAME, row, RESULTS) for row in rows]
    columns = []
    for column in band.columns:
        if column.heading == "sample":
            formulas: list[str | None] = [f'IF({name}="","",{name})' for name in names]
        elif column.heading == KEY:
            words = [text_in_formula(f" | {line_label(key.analyte, key.line)}") for key in keys]
            formulas = [f'IF({known[row]}="","",{known[row]}&{words[row]})' for row in rows]
        elif column.formulas is None:
            formulas = following([text_in_formula(str(value or "")) for value in column.values])
        else:
            waiting = ['""'] * band.rows
            if column.heading == FLAGS:
                waiting = status
            elif column.heading == "reported":
                waiting = [f'"{NOT_AVAILABLE}"'] * band.rows
            formulas = following(
                [f'IF({known[row]}="",{waiting[row]},{column.formulas[row]})' for row in rows],
            )
        columns.append(replace(column, values=[None] * band.rows, formulas=formulas, number_formats=None))
    area = f"A{band.first_row}:{column_letters(len(headings))}{band.last_row}"
    return replace(
        sheet,
        bands=(replace(band, columns=tuple(columns)),),
        cells=(*sheet.cells, LooseCell(4, 1, None, "flag", warned, across=8)),
        highlights=(*sheet.highlights, Highlight(area, f'{own(0)}=""', "vacant")),
    )


def budget_with_spare(sheet: Sheet, evaluation: Evaluation, placements: Placements) -> Sheet:
    """The choice of samples follows the samples typed; nothing is chosen as issued."""
    portions = placements[PORTIONS]
    samples = list(dict.fromkeys(key.portions[0] for key in evaluation.keys))
    bands = []
    for band in sheet.bands:
        if band.name == "choices":
            typed = [portions.cell("sample", number, BUDGET) for number in samples]
            formulas: list[str | None] = [f'IF({name}="","",{name})' for name in typed]
            formulas += [None] * (band.rows - len(formulas))
            offered = replace(band.columns[0], values=[None] * band.rows, formulas=formulas)
            band = replace(band, columns=(offered, *band.columns[1:]))
        bands.append(_without_values(band))
    # As issued the sheet shows the first sample typed; a choice takes the formula's place.
    first = portions.cell("sample", samples[0], BUDGET)
    cells = [
        replace(cell, value=None, formula=f'IF({first}="","",{first})') if (cell.row, cell.column) == (4, 2) else cell
        for cell in unsaved(sheet.cells)
    ]
    return replace(sheet, bands=tuple(bands), cells=tuple(cells))


def readings_with_spare(sheet: Sheet) -> Sheet:
    """What leaves a reading out here."""
    cells = [replace(cell, value=LEAVE_OUT) if (cell.row, cell.column) == (2, 1) else cell for cell in sheet.cells]
    return replace(sheet, cells=tuple(cells))


def calibration_with_spare(sheet: Sheet) -> Sheet:
    """Words on the curves without stored value, with room for their longest."""
    bands = []
    for band in sheet.bands:
        if band.name == VERDICTS:
            columns = [
                replace(column, longest=[NOT_TESTED] * band.rows) if column.formulas else column
                for column in band.columns
            ]
            band = _without_values(replace(band, columns=tuple(columns)))
        bands.append(band)
    note = LooseCell(2, 1, f"{CURVES_NOTE} {LEAVE_OUT}", "note", across=8)
    cells = [note if (cell.row, cell.column) == (2, 1) else cell for cell in sheet.cells]
    return replace(sheet, bands=tuple(bands), cells=tuple(cells))


def links_with_spare(
    sheet: Sheet, placements: Placements, diluted: str | None, steps: str | None, marks: Mapping[str, str]
) -> Sheet:
    """Sheet rows beside the computation, which the budget looks up: none while a row waits, or is not diluted, or where
    the level is not in use. `marks` gives the tables of levels and their column that is then empty."""
    home = placements["results"]
    name = f"${home.letters[SAMPLE_NAME]}"
    count = len(home.columns)
    of_steps = placements[steps].table.title if steps else ""
    of_levels = {placements[name].table.title: name for name in marks if name in placements}
    bands = []
    for band in sheet.bands:
        if band.name == "results":
            added = []
            for column in band.columns[count:]:
                formulas: list[str | None] = []
                for row, value in enumerate(column.values):
                    at = home.row(row)
                    shown = f"{value:g}" if isinstance(value, (int, float)) else "0"
                    if diluted and column.remark == of_steps:
                        shown = f"IF({home.letters[diluted]}{at}=1,{shown},0)"
                    elif column.remark in of_levels and isinstance(value, int):
                        there = placements[of_levels[column.remark]]
                        mark = f"{there.prefix(COMPUTATION)}{there.letters[marks[there.table.name]]}{value}"
                        shown = f'IF({mark}="",0,{shown})'
                    formulas.append(f'IF({name}{at}="","",{shown})')
                added.append(
                    replace(column, values=[None] * band.rows, formulas=formulas, style="number", number_format="0;;")
                )
            band = replace(band, columns=(*band.columns[:count], *added))
        bands.append(band)
    return replace(sheet, bands=tuple(bands))


def status_with_spare(
    sheet: Sheet, checks: Sequence[tuple[str, str]], specimen: str, fingerprint: str
) -> tuple[Sheet, dict[str, str], str]:
    """Fields of the run to fill in, and what is wrong with the filling; gives the sheet, the cell of each field, and
    the cell that counts the warnings."""
    cells = []
    fields = {}
    names = {cell.row: str(cell.value) for cell in sheet.cells if cell.column == 1}
    for cell in unsaved(sheet.cells):
        name = names.get(cell.row, "")
        if name.endswith(_WHEN_MADE):
            continue
        if cell.column == 2 and name in RUN_FIELDS:
            fields[RUN_FIELDS[name]] = f"B{cell.row}"
            cell = replace(cell, value=None, style="input_text", open=True)
        elif cell.column == 1 and name in _HEADINGS:
            cell = replace(cell, value=_HEADINGS[name])
        elif cell.column == 2 and name == "fingerprint of the records":
            cell = replace(cell, value=fingerprint)
        elif cell.column == 2 and name == "stored values":
            cell = replace(cell, value="none: the program that opens the workbook calculates it")
        cells.append(cell)
    top = last_row_of(cells, 1) + 3
    count = LooseCell(top, 2, None, "result", f'SUMPRODUCT((B{top + 1}:B{top + len(checks)}<>"")*1)', number_format="0")
    cells += [LooseCell(top, 1, WARNINGS, "label"), count]
    for number, (name, formula) in enumerate(checks, start=1):
        cells.append(LooseCell(top + number, 1, name, "label"))
        cells.append(LooseCell(top + number, 2, None, "flag", formula, across=6))
    cells.append(LooseCell(top + len(checks) + 2, 1, specimen, "note", across=7))
    return replace(sheet, bands=(), cells=tuple(cells), widths={1: 46.0, 2: 20.0}), fields, f"{STATUS}!$B${top}"


def charts_with_spare(sheet: Sheet, points: Placement) -> Sheet:
    """Unused points lie on the last point used, where they are not seen."""
    prefix = points.prefix(CHARTS)
    instead = {
        f"{prefix}${points.letters[old]}$": f"{prefix}${points.letters[new]}$"
        for old, new in (("x", SHOWN_X), ("reading", SHOWN_Y), ("mean", SHOWN_Y), ("fitted", SHOWN_FITTED))
        if old in points.letters
    }

    def moved(reference: str | None) -> str | None:
        for old, new in instead.items():
            if reference and reference.startswith(old):
                first, _, last = reference.partition(":")
                return (
                    new
                    + first.removeprefix(old)
                    + ":"
                    + last.replace(old.removeprefix(prefix), new.removeprefix(prefix))
                )
        return reference

    def redrawn(chart: Chart) -> Chart:
        return replace(chart, series=tuple(replace(s, y=moved(s.y) or s.y, x=moved(s.x)) for s in chart.series))

    return replace(sheet, charts=tuple(redrawn(chart) for chart in sheet.charts))


def checks_with_spare(sheet: Sheet, placements: Placements) -> Sheet:
    """Reference materials: their comparison is empty until the material is measured."""
    bands = []
    for band in sheet.bands:
        if band.name == "reference materials":
            first = band.first_row
            found = column_letters([column.heading for column in band.columns].index("found") + 1)
            columns = []
            for column in band.columns:
                if column.formulas is not None:
                    formulas: list[str | None] = []
                    for row, formula in enumerate(column.formulas):
                        if "MATCH(" in str(formula):
                            formulas.append(f'IFERROR({formula},"")')
                        else:
                            formulas.append(f'IF({found}{first + row}="","",{formula})')
                    column = replace(column, formulas=formulas)
                columns.append(column)
            band = _without_values(replace(band, columns=tuple(columns)))
        bands.append(band)
    return replace(sheet, bands=tuple(bands))


def shaded_off(sheet: Sheet, labels: Callable[[str], str | None]) -> Sheet:
    """Rows whose label is empty lose their rules."""
    added = []
    for band in sheet.bands:
        letter = labels(band.name)
        if letter is not None:
            right = column_letters(band.left + len(band.columns) - 1)
            area = f"A{band.first_row}:{right}{band.last_row}"
            added.append(Highlight(area, f'${letter}{band.first_row}=""', "vacant"))
    return replace(sheet, highlights=(*sheet.highlights, *added))


def stored_out(sheet: Sheet) -> Sheet:
    """The sheet without stored values of calculated cells."""
    return replace(sheet, bands=tuple(_without_values(band) for band in sheet.bands), cells=unsaved(sheet.cells))
