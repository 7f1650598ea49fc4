"""Fields of a record that several cells show: one of them is open, the others follow it.

A column of the samples that two weighings use (the empty bottle of an oil and of its solution) is one field, and was
written down once: were each of its cells open, an edit of one would leave the other as it was.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from math import isclose

import numpy as np

from ubudget.pages.liveness import Mask
from ubudget.pages.placement import Placement, Placements
from ubudget.quantity.graph import Given, Place
from ubudget.records.unit_comparison import in_unit

Home = tuple[str, str, int]
"""Table, column and row."""


def followers(placements: Placements, live: Mapping[tuple[str, str], Mask]) -> dict[tuple[str, str], dict[int, str]]:
    """Formulas of given cells whose field an open cell shows already: its address, times the factor between their
    units; by table and column, then by row."""
    shown: dict[Hashable, list[tuple[Home, Placement, Place]]] = {}
    for home, placement, place in _given_cells(placements):
        shown.setdefault((place.document, place.path), []).append((home, placement, place))
    found: dict[tuple[str, str], dict[int, str]] = {}
    for cells in shown.values():
        first = next((cell for cell in cells if _reached(live, cell[0])), None)
        for home, placement, place in cells if first is not None and len(cells) > 1 else ():
            assert first is not None
            (_, column, row), there, said = first
            factor = _factor(said.unit, place.unit)
            if home != first[0] and factor is not None:
                address = there.cell(column, row, placement.sheet)
                table, name, at = home
                found.setdefault((table, name), {})[at] = address if factor == 1 else f"{address}*{factor:.15g}"
    return found


def _given_cells(placements: Placements) -> Iterator[tuple[Home, Placement, Place]]:
    """Cells with a number from a field of the records, in the order of the tables."""
    for name, placement in placements.items():
        for column in placement.columns:
            if isinstance(column, Given):
                for row in np.flatnonzero(np.isfinite(column.values)).tolist():
                    place = column.places[row]
                    if place is not None:
                        yield (name, column.name, row), placement, place


def _reached(live: Mapping[tuple[str, str], Mask], home: Home) -> bool:
    table, column, row = home
    return (table, column) in live and bool(live[table, column][row])


def _factor(given: str, wanted: str) -> float | None:
    """From one unit to another; `None` where no factor leads there."""
    if given == wanted:
        return 1.0
    one, two = in_unit(1.0, given, wanted), in_unit(2.0, given, wanted)
    return one if one is not None and two is not None and isclose(two, 2 * one, rel_tol=1e-12) else None
