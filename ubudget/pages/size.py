"""How large a workbook would be, told from the graph before anything is planned."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band
from ubudget.pages.layout import FIRST_BAND
from ubudget.pages.plan import placements_of
from ubudget.quantity.graph import Given
from ubudget.records.finding import Finding

MOST_ROWS = 1_048_576
"""Of a sheet (ECMA-376 leaves it open; the common spreadsheets hold 2**20)."""
MOST_CELLS = 6_000_000
"""Of a workbook: about 18,000 results, 70 MB, and minutes until a spreadsheet has recalculated it. Our choice."""
_AROUND = 100
"""Rows of titles and headings on the sheets whose length is counted here."""


def size_findings(evaluation: Evaluation, path: Path) -> list[Finding]:
    """A finding where the workbook would be too large for one file; never is anything left out of it."""
    placements = placements_of(evaluation).values()
    tables = [placement.table for placement in placements]
    lines = sum(text.text.count("\n") + 1 for text in evaluation.records.texts)
    open_cells = sum(
        int(np.isfinite(column.values).sum())
        for table in tables
        for column in table.columns
        if isinstance(column, Given) and any(place is not None for place in column.places)
    )
    rows = max(
        max((placement.last_row for placement in placements), default=0),
        lines + _AROUND,
        open_cells + _AROUND,
        len(evaluation.keys) + FIRST_BAND + Band.HEADING_ROWS + _AROUND,
    )
    cells = sum(table.size * len(table.columns) for table in tables) + 4 * lines + 7 * open_cells
    if rows <= MOST_ROWS and cells <= MOST_CELLS:
        return []
    return [
        Finding(
            "stop",
            path.name,
            "workbook",
            f"{len(evaluation.keys):,} results, which need about {cells:,} cells and {rows:,} rows on one sheet",
            f"at most {MOST_CELLS:,} cells, and {MOST_ROWS:,} rows on a sheet",
            "write one workbook for each analyte with --by analyte, divide the run, or use evaluate with --csv",
        )
    ]
