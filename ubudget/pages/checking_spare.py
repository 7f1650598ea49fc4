"""Stored results of a filled workbook with spare rows against the evaluation of the rows that are filled."""

from __future__ import annotations

from collections.abc import Mapping

from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, FACTOR, STANDARD
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.cells_as_read import CellValue
from ubudget.pages.checked_book import Changes
from ubudget.pages.checking_values import Values
from ubudget.pages.layout import COMPUTATION
from ubudget.pages.results_sheet import key_text
from ubudget.pages.spare_plan import SparePlan
from ubudget.quantity.spelling import column_letters

_LABELS = ("sample", "analyte", "line")
"""Headings of what names a result."""
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
        sample, analyte, line = (_stands(changes, places, name, row) for name in _LABELS)
        at = rows.get(key_text(sample, analyte, line or None))
        if at is None:
            continue
        for mine, theirs in (value, *((name, name) for name in _FIGURES)):
            heading = own.by_name[mine].heading
            if heading in places and theirs in table.by_name and evaluation.results[at].value is not None:
                wanted[f"{places[heading]}{row}"] = float(evaluation.column(theirs)[at])
    rest = "stored values but those of the results, in a workbook with spare rows"
    return Values({COMPUTATION: wanted}, (rest,))


def _stands(changes: Changes, places: Mapping[str, str], heading: str, row: int) -> str:
    value = changes.stands(COMPUTATION, f"{places[heading]}{row}").value if heading in places else None
    return f"{value:.15g}" if isinstance(value, float) else value or ""
