"""What the operations of a run know of its symbols: rows of the tables that hold them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ubudget.bench.balances import Balance
from ubudget.bench.cases import best_rows
from ubudget.bench.context import Context
from ubudget.bench.limits import Limits
from ubudget.bench.placed import Placed
from ubudget.bench.precision import Parameters
from ubudget.bench.stated import Entry
from ubudget.bench.structure import Structure
from ubudget.bench.temperature import TemperatureRows
from ubudget.records.method import InputCase


@dataclass
class SymbolRows:
    """Tables and row numbers of one run while it is assembled."""

    context: Context
    structure: Structure | None
    entries: list[Entry] = field(default_factory=list)
    case_rows: dict[str, list[tuple[InputCase, int]]] = field(default_factory=dict)
    """Symbol → its cases with their rows in the table of stated inputs."""
    component_rows: dict[str, list[int]] = field(default_factory=dict)
    temperature_rows: dict[str, TemperatureRows] = field(default_factory=dict)
    part_rows: dict[str, dict[str, int]] = field(default_factory=dict)
    """Symbol of a volume → rows of its value and of the limits of reading it, by key of the method."""
    precision_rows: list[Parameters] = field(default_factory=list)
    ware: dict[str, tuple[int, Limits]] = field(default_factory=dict)
    balances: dict[str, tuple[int, Balance]] = field(default_factory=dict)
    weighing_rows: dict[str, dict[str, int]] = field(default_factory=dict)
    """Symbol of a weighing → what it states of air, sample and vessel → row of the stated inputs."""
    minimum_rows: dict[str, int] = field(default_factory=dict)
    line_rows: dict[str, int] = field(default_factory=dict)
    dilution_tables: dict[str, str] = field(default_factory=dict)
    addition_rows: dict[int, int] = field(default_factory=dict)
    """Row of the measured lines → row of the lines of standard additions."""
    weight_rows: dict[str, int] = field(default_factory=dict)
    """Element → row of its stated atomic weight in the table of stated inputs."""
    overlap_rows: list[int] = field(default_factory=list)
    """For each overlap of the method the row of its factor in the table of stated inputs."""
    device_rows: dict[str, int] = field(default_factory=dict)
    """What a method declares of a device's curves → row of the stated inputs."""
    placed: dict[str, Placed] = field(default_factory=dict)
    """Symbols whose values stand in a table of their own."""
    preparation_rows: dict[str, int] = field(default_factory=dict)
    density_rows: dict[tuple[str | int, ...], int] = field(default_factory=dict)
    """Path of a density in its record → row of the stated inputs."""
    stability_rows: dict[str, int] = field(default_factory=dict)
    """Prepared standard of the register → row of the stated inputs."""
    ware_unit: str = "mL"

    def each(self, kind: type[Any]) -> list[tuple[str, Any]]:
        """Symbols of one operation, with their records."""
        return [
            (symbol, operation)
            for symbol, operation in self.context.records.method.symbols.items()
            if isinstance(operation, kind)
        ]

    def input_row(self, symbol: str, analyte: str, line: str, matrix: str) -> list[int]:
        """Rows of the stated inputs that apply to a result: one, or bands by rising level."""
        cases = self.case_rows[symbol]
        chosen = best_rows([case for case, _ in cases], analyte, line, matrix)
        return [cases[number][1] for number in chosen]

    def temperature_of(self, symbol: str) -> TemperatureRows | None:
        return self.temperature_rows.get(symbol)
