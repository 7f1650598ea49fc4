"""Stored results of a filled workbook with spare rows against the evaluation of the rows that are filled."""

from __future__ import annotations

from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, FACTOR, STANDARD
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.cells_as_read import CellValue
from ubudget.pages.checked_book import Changes
from ubudget.pages.checking_values import Values
from ubudget.pages.layout import COMPUTATION
from ubudget.pages.results_sheet import key_text
from ubudget.pages.spare_plan import SparePlan
from ubudget.quantity.spelling import column_letters

_FIGURES = (STANDARD, EFFECTIVE_DOF, FACTOR, EXPANDED)


def results_shown(plan: SparePlan, evaluation: Evaluation, changes: Changes) -> Values:
    """Value, u, degrees of freedom, k and U of every result that is filled in."""
    (sheet,) = (sheet for sheet in plan.book.sheets if sheet.name == COMPUTATION)
    (band,) = (band for band in sheet.bands if band.name == "results")
    headings = [column.heading for column in band.columns]
    table, own = evaluation.graph.tables["results"], plan.evaluation.graph.tables["results"]
    rows = {key_text(key.sample, key.analyte, key.line): row for row, key in enumerate(evaluation.keys)}
    value = plan.evaluation.assembly.value, evaluation.assembly.value
    wanted: dict[str, CellValue] = {}
    places = {name: column_letters(band.left + number) for number, name in enumerate(headings)}
    for number in range(band.rows):
        row = band.first_row + number
        labels = [changes.stands(COMPUTATION, f"{places[name]}{row}").value for name in _labels(plan)]
        sample, analyte, line = (str(label or "") for label in (*labels, "", "")[:3])
        at = rows.get(key_text(sample, analyte, line or None))
        if at is None:
            continue
        for mine, theirs in (value, *((name, name) for name in _FIGURES)):
            heading = own.by_name[mine].heading
            if heading in places and theirs in table.by_name and evaluation.results[at].value is not None:
                wanted[f"{places[heading]}{row}"] = float(evaluation.column(theirs)[at])
    rest = "stored values of workbooks with spare rows, but for those of the results"
    return Values({COMPUTATION: wanted}, (rest,))


def _labels(plan: SparePlan) -> list[str]:
    table = plan.evaluation.graph.tables["results"]
    return [table.by_name[name].heading for name in ("sample", "analyte", "line") if name in table.by_name]
