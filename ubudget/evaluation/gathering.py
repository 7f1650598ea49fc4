"""Paths of different rows to one kind of input quantity, gathered into one: a table that joins results of several
tables has one column for a balance's indication, not one for each of these tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ubudget.evaluation.paths import Path
from ubudget.quantity.derivative import tidy
from ubudget.quantity.expression import Expression, Symbol
from ubudget.quantity.graph import Pick, Reference

Masked = Callable[[Path, np.ndarray, int], Expression]
"""The sensitivity of a path in the rows that are marked, the exact 0 elsewhere; its number tells it apart."""


def gathered(paths: Sequence[Path], reference_of: Callable[[str], Reference | None], masked: Masked) -> list[Path]:
    """The paths, those to one leaf that share no row added up.

    A later path joins the first one to the same leaf that has none of its rows; each keeps its sensitivity there."""
    groups: list[list[int]] = []
    rows: list[np.ndarray] = []
    for number, path in enumerate(paths):
        here = path.rows >= 0
        for group, taken in zip(groups, rows, strict=True):
            if paths[group[0]].leaf == path.leaf and not (here & (taken >= 0)).any():
                group.append(number)
                np.copyto(taken, path.rows, where=here)
                break
        else:
            groups.append([number])
            rows.append(path.rows.copy())
    return [_joined(paths, group, taken, reference_of, masked) for group, taken in zip(groups, rows, strict=True)]


def _joined(
    paths: Sequence[Path],
    group: Sequence[int],
    rows: np.ndarray,
    reference_of: Callable[[str], Reference | None],
    masked: Masked,
) -> Path:
    first = paths[group[0]]
    if len(group) == 1:
        return first
    total: Expression | None = None
    for number in group:
        path = paths[number]
        here = path.rows >= 0
        part = path.sensitivity if _ends_with_rows(path, reference_of) else masked(path, here, number)
        total = part if total is None else total + part
    assert total is not None
    return Path(first.leaf, rows, tidy(total))


def _ends_with_rows(path: Path, reference_of: Callable[[str], Reference | None]) -> bool:
    """Whether a sensitivity is picked in the path's own rows alone, and so the exact 0 in all others."""
    if not isinstance(path.sensitivity, Symbol):
        return False
    reference = reference_of(path.sensitivity.name)
    return isinstance(reference, Pick) and reference.absent == 0 and not ((reference.rows >= 0) & (path.rows < 0)).any()
