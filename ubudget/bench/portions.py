"""Tables of the test portions and of the blanks: masses, volumes, moisture and other inputs, one row a portion."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.buoyancy import GROUP as BUOYANCY
from ubudget.bench.buoyancy import table_of as buoyancy_of
from ubudget.bench.context import MASS_SHOWN, method_place
from ubudget.bench.minimum import add_comparison
from ubudget.bench.part_volumes import VALUE, reading_deviations, value_read
from ubudget.bench.sample_densities import DENSITY, density_of, factor_by_sample
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.stated import cited_items, is_relative, shape_parameter
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.bench.volume import FILLING, add_volume
from ubudget.bench.weighing import CLAUSES, add_weighing, by_difference, direct, tared
from ubudget.bench.weighing import EFFECT as WEIGHING
from ubudget.quantity.expression import ZERO, Expression, Operand, Symbol, apply
from ubudget.quantity.graph import Place, Trait
from ubudget.quantity.units import convert
from ubudget.records.amount import Amount
from ubudget.records.buoyancy import AIR_UNITS, Buoyancy
from ubudget.records.method import DryMassFactor, Input
from ubudget.records.run import Portion, amount_of
from ubudget.records.volume import Volume
from ubudget.records.weighing import BY_DIFFERENCE, READINGS, TARED, Weighing

PORTIONS, BLANK_PORTIONS = "portions", "blank portions"


class PortionTables:
    """Builds `portions` and `blank portions`. A method file alone has one unnamed portion."""

    def __init__(self, operations: SymbolRows) -> None:
        self.operations = operations
        self.context = operations.context
        structure = operations.structure
        self.portions: Sequence[Portion | None] = structure.portions if structure else (None,)
        self.blanks: Sequence[Portion | None] = structure.blanks if structure else ()

    def build(self) -> None:
        table = self._start(PORTIONS, "Test portions", self.portions)
        added = False
        for symbol, operation in self.context.records.method.symbols.items():
            if isinstance(operation, Weighing):
                self._weighing(table, symbol, operation)
            elif isinstance(operation, Volume) and operation.of == "sample":
                self._volume(table, symbol, operation, self.portions)
            elif isinstance(operation, DryMassFactor):
                self._dry_mass(table, symbol, operation)
            elif isinstance(operation, Input) and not self.shared(operation):
                self._own_input(table, symbol, operation)
            else:
                continue
            added = True
        if added:
            self.context.tables[PORTIONS] = table.build()
        self._build_blanks()

    @staticmethod
    def shared(operation: Input) -> bool:
        return not operation.column if operation.shared is None else operation.shared

    def _build_blanks(self) -> None:
        volumes = [(symbol, operation) for symbol, operation in self.operations.each(Volume) if operation.of == "blank"]
        if volumes and self.blanks:
            table = self._start(BLANK_PORTIONS, "Blanks", self.blanks)
            for symbol, operation in volumes:
                self._volume(table, symbol, operation, self.blanks)
            self.context.tables[BLANK_PORTIONS] = table.build()

    def _start(self, name: str, title: str, portions: Sequence[Portion | None]) -> TableBuilder:
        table = TableBuilder(name, title, len(portions), self.context.shared)
        document = self.context.records.method.document.id
        table.label("sample", "sample", [portion.sample if portion else document for portion in portions])
        table.label("portion", "portion", [str(portion.portion) if portion else "1" for portion in portions])
        if any(portion and portion.matrix for portion in portions):
            table.label("matrix", "matrix", [portion.matrix if portion else "" for portion in portions])
        return table

    # -- columns of the samples table, or estimates of the method ---------------------------------------------------

    def _amounts(
        self,
        table: TableBuilder,
        name: str,
        unit: str,
        column: str,
        amount: Amount | None,
        path: tuple[str, ...],
        portions: Sequence[Portion | None] | None = None,
    ) -> Symbol:
        values: list[float | None] = []
        places: list[Place | None] = []
        for portion in self.portions if portions is None else portions:
            if portion is None or not column:
                values.append(self.context.in_unit(amount, unit, "method", ".".join(path)))
                places.append(method_place(*path, unit=unit) if amount else None)
                continue
            given = amount_of(portion, column)
            place = f"row {portion.row + 1} ({portion.sample}), {column}"
            values.append(self.context.in_unit(given, unit, "samples", place))
            places.append(Place("samples", (portion.row, column), unit))
        return table.given(name, name, unit, nan_where_none(values), places)

    def _weighing(self, table: TableBuilder, symbol: str, operation: Weighing) -> None:
        given = [
            self._amounts(
                table,
                f"{symbol}.{reading}",
                operation.unit,
                getattr(operation, f"{reading}_column"),
                getattr(operation, reading),
                ("symbols", symbol, reading),
            )
            for reading in READINGS[operation.reading]
        ]
        rows = self.operations.weighing_rows[symbol]
        net: Expression = given[0]
        if operation.reading == BY_DIFFERENCE:
            readings, net = by_difference(*given), given[1] - given[0]
        elif operation.reading == TARED:
            vessel: Expression = ZERO
            if "vessel" in rows:
                vessel = table.pick(f"{symbol}.vessel", INPUTS, "estimate", [rows["vessel"]] * table.size)
            readings = tared(vessel, net)
        else:
            readings = direct(net)
        row, balance = self.operations.balances[operation.balance or symbol]
        mass = add_weighing(
            table,
            symbol,
            operation.unit,
            operation.reading,
            readings,
            net,
            balance,
            row,
            self.context.mark(WEIGHING),
            self.context,
        )
        clause = CLAUSES[operation.reading]
        if operation.buoyancy is not None:
            weighed = f"{symbol} before buoyancy"
            mass = table.formula(weighed, weighed, operation.unit, mass, clause)
            if operation.buoyancy.by_sample:
                mass = mass * self._own_buoyancy(table, symbol, operation.buoyancy)
            else:
                mass = mass * table.pick(f"buoyancy of {symbol}", buoyancy_of(symbol), "factor", [0] * table.size)
            clause = "OIML D 28"
        table.formula(symbol, symbol, operation.unit, mass, clause)
        if operation.minimum is not None:
            least = self.operations.minimum_rows[symbol]
            add_comparison(table, symbol, operation.unit, least, convert(1.0, MASS_SHOWN, operation.unit))

    def _own_buoyancy(self, table: TableBuilder, symbol: str, buoyancy: Buoyancy) -> Symbol:
        """Buoyancy factor of each portion, from the density of its sample or matrix."""
        name, column, unit = density_of(symbol), buoyancy.density_column, AIR_UNITS["sample_density"]
        samples = [portion.sample if portion else "" for portion in self.portions]
        if column:
            self._amounts(table, name, unit, column, None, ("symbols", symbol, "buoyancy", "sample_density", "column"))
            if buoyancy.treatment == "applied":
                members = [("density", symbol, sample) for sample in samples]
                self._leaf_with_stated_u(table, name, name, BUOYANCY, DENSITY, members)
        else:
            matrices = [portion.matrix if portion else "" for portion in self.portions]
            rows = [self.operations.input_row(name, "", "", matrix)[0] for matrix in matrices]
            stated = table.pick(f"stated {name}", INPUTS, "estimate", rows)
            table.formula(name, f"{name}, of its matrix", unit, stated)
        return factor_by_sample(table, symbol, buoyancy, samples)

    def _volume(self, table: TableBuilder, symbol: str, operation: Volume, portions: Sequence[Portion | None]) -> None:
        ware = self.operations.ware
        keys = [
            operation.ware
            or (str(portion.columns.get(operation.ware_column, "")) if portion and operation.ware_column else symbol)
            for portion in portions
        ]
        if operation.ware_column:
            table.label(
                f"{symbol}.ware",
                f"{symbol}: ware",
                keys,
                [Place("samples", (portion.row, operation.ware_column)) if portion else None for portion in portions],
            )
        own_unit = self.operations.ware_unit
        name = symbol if operation.unit == own_unit else f"{symbol} in {own_unit}"
        stated = self.operations.part_rows[symbol]
        reading = None
        if operation.value_column:
            path = ("symbols", symbol, "value_column")
            reading = self._amounts(table, f"{name}.reading", own_unit, operation.value_column, None, path, portions)
        elif VALUE in stated:
            reading = value_read(table, name, stated)
        volume = add_volume(
            self.context,
            table,
            name,
            own_unit,
            [ware[key][1] for key in keys],
            [ware[key][0] for key in keys],
            self.context.mark(FILLING),
            word="filling",
            group="volume",
            reading=reading,
            reading_deviations=reading_deviations(table, name, stated, operation.source),
            temperature=self.operations.temperature_of(symbol),
        )
        if name != symbol:
            table.formula(symbol, symbol, operation.unit, volume * convert(1.0, own_unit, operation.unit))

    def _dry_mass(self, table: TableBuilder, symbol: str, operation: DryMassFactor) -> None:
        name = f"{symbol}.moisture"
        moisture = self._amounts(
            table, name, "%", operation.column, operation.moisture, ("symbols", symbol, "moisture")
        )
        self._leaf_with_stated_u(table, name, symbol, "dry mass", "moisture as received")
        table.formula(symbol, symbol, "", 100 / (100 - moisture), "common practice, no source")

    def _own_input(self, table: TableBuilder, symbol: str, operation: Input) -> None:
        if operation.column:
            self._amounts(table, symbol, operation.unit, operation.column, None, ("symbols", symbol))
        else:
            row = self.operations.case_rows[symbol][0][1]
            table.pick(f"estimate of {symbol}", INPUTS, "estimate", [row] * table.size)
            table.formula(symbol, symbol, operation.unit, Symbol(f"estimate of {symbol}"))
        self._leaf_with_stated_u(table, symbol, symbol, operation.group or symbol, operation.quantity)

    def _leaf_with_stated_u(
        self,
        table: TableBuilder,
        name: str,
        symbol: str,
        group: str,
        quantity: str,
        members: Sequence[Hashable] | None = None,
    ) -> None:
        """A leaf whose uncertainty stands in the table of stated inputs, relative or absolute; each row is a deviation
        of its own without `members`."""
        rows = []
        for portion in self.portions:
            matrix = portion.matrix if portion else ""
            chosen = self.operations.input_row(symbol, "", "", matrix)
            rows.append(chosen[0] if chosen else -1)
        u = table.pick(f"stated u of {name}", INPUTS, "u", rows)
        table.pick(f"stated dof of {name}", INPUTS, "dof", rows, absent=1e99)
        entries = [self.operations.entries[row] for row in rows]
        relative = [is_relative(entry) and entry.estimate is None for entry in entries]
        ways: list[Operand] = [u, u / 100 * apply("abs", Symbol(name))]
        if all(relative):
            ways.reverse()
        way = None if all(relative) or not any(relative) else np.array(relative, dtype=np.int64)
        table.formula(
            f"u({name})", f"u({name})", entries[0].unit, ways[0], "", ways[1:] if way is not None else [], way
        )
        stated = [entry.stated for entry in entries]
        finite = any(each.dof or each.reliability or each.readings for each in stated)
        dof = None
        if finite:
            dof = f"ν of {name}"
            table.formula(dof, dof, "", Symbol(f"stated dof of {name}"))
        traits = [
            Trait(
                name,
                quantity,
                group,
                each.evaluation or "B",
                each.limits or ("t" if each.dof or each.reliability or each.readings else "normal"),
                each.source,
                shape_parameter(each),
                cited_items(each),
            )
            for each in stated
        ]
        shared_estimate = [("stated", row) for row in rows] if finite else None
        table.leaf(name, f"u({name})", traits, dof=dof, members=members, estimates=shared_estimate)
