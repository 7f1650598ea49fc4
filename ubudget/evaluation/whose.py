"""Whose deviation a line of a budget is, where a result rests on several samples or lines."""

from __future__ import annotations

import numpy as np

from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE
from ubudget.quantity.graph import Label, Leaf, Table

_NAMING = ("sample", SAMPLE, "solution", "analyte", ANALYTE, "line", LINE)
"""Labels that name what a row belongs to."""


def whose(table: Table, leaf: Leaf, row: int) -> str:
    """Sample or solution, analyte and line of an input quantity, `RINSE-1-D, Cu, 324.754`; of one that several rows
    share, what these have in common."""
    same = np.flatnonzero(leaf.members == leaf.members[row])
    labels = [label for name in _NAMING if isinstance(label := table.by_name.get(name), Label)]
    return ", ".join(
        label.values[row]
        for label in labels
        if label.values[row] and all(label.values[other] == label.values[row] for other in same)
    )
