"""Lines of budgets, made from the columns of the graph when a result's budget is asked for."""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.evaluation.propagation import Slot
from ubudget.quantity.graph import INFINITE_DOF, Array, Graph, Label, Trait
from ubudget.quantity.numbers import Numbers


@dataclass(frozen=True)
class BudgetRow:
    """One input quantity of one result (EA-4/02 4.2). For a covariance, contribution is a variance and estimate,
    u and c are None."""

    symbol: str
    quantity: str
    group: str
    estimate: float | None
    unit: str
    standard_uncertainty: float | None
    evaluation: str
    distribution: str
    degrees_of_freedom: float | None
    """None = infinite."""
    sensitivity_coefficient: float | None
    contribution: float
    share: float
    source: str


@dataclass(frozen=True, eq=False)
class SlotReader:
    """The columns of one slot, looked up once for the budgets of all results."""

    slot: Slot
    traits: tuple[Trait, ...]
    unit: str
    units: tuple[str, ...]
    """Units of single rows where the table of the input quantity mixes units, else none."""
    estimate: Array
    u: Array
    dof: Array | None
    sensitivity: Array
    contribution: Array

    def row(self, result: int, variance: float, of: str = "") -> BudgetRow:
        """The line of this input quantity in the budget of a result that has it; `of` says whose it is."""
        member = int(self.slot.rows[result])
        trait = self.traits[member]
        dof = None if self.dof is None else float(self.dof[member])
        contribution = float(self.contribution[result])
        return BudgetRow(
            self.slot.symbol,
            f"{trait.quantity} ({of})" if of else trait.quantity,
            trait.group,
            float(self.estimate[member]),
            (self.units[member] if self.units else "") or self.unit,
            float(self.u[member]),
            trait.evaluation,
            trait.distribution,
            None if dof is None or dof >= INFINITE_DOF / 10 else dof,
            float(self.sensitivity[result]) + 0.0,
            contribution + 0.0,
            contribution**2 / variance if variance > 0 else 0.0,
            trait.source,
        )


def slot_reader(graph: Graph, numbers: Numbers, results: str, slot: Slot) -> SlotReader:
    """The reader of a slot; `results` is the table whose rows the budgets belong to."""
    table = graph.tables[slot.table]
    leaf = table.leaf_of[slot.column]
    unit = getattr(table.by_name[slot.column], "unit", "")
    units = _units_of_rows(graph, slot)
    return SlotReader(
        slot,
        leaf.traits,
        unit if units else unit or "1",
        units,
        numbers.column(slot.table, slot.column),
        numbers.column(slot.table, leaf.u),
        None if leaf.dof is None else numbers.column(slot.table, leaf.dof),
        numbers.column(results, slot.sensitivity),
        numbers.column(results, slot.contribution),
    )


def unit_of_leaf(graph: Graph, slot: Slot, member: int) -> str:
    """Unit of an input quantity: of its column, or of its row where a table mixes units."""
    units = _units_of_rows(graph, slot)
    return units[member] if units else getattr(graph.tables[slot.table].by_name[slot.column], "unit", "") or "1"


def _units_of_rows(graph: Graph, slot: Slot) -> tuple[str, ...]:
    column = graph.tables[slot.table].by_name.get("unit")
    return column.values if isinstance(column, Label) and slot.column == "estimate" else ()
