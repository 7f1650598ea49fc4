"""One block of a derivation: equations, numbers put in, values, and where each symbol comes from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from ubudget.bench.reported import UNIT, VALUE
from ubudget.bench.result_table import RESULTS
from ubudget.evaluation.coverage import EXPANDED, REPORTED, REPORTED_U, STANDARD
from ubudget.pages.figures import as_written, plain, unit_text
from ubudget.pages.listing import GAP, TextColumn
from ubudget.pages.noise import SAID, Noise
from ubudget.pages.placement import Placements
from ubudget.pages.told import Blank, Equation, Figures, Formula, Opening, Part, Sentence, Source, Sources
from ubudget.pages.walk import Block, Target, Walk, shown_name
from ubudget.quantity.expression import Expression
from ubudget.quantity.graph import Column, Given, Label, Place, Table
from ubudget.quantity.graph import Formula as GraphFormula
from ubudget.quantity.spelling import readable_text
from ubudget.records.records import Records, Role

INDENT = 4
_NOT_NAMING = {"source", "unit", "quantity", "stated in", "who", "when"}
_BY_ROW = {"estimate", "stated estimate", "stated", "u", "mean", "s"}
"""Columns of the stated input quantities that have the unit of their row."""
_OF_RESULT = {VALUE, STANDARD, EXPANDED, REPORTED, REPORTED_U}
"""Columns of the results that have the unit of their row, where results differ in it."""
_DOCUMENTS: tuple[Role, ...] = ("run", "method", "register", "samples", "solutions", "readings")


class EquationPrinter:
    """Tells blocks of a walk; `placements` knows the cells of the workbook that calculates the same."""

    def __init__(self, walk: Walk, records: Records, placements: Placements) -> None:
        self.walk, self.records, self.placements = walk, records, placements
        self.noise = Noise(walk)

    def block(self, block: Block, *, reduced: bool = False) -> Iterator[Part]:
        """Opening with number, the rows' names, and the equations."""
        table = self.walk.graph.tables[block.table]
        yield Opening(block.number, table.title)
        if len(block.rows) == 1:
            names = "; ".join(f"{label.heading}: {label.values[block.rows[0]]}" for label in _naming(table, block))
            if names:
                yield Sentence(names, INDENT)
            for name in block.columns:
                yield Blank()
                yield from self.equation(Target(block.table, block.rows, name), INDENT, reduced=reduced)
        else:
            yield from self._rows(table, block)

    def equation(
        self, target: Target, indent: int, *, name: str | None = None, unit: str | None = None, reduced: bool = False
    ) -> Iterator[Part]:
        """An equation of one row: in symbols, with numbers put in, its value, and what the symbols are.

        `unit` is that of the value where the column does not say it."""
        column = self.walk.column(target)
        assert isinstance(column, GraphFormula)
        expression = self.walk.expressions(target, reduced=reduced)[0]
        targets = self.walk.targets(target, expression, reduced=reduced)
        left = shown_name(target.column) if name is None else name
        value = plain(self.walk.values(target)[0])
        texts = [self._in_symbols(expression), self._numbers_put_in(expression, targets), value]
        # Coefficients follow one clause, which stands above them all.
        unit = unit_of(self.walk.graph.tables[target.table], target.column, target.rows[0]) if unit is None else unit
        texts = [text for number, text in enumerate(texts[:-1]) if text not in (value, *texts[:number])]
        rights = (*texts, f"{value}{unit_text(unit)}")
        yield Equation(left, rights, indent, "" if reduced else _remark(column, left), self.cell(target))
        if reduced:
            yield from self._places(target, targets, indent + 2)
        else:
            yield from self._where(target, targets, indent + 2)

    def cell(self, target: Target) -> str:
        """Address of the cell where the workbook has a quantity of one row; empty where it has none."""
        there = self.placements.get(target.table)
        if there is None or len(target.rows) != 1 or target.column not in there.letters:
            return ""
        return there.cell(target.column, target.rows[0])

    def _places(self, home: Target, targets: dict[str, Target], indent: int) -> Iterator[Part]:
        """Only where the symbols are told, in one line; the numbers are put in already."""
        told = [
            f"{shown_name(symbol)} [{block.number}]"
            for symbol, target in targets.items()
            if (block := self.walk.home(target)) is not None and block is not self.walk.home(home)
        ]
        if told:
            yield Sentence(", ".join(told), indent, indent)

    def _in_symbols(self, expression: Expression) -> str:
        return readable_text(expression, {symbol: shown_name(symbol) for symbol in expression.symbols})

    def _numbers_put_in(self, expression: Expression, targets: dict[str, Target]) -> str:
        names = {
            symbol: shown_name(symbol) if self._is_many(target) else self._figure(target)
            for symbol, target in targets.items()
        }
        return readable_text(expression, names)

    def _is_many(self, target: Target) -> bool:
        return len(target.rows) != 1

    def _figure(self, target: Target) -> str:
        """The number of a target as put in: as the record has it, or with the digits that are shown."""
        value = self.walk.values(target)[0]
        return as_written(value) if isinstance(self.walk.column(target), Given) else plain(value)

    def _where(self, home: Target, targets: dict[str, Target], indent: int) -> Iterator[Part]:
        zero = [symbol for symbol, target in targets.items() if self.walk.is_deviation(target)]
        told = {symbol: target for symbol, target in targets.items() if symbol not in zero}
        if told:
            yield Sources(tuple(self._origin(home, symbol, target) for symbol, target in told.items()), indent)
        if zero:
            text = "estimate zero, input quantities with an uncertainty only: " + ", ".join(
                shown_name(symbol) for symbol in zero
            )
            yield Sentence(text, indent, indent + 4)

    def _origin(self, home: Target, symbol: str, target: Target) -> Source:
        """Value and where it is from: a field of a record, or the block that tells it."""
        name, column, block = shown_name(symbol), self.walk.column(target), self.walk.home(target)
        if not target.rows:
            return Source(name, "none")
        here = block is not None and block is self.walk.home(home)
        place, number = ("in this block", None) if here else ("", None if block is None else block.number)
        if self._is_many(target):
            return Source(name, f"{len(target.rows)} values", place, number)
        unit = unit_text(unit_of(self.walk.graph.tables[target.table], target.column, target.rows[0]))
        value = f"{self._figure(target)}{unit}"
        if isinstance(column, Given):
            return Source(name, value, self._record(column.places[target.rows[0]]))
        if place or number is not None:
            return Source(name, value, place, number)
        return Source(name, value, _clause(column))

    def _record(self, place: Place | None) -> str:
        if place is None:
            return ""
        role: Role = next((role for role in _DOCUMENTS if role == place.document), "run")
        return f"{self.records.file(role)}: {_path_words(place.path)}"

    def _rows(self, table: Table, block: Block) -> Iterator[Part]:
        """Formulas once, then the numbers of all rows."""
        targets: dict[str, Target] = {}
        for name in _in_table_order(table, block):
            target = Target(block.table, block.rows, name)
            column = self.walk.column(target)
            if not isinstance(column, GraphFormula):
                continue
            for expression in self.walk.expressions(target):
                clause = _clause(column)
                text = f"{shown_name(name)} = {self._in_symbols(expression)}{f'{GAP}{clause}' if clause else ''}"
                yield Formula(text, INDENT, 2 * INDENT)
                targets |= self.walk.targets(target, expression)
        outside = {
            symbol: target
            for symbol, target in targets.items()
            if target.table != block.table or len(target.rows) != len(block.rows)
        }
        yield from self._where(Target(block.table, block.rows, block.columns[0]), outside, INDENT + 2)
        yield Blank()
        yield from self._numbers(table, block)

    def _numbers(self, table: Table, block: Block) -> Iterator[Part]:
        labels = tuple(
            TextColumn(label.heading, [label.values[row] for row in block.rows], widest=20)
            for label in _naming(table, block)
        )
        figures, rounded = [], False
        for name in _in_table_order(table, block):
            target = Target(block.table, block.rows, name)
            column = table.by_name[name]
            digits = 15 if isinstance(column, Given) else 6
            unit = f" / {column.unit}" if not isinstance(column, Label) and column.unit else ""
            noisy = [self.noise.in_row(block.table, row, name) for row in block.rows]
            rounded |= any(noisy)
            values = self.walk.values(target)
            cells = ["0" if noise else plain(value, digits) for value, noise in zip(values, noisy, strict=True)]
            figures.append(TextColumn(f"{shown_name(name)}{unit}", cells, "right"))
        yield Figures(labels, tuple(figures), INDENT)
        if rounded:
            yield Sentence(SAID, INDENT)
        there = self.placements.get(block.table)
        if there is not None:
            first, last = there.row(min(block.rows)), there.row(max(block.rows))
            yield Sentence(f"In the workbook: {there.sheet}, rows {first} to {last}.", INDENT)


def _in_table_order(table: Table, block: Block) -> list[str]:
    """What is given before what is calculated from it."""
    return [column.name for column in table.columns if column.name in block.columns]


def _naming(table: Table, block: Block) -> list[Label]:
    """Labels that tell the rows apart (or, of one row, that name it)."""
    found = []
    for column in table.columns:
        if not isinstance(column, Label) or column.name in _NOT_NAMING:
            continue
        values = [column.values[row] for row in block.rows]
        if any(values) and (len(block.rows) == 1 or len(set(values)) > 1):
            found.append(column)
    return found


def unit_of(table: Table, name: str, row: int) -> str:
    """Unit of a column, or of its row where a table mixes units."""
    column = table.by_name[name]
    if table.name == RESULTS and name in _OF_RESULT and isinstance(own := table.by_name.get(UNIT), Label):
        return "" if own.values[row] == "1" else own.values[row]
    if isinstance(column, Label) or column.unit or name not in _BY_ROW:
        return "" if isinstance(column, Label) else column.unit
    figures, units = table.by_name.get("stated in"), table.by_name.get("unit")
    if not isinstance(figures, Label) or not isinstance(units, Label):
        return ""
    estimate = table.by_name["estimate"]
    elsewhere = isinstance(estimate, Given) and np.isnan(estimate.values[row])
    return figures.values[row] if name == "stated" or (name == "u" and elsewhere) else units.values[row]


def _remark(column: GraphFormula, shown: str) -> str:
    """What the quantity is called and which clause it follows."""
    heading = "" if column.heading in (column.name, shown) or column.heading.startswith(("∂", "c(")) else column.heading
    return "; ".join(part for part in (heading, column.clause) if part)


def _clause(column: Column) -> str:
    return f"({column.clause})" if isinstance(column, GraphFormula) and column.clause else ""


def _path_words(path: Sequence[str | int]) -> str:
    """`equipment 2, certificate 1, U`: positions count from 1."""
    words: list[str] = []
    for step in path:
        if isinstance(step, int) and words:
            words[-1] = f"{words[-1]} {step + 1}"
        else:
            words.append(f"row {step + 1}" if isinstance(step, int) else step)
    return ", ".join(words)
