"""Tables with spare rows as columns of cells: a row that waits for something shows nothing until it is there.

Three things differ from the ordinary rendering. A formula of such a row is guarded. A reference to a row that may show
nothing reads the neutral number instead: 1 for a factor that is absent, a large number of degrees of freedom, else 0.
Ware that a row names is looked up.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ubudget.bench.drawn import DRAWN
from ubudget.bench.linearity import LINEARITY
from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS
from ubudget.bench.readings import POINTS, READINGS
from ubudget.bench.standards import STANDARDS
from ubudget.bench.ware import WARE
from ubudget.evaluation.spare_evaluation import belongs
from ubudget.pages.book import BandColumn, Value
from ubudget.pages.liveness import Mask
from ubudget.pages.placement import Placement, Placements
from ubudget.pages.rendering import Renderer
from ubudget.pages.spare_cell_builder import Cells
from ubudget.pages.spare_cells import label_column
from ubudget.pages.spare_model import ALWAYS, DILUTED, LEVELS, PLACE, READY, ROW_OF, Keys, Spare
from ubudget.pages.ways import Way, ways_of
from ubudget.pages.wording import text_in_formula
from ubudget.quantity.graph import INFINITE_DOF, Array, Column, Formula, Given, Label, Pick, Span
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.spelling import cell_text, number_text

_MARKED = {PORTIONS: READY, BLANK_PORTIONS: READY, STANDARDS: READY, READINGS: "include", POINTS: "include"}
"""Tables whose formulas wait for more than the row's label."""
_LOWEST, _HIGHEST = " of lowest", " of highest"


class SpareRenderer(Renderer):
    def __init__(
        self,
        spare: Spare,
        cells: dict[tuple[str, str], Cells],
        numbers: Numbers,
        placements: Placements,
        live: dict[tuple[str, str], Mask],
    ) -> None:
        super().__init__(numbers, placements, live)
        self._spare, self._own_cells = spare, cells
        self._follows = _following(spare)

    def _keys(self, table: str, row: int) -> Keys:
        rows = self._spare.keys.get(table)
        return rows[row] if rows else ALWAYS

    def guard(self, table: str) -> str:
        """Column that is empty while the formulas of a row have to wait."""
        if table == self._spare.steps:
            return READY
        return _MARKED.get(table) or label_column(table, self._placements)

    def _column(self, placement: Placement, column: Column) -> BandColumn:
        own = self._own_cells.get((placement.table.name, column.name))
        if own is not None:
            return self._own(placement, column, own)
        waits = placement.table.name in self._spare.keys
        if isinstance(column, Label) and waits:
            return self._following_label(placement, column)
        if isinstance(column, Given) and waits:
            return self._following_given(placement, column)
        return super()._column(placement, column)

    def _own(self, placement: Placement, column: Column, own: Cells) -> BandColumn:
        size = placement.table.size
        fills = own.fills or (None,) * size
        shown = own.shown or (None,) * size
        values: list[Value] = [shown[row] if fills[row] else None for row in range(size)]
        plain = column.heading if not own.heading else own.heading
        width = {"flag": 34.0, "number": 10.0, "input": 11.0}.get(own.style, 16.0)
        return BandColumn(
            heading=plain,
            values=values,
            style=own.style,
            unit=getattr(column, "unit", ""),
            formulas=list(own.formulas),
            open=[fill is not None for fill in fills] if any(fills) else None,
            number_format=own.number_format,
            width=width,
        )

    def _waiting(self, placement: Placement, column: str, content: Callable[[int], str]) -> list[str | None]:
        guard = placement.letters[column]
        return [f'IF(${guard}{placement.row(n)}="","",{content(n)})' for n in range(placement.table.size)]

    def _following_label(self, placement: Placement, column: Label) -> BandColumn:
        """Texts of a row, shown with its label; evidence of ware that is named follows the name."""
        table = placement.table.name
        for symbol, label in self._spare.chosen(table).items():
            if column.name == f"evidence of {symbol}.calibration":
                return self._evidence(placement, column, symbol, label)
        first = label_column(table, self._placements)
        formulas = self._waiting(placement, first, lambda n: text_in_formula(column.values[n]))
        longest = max((len(text) for text in column.values), default=0)
        return BandColumn(
            column.heading,
            [None] * placement.table.size,
            "label" if longest <= 24 else "text",
            formulas=formulas,
            width=float(min(max(10, longest + 2), 30)),
        )

    def _evidence(self, placement: Placement, column: Label, symbol: str, label: str) -> BandColumn:
        ware = self._placements[WARE]
        name, row = placement.letters[label], placement.letters[f"{ROW_OF}{symbol}"]
        source = ware.range("source", placement.sheet)

        def text(number: int) -> str:
            at = placement.row(number)
            return f'${name}{at}&": "&INDEX({source},${row}{at})'

        formulas = self._waiting(placement, self.guard(placement.table.name), text)
        return BandColumn(column.heading, [None] * placement.table.size, "text", formulas=formulas, width=30.0)

    def _following_given(self, placement: Placement, column: Given) -> BandColumn:
        """Numbers that are the same for every day, shown once the row is in use."""
        guard = self.guard(placement.table.name)
        formulas = [
            formula if np.isfinite(column.values[n]) else None
            for n, formula in enumerate(self._waiting(placement, guard, lambda n: _number(float(column.values[n]))))
        ]
        return BandColumn(column.heading, [None] * placement.table.size, "number", column.unit, formulas, width=11.0)

    # -- formulas ---------------------------------------------------------------------------------------------------

    def _cells(self, placement: Placement, column: Formula, numbers: Array) -> tuple[list[str | None], list[Value]]:
        table = placement.table
        formulas: list[str | None] = [None] * table.size
        values: list[Value] = [None] * table.size
        waits = table.name in self._spare.keys and column.name not in DRAWN.values()
        guard = placement.letters[self.guard(table.name)] if waits else ""
        kept = table.name not in self._follows
        for way in ways_of(table, column):
            if way.blank:
                continue
            for rows, guarded in self._groups(placement, way):
                part = Way(rows, way.expression, way.blank)
                template, rows_of = self._spare_template(placement, part, guarded)
                for row in rows.tolist():
                    at = placement.row(row)
                    text = template.format(r=at, **{name: int(found[row]) for name, found in rows_of.items()})
                    formulas[row] = f'IF(${guard}{at}="","",{text})' if guard else text
                    if kept:
                        values[row] = float(numbers[row])
        return formulas, values

    def _groups(self, placement: Placement, way: Way) -> list[tuple[np.ndarray, frozenset[str]]]:
        """Rows of a way by the symbols that they may not read as they stand: rows of a group share a template."""
        table, groups = placement.table, dict[frozenset[str], list[int]]()
        picks = [(s, r) for s in way.expression.symbols if isinstance(r := table.references.get(s), Pick)]
        waiting = [(symbol, pick) for symbol, pick in picks if pick.table in self._spare.keys]
        for row in way.rows.tolist():
            mine = self._keys(table.name, row)
            guarded = frozenset(s for s, pick in waiting if not self._keys(pick.table, int(pick.rows[row])) <= mine)
            groups.setdefault(guarded, []).append(row)
        return [(np.array(rows, dtype=np.int64), guarded) for guarded, rows in groups.items()]

    def _spare_template(
        self, placement: Placement, way: Way, guarded: frozenset[str]
    ) -> tuple[str, dict[str, np.ndarray]]:
        rows_of: dict[str, np.ndarray] = {}
        table = placement.table

        def resolve(symbol: str) -> str:
            reference = table.references.get(symbol)
            if reference is None:
                return f"{placement.letters[symbol]}{{r}}"
            if isinstance(reference, Span):
                return self._span(placement, reference, rows_of, way)
            if table.name == LINEARITY and symbol.endswith((_LOWEST, _HIGHEST)):
                return self._end_level(placement, symbol, rows_of)
            chosen = self._chosen_ware(placement, symbol, reference)
            if chosen:
                return chosen
            text = self._picked(placement, reference, rows_of, way)
            if self._spare.steps and table.name == "results" and reference.table == self._spare.dilutions:
                own = reference.table.removeprefix("dilutions of ")
                absent = "1" if reference.column == own else "0"
                return f"IF({placement.letters[DILUTED]}{{r}}=1,{text},{absent})"
            if symbol in guarded:
                return f'IF({text}="",{self._neutral(reference)},{text})'
            return text

        return cell_text(way.expression, resolve), rows_of

    def _picked(self, placement: Placement, pick: Pick, rows_of: dict[str, np.ndarray], way: Way) -> str:
        there = self._placements[pick.table]
        letter = there.letters[pick.column]
        if there is placement and (pick.rows[way.rows] == way.rows).all():
            return f"{letter}{{r}}"
        name = f"p{len(rows_of)}"
        rows_of[name] = pick.rows + there.first_row
        return f"{there.prefix(placement.sheet)}{letter}{{{name}}}"

    def _span(self, placement: Placement, span: Span, rows_of: dict[str, np.ndarray], way: Way) -> str:
        there = self._placements[span.table]
        if (span.start[way.rows] == span.stop[way.rows]).any():
            return "0" if (span.start == span.stop).all() else self._empty(span.column)
        letter, first, last = there.letters[span.column], f"a{len(rows_of)}", f"b{len(rows_of)}"
        rows_of[first] = span.start + there.first_row
        rows_of[last] = span.stop + there.first_row - 1
        return f"{there.prefix(placement.sheet)}{letter}{{{first}}}:{letter}{{{last}}}"

    def _neutral(self, pick: Pick) -> str:
        leaves = self._placements[pick.table].table.leaves
        if any(leaf.dof == pick.column for leaf in leaves):
            return number_text(INFINITE_DOF)
        return number_text(pick.absent)

    def _chosen_ware(self, placement: Placement, symbol: str, pick: Pick) -> str:
        """Look-up of the ware that the row names."""
        if pick.table != WARE:
            return ""
        of = symbol.partition(" of ")[2]
        for name in self._spare.chosen(placement.table.name):
            if belongs(of, name):
                area = self._placements[WARE].range(pick.column, placement.sheet)
                return f"INDEX({area},{placement.letters[f'{ROW_OF}{name}']}{{r}})"
        return ""

    def _end_level(self, placement: Placement, symbol: str, rows_of: dict[str, np.ndarray]) -> str:
        """A column of the lowest or highest level in use of the line; 0 while there is none."""
        references = placement.table.references
        start = next(r for name, r in references.items() if name.endswith(_LOWEST) and isinstance(r, Pick))
        stop = next(r for name, r in references.items() if name.endswith(_HIGHEST) and isinstance(r, Pick))
        there, pick = self._placements[LEVELS], references[symbol]
        first, last = f"a{len(rows_of)}", f"b{len(rows_of)}"
        rows_of[first], rows_of[last] = start.rows + there.first_row, stop.rows + there.first_row

        def area(column: str) -> str:
            letter = there.letters[column]
            return f"{there.prefix(placement.sheet)}{letter}{{{first}}}:{letter}{{{last}}}"

        end = "MIN" if symbol.endswith(_LOWEST) else "MAX"
        return f"IF(COUNT({area(PLACE)})=0,0,INDEX({area(pick.column)},{end}({area(PLACE)})))"


def _number(value: float) -> str:
    return f"({number_text(value)})" if value < 0 else number_text(value)


def _following(spare: Spare) -> frozenset[str]:
    """Tables whose numbers change with the rows in use: their stored values are those of no day."""
    following = {*spare.keys}
    while True:
        more = {
            name
            for name, table in spare.graph.tables.items()
            if name not in following and any(r.table in following for r in table.references.values())
        }
        if not more:
            return frozenset(following)
        following |= more
