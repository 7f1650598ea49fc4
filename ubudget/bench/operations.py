"""Every symbol of the method turned into tables by the operation that defines it.

`Operations.build` makes the tables below the results; the results table then picks each symbol's column.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from typing import Any

from ubudget.bench.added_volumes import ware_of_additions
from ubudget.bench.additions import build_additions
from ubudget.bench.balances import balance_of, build_balances
from ubudget.bench.buoyancy import build_buoyancy, weighing_entries
from ubudget.bench.calibration import build_calibration
from ubudget.bench.context import MASS_SHOWN
from ubudget.bench.device import build_device, enter_device
from ubudget.bench.dilution import build_dilutions
from ubudget.bench.limits import Limits, limits_of, register_items
from ubudget.bench.lines import build_lines
from ubudget.bench.minimum import Ruled, build_minimums
from ubudget.bench.molar_mass import build_molar_masses, enter_atomic_weights
from ubudget.bench.overlap import build_overlaps, enter_overlaps
from ubudget.bench.part_volumes import enter_part_volume
from ubudget.bench.portions import PortionTables
from ubudget.bench.precision import build_precision, case_words, parameters_of
from ubudget.bench.preparation_inputs import (
    density_entries,
    dilution_entries,
    stability_entries,
    steps_of_standards,
)
from ubudget.bench.recovery import build_recoveries
from ubudget.bench.sample_densities import density_entries_of, density_of
from ubudget.bench.stated import Entry, build_inputs
from ubudget.bench.structure import Structure
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.bench.temperature import enter_temperature
from ubudget.bench.ware import build_ware
from ubudget.records.additions import StandardAdditions
from ubudget.records.amount import Amount
from ubudget.records.calibration import Calibration
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.method import DryMassFactor, Input, InputCase, Precision
from ubudget.records.preparation import DilutionStep
from ubudget.records.preparation_chains import Basis, basis_of
from ubudget.records.volume import Dilution, Volume
from ubudget.records.weighing import Weighing


class Operations(SymbolRows):
    """Builds the tables below the results, and remembers where each symbol stands."""

    def build(self) -> None:
        volumes = self.each(Volume)
        self.ware_unit = volumes[0][1].unit if volumes else "mL"
        self._collect_entries()
        self._collect_preparations()
        enter_atomic_weights(self)
        enter_overlaps(self)
        enter_device(self)
        self._collect_equipment()
        if self.entries:
            build_inputs(self.context, self.entries)
        build_molar_masses(self)
        build_recoveries(self)
        if self.balances:
            build_balances(self.context, [balance for _, balance in self.balances.values()], MASS_SHOWN)
            self._build_weighings()
        if self.ware:
            build_ware(self.context, [limits for _, limits in self.ware.values()], self.ware_unit)
        if self.context.records.method.data:
            self.line_rows = build_lines(self.context, self.context.records.method.data)
        for symbol, operation in self.each(Precision):
            self.precision_rows += parameters_of(symbol, operation)
        if self.precision_rows:
            build_precision(self.context, self.precision_rows, self.context.records.method.document.unit)
        PortionTables(self).build()
        if self.structure is not None:
            self._build_dilutions(self.structure)
            build_calibration(self, self.structure)
            build_device(self, self.structure)
            build_additions(self, self.structure)
            build_overlaps(self, self.structure)

    # -- stated inputs ----------------------------------------------------------------------------------------------

    def _enter(self, entry: Entry) -> int:
        self.entries.append(entry)
        return len(self.entries) - 1

    def _collect_entries(self) -> None:
        for symbol, operation in self.each(Input):
            self._enter_input(symbol, operation)
        for symbol, operation in self.each(DryMassFactor):
            entry = Entry(
                f"{symbol}.moisture",
                "all",
                "moisture as received",
                "dry mass",
                "%",
                operation,
                operation.moisture,
                ("symbols", symbol),
                "moisture",
            )
            self.case_rows[symbol] = [(InputCase(), self._enter(entry))]
        for symbol, operation in self.each(Weighing):
            entries = weighing_entries(symbol, operation)
            self.weighing_rows[symbol] = {key: self._enter(entry) for key, entry in entries.items()}
            if operation.buoyancy is not None and operation.buoyancy.by_sample:
                densities = density_entries_of(symbol, operation.buoyancy)
                self.case_rows[density_of(symbol)] = [(case, self._enter(entry)) for case, entry in densities]
        for kind in (Volume, Dilution, Calibration):
            for symbol, operation in self.each(kind):
                if operation.temperature is not None:
                    rows = enter_temperature(symbol, operation.temperature, self._enter)
                    self.temperature_rows[symbol] = rows
        for symbol, operation in self.each(Volume):
            self.part_rows[symbol] = enter_part_volume(symbol, operation, self.ware_unit, self._enter)
        for symbol, operation in self.each(Calibration):
            if operation.preparation is not None:
                path = ("symbols", symbol, "preparation")
                entry = Entry(
                    f"{symbol}.preparation",
                    "all",
                    "preparation of the standards, relative",
                    "stock",
                    "",
                    operation.preparation,
                    None,
                    path,
                )
                self.preparation_rows[""] = self._enter(entry)

    def _collect_preparations(self) -> None:
        """Densities and stabilities of solutions; those of standards only where standards are calculated."""
        found = [
            entry
            for symbol, operation in self.each(Dilution)
            for entry in dilution_entries(symbol, operation, self.ware_unit)
        ]
        if self.each(Calibration) or self.each(StandardAdditions):
            found += density_entries(self.context.records, self.ware_unit)
            for label, entry in stability_entries(self.context.records):
                self.stability_rows[label] = self._enter(entry)
        for entry in found:
            self.density_rows[entry.path] = self._enter(entry)

    def _enter_input(self, symbol: str, operation: Input) -> None:
        base = _case_of(operation)
        cases: list[tuple[InputCase, tuple[str | int, ...]]] = []
        if _states(operation):
            cases.append((base, ("symbols", symbol)))
        cases += [(case, ("symbols", symbol, "for", number)) for number, case in enumerate(operation.cases)]
        group = operation.group or symbol
        rows = []
        for case, path in cases:
            estimate = case.estimate or (None if operation.column else operation.estimate)
            key = path if case.estimate else ("symbols", symbol)
            if estimate is None and not operation.column and case.readings is None:
                self.context.find(
                    "stop",
                    "method",
                    f"symbol {symbol} ({case_words(case)})",
                    "no estimate",
                    "an estimate, readings, or a column of the samples table",
                    "add estimate = …",
                )
            entry = Entry(
                symbol,
                case_words(case),
                operation.quantity,
                group,
                operation.unit,
                case,
                estimate,
                key if case.estimate is None and estimate is not None else path,
                "estimate",
            )
            rows.append((case, self._enter(entry)))
        self.case_rows[symbol] = rows
        self.component_rows[symbol] = [
            self._enter(
                Entry(
                    f"{symbol}.{component.name}",
                    "all",
                    component.name,
                    component.group or group,
                    operation.unit,
                    component,
                    Amount(0.0, operation.unit, "0"),
                    ("symbols", symbol, "component", number),
                    "",
                )
            )
            for number, component in enumerate(operation.components)
        ]

    # -- equipment --------------------------------------------------------------------------------------------------

    def _collect_equipment(self) -> None:
        items = register_items(self.context)
        used: list[str] = []
        made: list[DilutionStep] = []
        for symbol, operation in self.each(Volume):
            if operation.ware:
                used.append(operation.ware)
            elif operation.ware_column and self.structure is not None:
                rows = self.structure.blanks if operation.of == "blank" else self.structure.portions
                used += [str(portion.columns.get(operation.ware_column, "")) for portion in rows]
            elif operation.nominal or operation.tolerance or operation.is_reading:
                self.ware[symbol] = (len(self.ware), _limits_in_method(symbol, operation))
        if self.structure is not None and self.each(Dilution):
            for steps in self.structure.steps.values():
                made += [placed.step for placed in steps]
        run = self.context.records.run
        if run is not None and (self.each(Calibration) or self.each(StandardAdditions)):
            made += steps_of_standards(self.context.records)
            used += ware_of_additions(run.file.additions)
        used = [*used, *(key for step in made for key in (step.aliquot, step.to))]
        for key in used:
            if key in items and key not in self.ware:
                number, item = items[key]
                self.ware[key] = (len(self.ware), limits_of(self.context, item, number))
        weights = {key: item for key, (_, item) in items.items()}
        weighings = {operation.balance or symbol: (symbol, operation) for symbol, operation in self.each(Weighing)}
        for key in dict.fromkeys([*(step.balance for step in made if step.balance), *weighings]):
            if key in items:
                number, stated = items[key]
                limits = limits_of(self.context, stated, number)
            else:
                symbol, stated = weighings[key]
                limits = _limits_in_method(symbol, stated)
            self.balances[key] = (len(self.balances), balance_of(self.context, limits, stated, weights))

    # -- weighings --------------------------------------------------------------------------------------------------

    def _build_weighings(self) -> None:
        """Buoyancy and minimum masses, behind the table of balances."""
        ruled: list[Ruled] = []
        for symbol, operation in self.each(Weighing):
            if operation.buoyancy is not None:
                build_buoyancy(self.context, symbol, operation.buoyancy, self.weighing_rows[symbol])
            if operation.minimum is not None:
                row, balance = self.balances[operation.balance or symbol]
                self.minimum_rows[symbol] = len(ruled)
                ruled.append(Ruled(symbol, operation.minimum, balance, row))
        if ruled:
            build_minimums(self.context, ruled, MASS_SHOWN)

    # -- measured solutions -----------------------------------------------------------------------------------------

    def _build_dilutions(self, structure: Structure) -> None:
        for symbol, operation in self.each(Dilution):
            of_blank = operation.of == "blank"
            solutions = [label for label in structure.solutions if (label in structure.blank_solutions) == of_blank]
            self.dilution_tables[symbol] = build_dilutions(
                self, symbol, operation, solutions, structure.steps, self._basis()
            )

    def _basis(self) -> Basis:
        """What the concentration read refers to."""
        for kind in (Calibration, StandardAdditions, DeviceConcentration):
            for _, operation in self.each(kind):
                return basis_of(operation.unit) or "volume"
        return "volume"


def _case_of(operation: Input) -> InputCase:
    """The base statement of an input as a case that applies everywhere."""
    keys = {field.name for field in fields(InputCase)} & {field.name for field in fields(Input)}
    return InputCase(**{key: getattr(operation, key) for key in keys})


def _states(operation: Input) -> bool:
    return operation.states_uncertainty or bool(operation.components) or not operation.cases


def _limits_in_method(symbol: str, operation: Volume | Weighing) -> Limits:
    volume = isinstance(operation, Volume)
    pick: Callable[[str], Any] = lambda key: getattr(operation, key, None)  # noqa: E731 - one short reader
    return Limits(
        key=symbol,
        description=operation.quantity,
        shared=True,
        document="method",
        path=("symbols", symbol),
        nominal=pick("value") or pick("nominal"),
        nominal_key="value" if pick("value") else "nominal",
        tolerance=pick("tolerance") if volume else pick("linearity"),
        tolerance_key="tolerance" if volume else "linearity",
        tolerance_distribution=pick("tolerance_distribution") or "rectangular",
        tolerance_source=operation.source,
        repeatability=operation.repeatability,
        repeatability_dof=operation.repeatability_dof,
        meniscus=pick("meniscus"),
        resolution=pick("resolution"),
    )
