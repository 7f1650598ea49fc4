"""Derived results: one table for each, whose rows pick results, earlier derived results and symbols of the method.

A derived result is propagated like any other column: what its components share (stock, curve, balance, flask) meets
again in one deviation, so that covariances are exact (GUM 5.2.2, F.1.2.3).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import USABLE, Context
from ubudget.bench.equation import unit_of_symbol
from ubudget.bench.folding import FOLDS, LINES_APART, fold
from ubudget.bench.result_keys import ResultKey
from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE, STATUS
from ubudget.bench.structure import Structure
from ubudget.quantity.expression import Expression, apply
from ubudget.quantity.parsing import parse_definition
from ubudget.quantity.units import UnitError, dimension, equation_dimension
from ubudget.records.crosscheck_derived import place_of
from ubudget.records.derived import Derived, DerivedSymbol
from ubudget.records.method import Method

NO_COMPONENT = 2000
"""Status of a derived result of which a component is not available."""
Line = tuple[str, str]


@dataclass(frozen=True)
class DerivedRow:
    """What a row of the reported results is, where it is derived."""

    definition: Derived
    table: str
    components: tuple[Line, ...]
    """Analyte and line of every result beneath it."""
    portions: tuple[int, ...]
    """Rows of the test portions of these."""
    symbols: tuple[tuple[str, str], ...]
    """Symbol of its equation, and what that stands for in words."""


@dataclass(frozen=True)
class Source:
    """A table of results, with the key of each row and, of a derived one, what it is."""

    table: str
    column: str
    unit: str
    keys: tuple[ResultKey, ...]
    derived: tuple[DerivedRow | None, ...]

    @cached_property
    def rows_by_sample(self) -> dict[str, list[int]]:
        return _by_name([key.sample for key in self.keys])


def _by_name(names: Sequence[str]) -> dict[str, list[int]]:
    """Rows by name, in their order."""
    rows: dict[str, list[int]] = {}
    for row, name in enumerate(names):
        rows.setdefault(name, []).append(row)
    return rows


@dataclass(frozen=True)
class _Part:
    """A column that a symbol picks; -1 = not in this row."""

    table: str
    column: str
    rows: list[int]


@dataclass(frozen=True)
class _Picked:
    """What a symbol is in each row: a row of one of its parts, or of none where it has no such result."""

    parts: tuple[_Part, ...]
    unit: str
    is_result: bool
    words: list[str]

    def there(self, row: int) -> bool:
        return any(part.rows[row] >= 0 for part in self.parts)

    @property
    def lacking(self) -> list[bool]:
        return [not self.there(row) for row in range(len(self.words))]


def add_derived(
    context: Context, structure: Structure, results: tuple[Source, ...], quantities: str
) -> tuple[Source, ...]:
    """The tables of all derived results; findings where units do not fit or a result is missing altogether.

    `results` are those of the lines and, where the method reports them, the values from several lines; `quantities` is
    the table that holds the symbols of the method by portion and line."""
    sources: dict[str, Source] = {}
    for number, definition in enumerate(context.records.method.derived):
        table = _Table(context, structure, results, sources, quantities, number, definition)
        source = table.build()
        if source is not None:
            sources[definition.name] = source
    return tuple(sources.values())


class _Table:
    def __init__(
        self,
        context: Context,
        structure: Structure,
        results: tuple[Source, ...],
        above: dict[str, Source],
        quantities: str,
        number: int,
        definition: Derived,
    ) -> None:
        self.context, self.structure, self.results, self.above = context, structure, results, above
        self.quantities, self.definition = quantities, definition
        self.method: Method = context.records.method
        self.name, self.place = f"derived results {number + 1}", place_of(number, definition)
        self.result, self.expression = parse_definition(definition.equation)
        self.cases = self._cases()
        self.by_sample = _by_name([structure.portions[result.portion].sample for result in structure.results])

    def _cases(self) -> list[Line]:
        """Sample and analyte that the symbols of each row mean where they name none."""
        definition = self.definition
        if definition.per == "run":
            return [("", "")]
        if definition.per == "analyte":
            return [("", analyte) for analyte in definition.analytes or self.method.analytes]
        samples = list(dict.fromkeys(portion.sample for portion in self.structure.portions))
        return [(sample, "") for sample in definition.samples or samples]

    def build(self) -> Source | None:
        symbols = {name: self._meant(name) for name in dict.fromkeys(self.expression.symbols)}
        if any(one.derived and one.derived not in self.above for one in symbols.values()):
            # What it builds on was refused, with a finding of its own.
            return None
        everywhere = {name: self._picked(symbol, self.cases) for name, symbol in symbols.items()}
        own = [picked for name, picked in everywhere.items() if picked.is_result and not self._is_fixed(symbols[name])]
        results = [picked for picked in everywhere.values() if picked.is_result]
        if not results:
            self._refuse("an equation over no result", "results among its symbols", "name results in its symbols")
            return None
        # A sample (or analyte) without any of the results has none of this kind, unless it is asked for by name.
        asked = bool(self.definition.samples or self.definition.analytes) or not own
        kept = [row for row in range(len(self.cases)) if asked or any(picked.there(row) for picked in own)]
        if not any(picked.there(row) for picked in results for row in kept):
            self._refuse("no result that it could be derived from", "results of the run", "correct its symbols")
            return None
        self.cases = [self.cases[row] for row in kept]
        picked = {name: self._picked(symbol, self.cases) for name, symbol in symbols.items()}
        for name, one in picked.items():
            if not one.is_result and any(one.lacking):
                self._refuse(f"{name} of a sample without results", "a sample of the run with results", "correct it")
                return None
        factor = self._factor({name: one.unit for name, one in picked.items()})
        if factor is None:
            return None
        keys = tuple(self._key(case) for case in self.cases)
        table = TableBuilder(self.name, f"Derived results: {self.definition.name}", len(keys), self.context.shared)
        table.label(SAMPLE, "sample", [key.sample for key in keys])
        table.label(ANALYTE, "derived result", [key.analyte for key in keys])
        table.label(LINE, "line", [""] * len(keys))
        for name, one in picked.items():
            table.formula(name, name, one.unit, self._value(table, name, one))
        expression = self.expression
        if factor != 1:
            heading = f"conversion to {self.definition.unit or '1'}"
            expression = expression * table.given(f"conversion of {self.result}", heading, "", factor)
        table.formula(self.result, self.result, self.definition.unit, expression, "method, derived result")
        self._marks(table, {name: one for name, one in picked.items() if one.is_result})
        self.context.tables[self.name] = table.build()
        rows = tuple(self._row(number, picked) for number in range(len(keys)))
        return Source(self.name, self.result, self.definition.unit, keys, rows)

    def _meant(self, name: str) -> DerivedSymbol:
        return self.definition.symbols.get(name) or DerivedSymbol(method_symbol=name)

    def _is_fixed(self, symbol: DerivedSymbol) -> bool:
        """Whether a symbol means the same in every row."""
        by_row = {"sample": symbol.sample, "analyte": symbol.analyte, "run": "all"}
        return bool(by_row[self.definition.per])

    def _key(self, case: Line) -> ResultKey:
        sample, analyte = case
        run = self.context.records.run
        label = self.definition.of or (run.file.run.id if run else "run")
        portions = tuple(row for row, portion in enumerate(self.structure.portions) if sample == portion.sample)
        return ResultKey(sample or label, f"{self.definition.name} {analyte}".strip(), None, portions)

    def _picked(self, symbol: DerivedSymbol, cases: Sequence[Line]) -> _Picked:
        if symbol.method_symbol:
            return self._of_method(symbol, cases)
        sources = (self.above[symbol.derived],) if symbol.derived else self._sources(symbol)
        rows: list[list[int]] = [[] for _ in sources]
        words = []
        for case in cases:
            sample, analyte = symbol.sample or case[0], symbol.analyte or case[1]
            found = False
            for source, own in zip(sources, rows, strict=True):
                candidates = (
                    source.rows_by_sample.get(sample, ()) if self._by_sample(source) else range(len(source.keys))
                )
                fitting = next((row for row in candidates if self._fits(source, row, symbol, analyte)), -1)
                own.append(-1 if found else fitting)
                found = found or fitting >= 0
            words.append(", ".join(part for part in (sample, symbol.derived, analyte, symbol.line) if part))
        parts = [
            _Part(source.table, source.column, own)
            for source, own in zip(sources, rows, strict=True)
            if max(own) >= 0 or len(sources) == 1
        ]
        parts = parts or [_Part(sources[-1].table, sources[-1].column, rows[-1])]
        return _Picked(tuple(parts), sources[0].unit, True, words)

    def _sources(self, symbol: DerivedSymbol) -> tuple[Source, ...]:
        """Where a result is looked for: a value from several lines goes before that of a line, unless one is named."""
        return self.results[:1] if symbol.line else tuple(reversed(self.results))

    @staticmethod
    def _value(table: TableBuilder, name: str, one: _Picked, column: str = "") -> Expression:
        """The value of a symbol, or another column of the same rows; 1 where there is none, which its status tells."""
        what = f"{column} of {name}" if column else name
        if len(one.parts) == 1:
            part = one.parts[0]
            named = what if column else f"{name} from {part.table}"
            return table.pick(named, part.table, column or part.column, part.rows, absent=1.0)
        total: Expression = fold(
            "add",
            [
                table.pick(f"{what} from {part.table}", part.table, column or part.column, part.rows)
                for part in one.parts
            ],
        )
        if any(one.lacking):
            total = total + table.given(f"{what} missing", f"{name} has no result", "", one.lacking)
        return total

    @staticmethod
    def _by_sample(source: Source) -> bool:
        """Whether the rows of a source are those of samples."""
        derived = source.derived[0]
        return derived is None or derived.definition.per == "sample"

    @staticmethod
    def _fits(source: Source, row: int, symbol: DerivedSymbol, analyte: str) -> bool:
        """Whether a row, of the sample where it has one, is the analyte and line that a symbol means."""
        derived, key = source.derived[row], source.keys[row]
        if derived is None:
            return analyte in ("", key.analyte) and symbol.line in ("", key.line)
        return derived.definition.per != "analyte" or key.analyte == f"{derived.definition.name} {analyte}"

    def _of_method(self, symbol: DerivedSymbol, cases: Sequence[Line]) -> _Picked:
        rows, words = [], []
        for case in cases:
            sample, analyte = symbol.sample or case[0], symbol.analyte or case[1]
            results = self.structure.results
            candidates = self.by_sample.get(sample, ()) if sample else range(len(results))
            fitting = (
                row
                for row in candidates
                if analyte in ("", results[row].line[0]) and symbol.line in ("", results[row].line[1])
            )
            rows.append(next(fitting, -1))
            own = ", ".join(part for part in (sample, analyte, symbol.line) if part)
            quantity = self.method.symbols[symbol.method_symbol].quantity
            words.append(f"{quantity} ({own})" if own else quantity)
        unit = unit_of_symbol(self.method, symbol.method_symbol)
        return _Picked((_Part(self.quantities, symbol.method_symbol, rows),), unit, False, words)

    def _factor(self, units: dict[str, str]) -> float | None:
        """Conversion to the unit of the derived result; a finding and None where dimensions do not fit."""
        try:
            found = equation_dimension(self.expression, lambda name: units[name])
            wanted = dimension(self.definition.unit)
            if found.powers != wanted.powers:
                own = ", ".join(f"{name} in {unit or '1'}" for name, unit in units.items())
                raise UnitError(
                    f"an equation that does not give {self.definition.unit or '1'} ({own})", "units that fit"
                )
        except UnitError as error:
            self._refuse(error.found, error.accepted, "correct the equation or the unit")
            return None
        return float(f"{float(found.factor / wanted.factor):.15g}")

    def _refuse(self, found: str, accepted: str, remedy: str) -> None:
        self.context.find("stop", "method", f"{self.place}, equation", found, accepted, remedy)

    def _marks(self, table: TableBuilder, results: dict[str, _Picked]) -> None:
        """Status, and what is told of a component is told of the derived result as well."""
        missing: list[Expression] = []
        for name, one in results.items():
            missing.append(apply("if_less", self._value(table, name, one, STATUS), 0.5, 0, 1))
        table.formula(STATUS, USABLE, "", apply("if_less", fold("add", missing), 0.5, 0, NO_COMPONENT))
        for mark in (*FOLDS, LINES_APART):
            picks = [
                table.pick(f"{mark.name} of {name} from {part.table}", part.table, mark.name, part.rows)
                for name, one in results.items()
                for part in one.parts
                if mark.name in self.context.tables[part.table].by_name
            ]
            if picks:
                table.formula(mark.name, mark.heading, "", mark.of(picks), mark.clause)

    def _row(self, number: int, picked: dict[str, _Picked]) -> DerivedRow:
        components: list[Line] = []
        portions: list[int] = []
        sources = {source.table: source for source in (*self.results, *self.above.values())}
        for one in picked.values():
            for part in one.parts if one.is_result else ():
                if part.rows[number] >= 0:
                    source, row = sources[part.table], part.rows[number]
                    key, below = source.keys[row], source.derived[row]
                    components += below.components if below else self._lines_of(key)
                    portions += below.portions if below else key.portions
        told = tuple((name, one.words[number]) for name, one in picked.items())
        return DerivedRow(
            self.definition,
            self.name,
            tuple(dict.fromkeys(components)),
            tuple(dict.fromkeys(portions)),
            told,
        )

    def _lines_of(self, key: ResultKey) -> list[Line]:
        """Lines behind a result; a value from several lines has those of its analyte."""
        several = self.method.analytes.get(key.analyte, ()) if key.line is None else ()
        return [(key.analyte, line) for line in several or (key.line or "",)]
