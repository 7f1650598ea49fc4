"""Rendering 2: tables of the graph as columns of cells, each formula beside the library's value."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.pages.book import BandColumn, Origin, Value
from ubudget.pages.formats import AS_TYPED, format_for, shown_figure
from ubudget.pages.liveness import Mask
from ubudget.pages.placement import Placement, Placements
from ubudget.pages.shown_twice import followers
from ubudget.pages.spelled import Spelled, Wording, figures, formula_texts
from ubudget.pages.ways import Way, ways_of
from ubudget.quantity.graph import Array, Column, Formula, Given, Label, Pick, Place, Rows, Span
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.spelling import cell_text

POINTS_OF_FITS = (
    "standard readings",
    "addition readings",
    "levels",
    "linearity points",
    "line points",
    "fit step",
    "level function points",
)
"""Beginnings of the names of tables over whose rows a fit sums."""
THREADED = 100
"""From this number of neighbouring cells with one formula on, LibreOffice calculates them in several threads. Version
7.4 then takes the residuals of a fit, which look at sums over such cells, for a circle (#VALUE!). Formulas
that differ by brackets are calculated one by one."""


class Renderer:
    """Turns columns of placed tables into planned columns."""

    def __init__(self, numbers: Numbers, placements: Placements, live: dict[tuple[str, str], Mask]) -> None:
        self._numbers, self._placements, self._live = numbers, placements, live
        self._followers = followers(placements, live)

    def columns(self, table: str) -> list[BandColumn]:
        """All columns of a table, in order."""
        placement = self._placements[table]
        return [self._column(placement, column) for column in placement.columns]

    def _column(self, placement: Placement, column: Column) -> BandColumn:
        if isinstance(column, Label):
            return self._label(placement, column)
        if isinstance(column, Given):
            return self._given(placement, column)
        return self._formula(placement, column)

    def _label(self, placement: Placement, column: Label) -> BandColumn:
        open_cells = [column.open and place is not None for place in column.places] or None
        longest = max((len(text) for text in column.values), default=0)
        return BandColumn(
            heading=column.heading,
            values=[text or None for text in column.values] if not column.open else column.values,
            style="input_text" if column.open else ("label" if longest <= 24 else "text"),
            open=open_cells,
            origins=_origins(column.places) if column.open else None,
            width=float(min(max(10, longest + 2), 30)),
        )

    def _given(self, placement: Placement, column: Given) -> BandColumn:
        present = np.isfinite(column.values)
        live = self._live.get((placement.table.name, column.name), np.zeros(placement.table.size, dtype=np.bool_))
        followed = self._followers.get((placement.table.name, column.name), {})
        placed = np.fromiter((place is not None for place in column.places), np.bool_, placement.table.size)
        placed[list(followed)] = False
        open_cells = (present & live & placed).tolist()
        fixed = format_for(column.values) if (column.values >= 1e90).any() else AS_TYPED
        return BandColumn(
            heading=column.heading,
            values=figures(column.values, present),
            style="input" if any(open_cells) else "fixed",
            unit=column.unit,
            formulas=[followed.get(row) for row in range(placement.table.size)] if followed else None,
            open=open_cells,
            origins=_origins(column.places),
            number_format=fixed,
            width=_figures_width([f"{value:.10g}" for value in (column.values[present])]),
        )

    def _formula(self, placement: Placement, column: Formula) -> BandColumn:
        numbers = self._numbers.column(placement.table.name, column.name)
        formulas, values = self._cells(placement, column, numbers)
        number_format = format_for(numbers)
        return BandColumn(
            heading=column.heading,
            values=values,
            style="number",
            unit=column.unit,
            formulas=formulas,
            number_format=number_format,
            width=_figures_width([shown_figure(value, number_format) for value in _extremes(numbers)]),
            remark=column.clause,
        )

    def _cells(
        self, placement: Placement, column: Formula, numbers: Array
    ) -> tuple[Sequence[str | None], Sequence[Value]]:
        which = np.full(placement.table.size, -1, dtype=np.int16)
        wordings: list[Wording] = []
        for way in ways_of(placement.table, column):
            if not way.blank:
                which[way.rows] = len(wordings)
                wordings.append(self._wording(placement, way))
        apart = placement.table.name.startswith(POINTS_OF_FITS) and placement.table.size >= THREADED
        texts = formula_texts(wordings, which, placement.first_row, apart)
        # What has no finite value has a formula all the same, and nothing stored beside it.
        return texts, figures(numbers, (which >= 0) & np.isfinite(numbers))

    def _wording(self, placement: Placement, way: Way) -> Wording:
        """Formula text with a place for every row number, and those row numbers."""
        rows_of: dict[str, tuple[Rows, int]] = {}

        def resolve(symbol: str) -> str:
            reference = placement.table.references.get(symbol)
            if reference is None:
                return f"{placement.letters[symbol]}{{r}}"
            there = self._placements[reference.table]
            prefix, letter = there.prefix(placement.sheet), there.letters[reference.column]
            if isinstance(reference, Pick):
                if there is placement and (reference.rows[way.rows] == way.rows).all():
                    return f"{letter}{{r}}"
                name = f"p{len(rows_of)}"
                rows_of[name] = (reference.rows, there.first_row)
                return f"{prefix}{letter}{{{name}}}"
            assert isinstance(reference, Span)
            if (reference.start[way.rows] == reference.stop[way.rows]).any():
                # A span may be empty for some rows; its total is then 0.
                return "0" if (reference.start == reference.stop).all() else self._empty(symbol)
            first, last = f"a{len(rows_of)}", f"b{len(rows_of)}"
            rows_of[first] = (reference.start, there.first_row)
            rows_of[last] = (reference.stop, there.first_row - 1)
            return f"{prefix}{letter}{{{first}}}:{letter}{{{last}}}"

        return Wording(cell_text(way.expression, resolve), rows_of)

    @staticmethod
    def _empty(symbol: str) -> str:
        raise ValueError(f"{symbol}: a total over no rows beside totals over some")


def _extremes(numbers: Array) -> list[float]:
    finite = numbers[np.isfinite(numbers)]
    return [float(finite.min()), float(finite.max())] if finite.size else []


def _figures_width(figures: list[str]) -> float:
    """Column width for the longest of the figures, with room for one that edits make longer."""
    return float(min(max(9, max((len(figure) for figure in figures), default=0) + 3), 17))


def _origins(places: tuple[Place | None, ...]) -> Sequence[Origin | None]:
    return Spelled(
        len(places),
        lambda start, stop: [
            None if place is None else Origin(place.document, place.path, place.unit) for place in places[start:stop]
        ],
    )
