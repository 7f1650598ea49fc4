"""The result equation of the method over portions and lines; every symbol stands in a column of its own."""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.bench.additions import ADDITION_LINES
from ubudget.bench.blank import BLANKS, blank_estimate
from ubudget.bench.building import TableBuilder
from ubudget.bench.cases import best_rows, lower_end
from ubudget.bench.context import COUNTED, USABLE, Context
from ubudget.bench.correlations import build_correlations
from ubudget.bench.equation import Definition, Equations, unit_of_symbol
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.lines import LINES
from ubudget.bench.minimum import add_result_mark
from ubudget.bench.overlap import status_of_overlap, subtract_overlap
from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS, PortionTables
from ubudget.bench.precision import Bands, add_precision
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.structure import UNREAD, ResultRow, Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.expression import ZERO, Expression, Number, Symbol, apply, substitute
from ubudget.quantity.graph import Place, Trait
from ubudget.records.additions import StandardAdditions
from ubudget.records.calibration import Calibration
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.method import Blank, Constant, DryMassFactor, Input, LineParameter, Precision
from ubudget.records.overlap import SpectralOverlap
from ubudget.records.volume import Dilution, Volume
from ubudget.records.weighing import Weighing

RESULTS, PORTION_RESULTS, CONSTANTS = "results", "portion results", "constants"
LINES_TITLE = "Results of the lines"
LEVEL, STATUS, RANGE = "level of the result", "status of the result", "range of the result"
RECOVERY = "internal standard of the result"
SAMPLE, PORTION, ANALYTE, LINE, SOLUTION = (
    "sample name",
    "portion number",
    "analyte name",
    "line name",
    "solution read",
)
"""Columns beside the symbols of the method; names with a space cannot meet a symbol."""


class ResultTable:
    """The result equation over portions and lines; every symbol is picked from the table of its operation."""

    def __init__(
        self,
        context: Context,
        operations: SymbolRows,
        equations: Equations,
        structure: Structure | None,
        name: str,
    ) -> None:
        self.context, self.operations, self.equations = context, operations, equations
        self.structure, self.method = structure, context.records.method
        self.rows: Sequence[ResultRow] = structure.results if structure else (ResultRow(0, ("", ""), UNREAD),)
        self.unread = all(row.measured == UNREAD for row in self.rows)
        title = {PORTION_RESULTS: "Results of the portions", RESULTS: "Results"}.get(name, LINES_TITLE)
        self.table = TableBuilder(name, title, len(self.rows), context.shared)
        self.banded: list[str] = []

    def build(self) -> None:
        self._labels()
        self._constants()
        for symbol, operation in self.method.symbols.items():
            if isinstance(operation, Input):
                self._input(symbol, operation)
            elif isinstance(operation, (Calibration, DeviceConcentration)):
                self._pick(symbol, SIGNALS, "c", [row.measured for row in self.rows])
            elif isinstance(operation, StandardAdditions):
                self._pick(symbol, ADDITION_LINES, "c", self._addition_rows())
            elif isinstance(operation, Blank):
                self._blank(symbol, operation)
            elif isinstance(operation, (Weighing, DryMassFactor)):
                self._pick(symbol, PORTIONS, symbol, [row.portion for row in self.rows])
            elif isinstance(operation, Volume):
                blank = operation.of == "blank"
                rows = [0 if blank else row.portion for row in self.rows]
                self._pick(symbol, BLANK_PORTIONS if blank else PORTIONS, symbol, rows)
            elif isinstance(operation, Dilution):
                self._dilution(symbol, operation)
            elif isinstance(operation, LineParameter):
                row = self.operations.line_rows.get(operation.data, 0)
                column = "slope" if operation.parameter == "slope" else "intercept at origin"
                self._pick(symbol, LINES, column, [row] * self.table.size)
            elif isinstance(operation, SpectralOverlap) and self.structure:
                subtract_overlap(self.table, self.method, symbol, operation, self.rows, self.structure)
            elif placed := self.operations.placed.get(symbol):
                self._pick(
                    symbol, placed.table, placed.column, placed.rows_of(symbol, self.rows, self._matrix, self._no_case)
                )
        self._level()
        for symbol, operation in self.method.symbols.items():
            if isinstance(operation, Precision):
                self._precision(symbol, operation)
        for definition in (*self.equations.intermediates, self.equations.result):
            self._define(definition)
        self._status()
        build_correlations(self.operations)
        self.context.tables[self.table.name] = self.table.build()

    def _pick(self, symbol: str, table: str, column: str, rows: Sequence[int]) -> None:
        """The symbol's value as a column of its own, so that the equation reads within one row."""
        value = self.table.pick(f"{symbol} from {table}", table, column, rows)
        self.table.formula(symbol, symbol, unit_of_symbol(self.method, symbol), value)

    def _labels(self) -> None:
        table, structure = self.table, self.structure
        if structure is None:
            document = self.method.document
            table.label(SAMPLE, "sample", [document.id])
            table.label(ANALYTE, "measurand", [document.measurand])
            table.label(LINE, "line", [""])
            return
        portions = [structure.portions[row.portion] for row in self.rows]
        table.label(SAMPLE, "sample", [portion.sample for portion in portions])
        if table.name == PORTION_RESULTS:
            table.label(PORTION, "portion", [str(portion.portion) for portion in portions])
        table.label(ANALYTE, "analyte", [row.line[0] for row in self.rows])
        table.label(LINE, "line", [row.line[1] for row in self.rows])
        if not self.unread:
            table.label(SOLUTION, "solution read", [structure.measured[row.measured].solution for row in self.rows])

    def _constants(self) -> None:
        constants = self.operations.each(Constant)
        if not constants:
            return
        table = TableBuilder(CONSTANTS, "Constants of the method", len(constants), self.context.shared)
        table.label("symbol", "symbol", [symbol for symbol, _ in constants])
        table.label("quantity", "quantity", [operation.quantity for _, operation in constants])
        table.label("unit", "unit", [operation.value.unit or "1" for _, operation in constants])
        table.given(
            "value",
            "value, exact",
            "",
            [operation.value.value for _, operation in constants],
            [Place("method", ("symbols", symbol, "value"), operation.value.unit) for symbol, operation in constants],
        )
        self.context.tables[CONSTANTS] = table.build()
        for number, (symbol, _) in enumerate(constants):
            self._pick(symbol, CONSTANTS, "value", [number] * self.table.size)

    def _matrix(self, row: ResultRow) -> str:
        return self.structure.portions[row.portion].matrix if self.structure else ""

    def _input(self, symbol: str, operation: Input) -> None:
        if not PortionTables.shared(operation):
            self._pick(symbol, PORTIONS, symbol, [row.portion for row in self.rows])
            return
        wheres = [(*row.line, self._matrix(row)) for row in self.rows]
        rows_of = {where: self.operations.input_row(symbol, *where) for where in set(wheres)}
        chosen = [rows_of[where] for where in wheres]
        for row, bands in zip(self.rows, chosen, strict=True):
            if not bands:
                self._no_case(symbol, row)
                return
        components = self.operations.component_rows.get(symbol, [])
        if len(chosen[0]) > 1 or any(len(bands) > 1 for bands in chosen):
            self._banded_input(symbol, chosen)
        elif components:
            total: Expression = self.table.pick(f"{symbol} stated", INPUTS, "estimate", [b[0] for b in chosen])
            for row_number in components:
                name = self.operations.entries[row_number].symbol
                total = total + self.table.pick(name, INPUTS, "estimate", [row_number] * self.table.size)
            self.table.formula(symbol, symbol, operation.unit, total)
        else:
            self._pick(symbol, INPUTS, "estimate", [bands[0] for bands in chosen])

    def _no_case(self, symbol: str, row: ResultRow) -> None:
        self.context.find(
            "stop",
            "method",
            f"symbol {symbol}",
            f"no case for {' '.join(row.line).strip() or 'the result'}",
            "a statement without selector, or one for each analyte, line or matrix",
            f"add a table [[symbols.{symbol}.for]]",
        )

    def _banded_input(self, symbol: str, chosen: Sequence[list[int]]) -> None:
        """An input whose value depends on the level of the result; the level itself uses its lowest band."""
        self.banded.append(symbol)
        most = max(len(bands) for bands in chosen)
        picks = [
            self.table.pick(
                f"{symbol}, band {place + 1}", INPUTS, "estimate", [b[min(place, len(b) - 1)] for b in chosen]
            )
            for place in range(most)
        ]
        expression: Expression = picks[-1]
        cases = dict((row, case) for case, row in self.operations.case_rows[symbol])
        for place in reversed(range(most - 1)):
            ends = [lower_end(cases[bands[place + 1]]) if place + 1 < len(bands) else 1e99 for bands in chosen]
            end = self.table.given(f"end of band {place + 1} of {symbol}", f"upper end of band {place + 1}", "", ends)
            expression = apply("if_less", Symbol(LEVEL), end, picks[place], expression)
        unit = self.operations.entries[chosen[0][0]].unit
        self.table.formula(symbol, symbol, unit, expression)

    def _blank(self, symbol: str, operation: Blank) -> None:
        assert self.structure is not None
        rows = self.structure.blank_rows
        mean = self.table.pick(f"mean {symbol}", BLANKS, "c", rows)
        s_b = self.table.pick(f"s_b of {symbol}", BLANKS, "s_b", rows)
        self.table.pick(f"dof of {symbol}", BLANKS, "dof", rows)
        counted = operation.own_blank == COUNTED
        name = f"{symbol}.own"
        if counted:
            self.table.formula(f"ν of {symbol}", f"ν of {symbol}", "", Symbol(f"dof of {symbol}"))
        own = self.table.deviation(
            name,
            name,
            operation.unit,
            s_b if counted else Number(0),
            [
                Trait(
                    name,
                    "the sample's own blank",
                    "blank",
                    "A",
                    "t",
                    "scatter between blanks" if counted else operation.own_blank,
                )
            ]
            * self.table.size,
            dof=f"ν of {symbol}" if counted else None,
            # One portion has one blank of its own, read on each line.
            members=[("own blank", row.portion, row.line) for row in self.rows],
            estimates=[blank_estimate(self.structure.blank_curves[row]) for row in rows] if counted else None,
        )
        self.table.formula(symbol, symbol, operation.unit, mean + own)

    def _dilution(self, symbol: str, operation: Dilution) -> None:
        assert self.structure is not None
        name = self.operations.dilution_tables[symbol]
        labels = self.context.tables[name].texts("solution")
        place = {label: row for row, label in enumerate(labels)}
        rows = [
            0 if operation.of == "blank" else place[self.structure.measured[row.measured].solution] for row in self.rows
        ]
        self._pick(symbol, name, symbol, rows)

    def _level(self) -> None:
        """The result without its precision deviations, for parameters that depend on the level."""
        precisions = [symbol for symbol, _ in self.operations.each(Precision)]
        if not precisions and not self.banded:
            return
        replaced: dict[str, Expression] = {symbol: ZERO for symbol in precisions}
        replaced |= {symbol: Symbol(f"{symbol}, band 1") for symbol in self.banded}
        result = self.equations.result
        expression = substitute(self._with_factor(result), replaced)
        self.table.formula(LEVEL, "level of the result", result.unit, expression)

    def _precision(self, symbol: str, operation: Precision) -> None:
        all_rows = self.operations.precision_rows
        own = [number for number, row in enumerate(all_rows) if row.symbol == symbol]
        cases = [all_rows[number].case for number in own]
        bands = []
        known: dict[tuple[str, str, str], Bands] = {}
        for row in self.rows:
            where = (*row.line, self._matrix(row))
            if where not in known:
                chosen = best_rows(cases, *where)
                if not chosen:
                    self._no_case(symbol, row)
                    return
                ends = tuple(lower_end(cases[after]) for after in chosen[1:])
                known[where] = Bands(tuple(own[number] for number in chosen), ends)
            bands.append(known[where])
        run_members = None
        shared = self.method.several_lines is not None and symbol in self.method.several_lines.shared
        # Lines of one analyte have one deviation where the method says that they share it.
        lines = [row.line[:1] if shared else row.line for row in self.rows]
        if operation.part == "between runs":
            days = [self._day_read(row) for row in self.rows]
            run_members = [("between runs", symbol, line, day) for line, day in zip(lines, days, strict=True)]
        elif shared:
            portions = [row.portion for row in self.rows]
            run_members = [("within run", symbol, at, *line) for at, line in zip(portions, lines, strict=True)]
        add_precision(
            self.table,
            symbol,
            operation,
            bands,
            all_rows,
            Symbol(LEVEL),
            self.method.document.unit,
            run_members,
        )

    def _day_read(self, row: ResultRow) -> str:
        """The day of a calibration block that has one of its own: another day is another run to the precision."""
        run = self.context.records.run
        if run is None or self.structure is None or row.measured == UNREAD:
            return ""
        day = run.file.day_of(self.structure.measured[row.measured].reading.block)
        return "" if day is None else day.isoformat()

    def _with_factor(self, definition: Definition) -> Expression:
        if definition.factor == 1:
            return definition.expression
        return definition.expression * Symbol(_factor_name(definition))

    def _define(self, definition: Definition) -> None:
        if definition.factor != 1 and not self.table.has(_factor_name(definition)):
            self.table.given(_factor_name(definition), f"conversion to {definition.unit or '1'}", "", definition.factor)
        self.table.formula(
            definition.name,
            definition.name,
            definition.unit,
            self._with_factor(definition),
            "method, equation",
        )

    def _status(self) -> None:
        add_result_mark(self.table, PORTIONS, list(self.operations.minimum_rows), [row.portion for row in self.rows])
        if self.structure is None or self.unread:
            self.table.formula(STATUS, USABLE, "", 0)
            self.table.formula(RANGE, "outside the calibrated range (-1 below, 1 above)", "", 0)
            return
        extrapolated = bool(self.operations.addition_rows)
        source = ADDITION_LINES if extrapolated else SIGNALS
        rows = self._addition_rows() if extrapolated else [row.measured for row in self.rows]
        status: Expression = self.table.pick(
            "status of the line", source, "status of c" if extrapolated else "status", rows
        )
        if self.operations.each(Blank):
            n_b = self.table.pick("blanks used", BLANKS, "n", self.structure.blank_rows)
            status = status + 100 * apply("if_less", n_b, 0.5, 1, 0)
        status = status + status_of_overlap(self.table, self.context, self.rows, self.structure)
        self.table.formula(STATUS, USABLE, "", status)
        self.table.formula(
            RANGE,
            "outside the calibrated range (-1 below, 1 above)",
            "",
            # An extrapolated value is outside the range by its nature.
            0 if extrapolated else self.table.pick("range of the line", source, "range", rows),
        )
        if SIGNALS in self.context.tables and "outside" in self.context.tables[SIGNALS].by_name:
            outside = self.table.pick("internal standard outside", SIGNALS, "outside", rows)
            self.table.formula(RECOVERY, "internal standard (-1 below, 1 above its limits)", "", outside)

    def _addition_rows(self) -> list[int]:
        return [self.operations.addition_rows[row.measured] for row in self.rows]


def _factor_name(definition: Definition) -> str:
    return f"conversion of {definition.name}"
