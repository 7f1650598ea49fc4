"""The budgets of a big run by a plain loop with the package `uncertainties`, result by result.

The measurement equation is written out by hand, as somebody with a notebook would; estimates and standard uncertainties
of the input quantities are read from the tables of the graph, none of our partial derivatives is."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import stdtrit
from uncertainties import ufloat

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.quantity.graph import INFINITE_DOF
from ubudget.quantity.numbers import Numbers

LEVEL = "level of the result"


@dataclass(frozen=True)
class Budgets:
    """One row a result, one column an input quantity."""

    values: np.ndarray
    sensitivities: np.ndarray
    contributions: np.ndarray
    shares: np.ndarray
    u: np.ndarray
    dof: np.ndarray
    expanded: np.ndarray


class Inputs:
    """Rows and numbers of the graph as plain lists, so that the loop does nothing but calculate."""

    def __init__(self, assembly: Assembly, numbers: Numbers) -> None:
        self.tables = assembly.graph.tables
        self.numbers = numbers
        self._lists: dict[tuple[str, str], list[float]] = {}
        self._rows: dict[tuple[str, str], list[int]] = {}

    def number(self, table: str, column: str, row: int) -> float:
        key = (table, column)
        if key not in self._lists:
            self._lists[key] = self.numbers.column(table, column).tolist()
        return self._lists[key][row]

    def row(self, table: str, symbol: str, row: int) -> int:
        """Row of the other table to which a symbol of a row refers."""
        key = (table, symbol)
        if key not in self._rows:
            self._rows[key] = self.tables[table].references[symbol].rows.tolist()
        return self._rows[key][row]


class Loop:
    """Input quantities as variables of the package, one for each physical deviation of a result.

    `thrifty`: variables, and what several results share (curve with stock and blank, volumes, masses), are kept from
    one result to the next."""

    def __init__(self, inputs: Inputs, thrifty: bool) -> None:
        self.at = inputs
        self.thrifty = thrifty
        self.variables: dict[int, Any] = {}
        self.named: dict[Any, tuple[int, float, int]] = {}
        """Variable → physical deviation, degrees of freedom, variance estimate."""
        self.known: dict[tuple[str, int], Any] = {}

    def leaf(self, table: str, column: str, row: int) -> Any:
        leaf = self.at.tables[table].leaf_of[column]
        member = int(leaf.members[row])
        if member not in self.variables:
            u = self.at.number(table, leaf.u, row)
            variable = self.variables[member] = ufloat(self.at.number(table, column, row), u)
            dof = INFINITE_DOF if leaf.dof is None else self.at.number(table, leaf.dof, row)
            self.named[variable] = (member, dof, int(leaf.estimates[row]))
        return self.variables[member]

    def once(self, name: str, row: int, make: Any) -> Any:
        if not self.thrifty:
            return make(row)
        key = (name, row)
        if key not in self.known:
            self.known[key] = make(row)
            if hasattr(self.known[key], "derivatives"):
                # The package keeps derivatives of derivatives until asked; asked late, they are walked each time.
                _ = self.known[key].derivatives
        return self.known[key]

    def scale(self, curve: int) -> Any:
        """Factor of the standards' concentrations: preparation, and the stock relative to its certified value."""
        points = self.at.tables["curves"].references["all mark"]
        standard = self.at.row("standard readings", "x of the standard", int(points.start[curve]))
        stock = self.at.row("standards", "c_stock", standard)
        made = self.leaf("curves", "c.preparation", curve)
        return (1 + made) * self.leaf("stocks", "value", stock) / self.at.number("stocks", "value", stock)

    def concentration(self, curve: int, reading: Any) -> Any:
        slope = self.leaf("curves", "slope", curve)
        middle = self.leaf("curves", "y_mean", curve)
        scale = self.once("scale", curve, self.scale)
        return scale * (self.at.number("curves", "mean of x", curve) + (reading - middle) / slope)

    def blank(self, row: int) -> Any:
        curve = self.at.row("blanks", "slope of the curve", row)
        found = self.concentration(curve, self.at.number("blanks", "mean reading", row))
        return found + self.leaf("blanks", "c_blank.mean", row)

    def volume(self, table: str, symbol: str, row: int) -> Any:
        nominal = self.at.number("ware", "volume", self.at.row(table, f"volume of {symbol}", row))
        expansion = self.at.number("inputs", "estimate", self.at.row(table, f"expansion of {symbol}", row))
        warmth = self.leaf("inputs", "estimate", self.at.row(table, f"{symbol}.temperature", row))
        calibration = self.leaf(table, f"{symbol}.calibration", row)
        filling = self.leaf(table, f"{symbol}.filling", row)
        return nominal + calibration + filling - nominal * expansion * warmth

    def part(self, row: int, symbol: str, new: str) -> Any:
        table = "dilution steps of f"
        nominal = self.at.number("ware", "volume", self.at.row(table, f"volume of {symbol}", row))
        deviations = [self.leaf(table, f"{symbol}.{name}", row) for name in ("calibration", new)]
        return nominal + deviations[0] + deviations[1]

    def mass(self, row: int) -> Any:
        def deviation(name: str) -> Any:
            return self.leaf("portions", name, row)

        gross, tare = (
            deviation(f"m.{pan} indication") + deviation(f"m.{pan} resolution") + deviation(f"m.{pan} repeatability")
            for pan in ("gross", "tare")
        )
        return self.at.number("portions", "m.gross", row) - self.at.number("portions", "m.tare", row) + gross - tare

    def dilution(self, row: int) -> Any:
        step = self.at.row("dilutions of f", "step 1", row)
        return self.part(step, "f.flask", "filling") / self.part(step, "f.aliquot", "delivery")

    def dry(self, row: int) -> Any:
        return 100 / (100 - self.leaf("portions", "F_dry.moisture", row))

    def result(self, row: int) -> Any:
        if not self.thrifty:
            self.variables, self.named = {}, {}
        measured = self.at.row(RESULTS, "c from measured lines", row)
        portion = self.at.row(RESULTS, "m from portions", row)
        curve = self.at.row("measured lines", "slope of the curve", measured)
        c = self.concentration(curve, self.leaf("measured lines", "reading", measured))
        volume = self.once("V", portion, lambda number: self.volume("portions", "V", number))
        factor = self.once("f", self.at.row(RESULTS, "f from dilutions of f", row), self.dilution)
        blank = self.once("c_blank", self.at.row(RESULTS, "mean c_blank", row), self.blank)
        blank = blank + self.leaf(RESULTS, "c_blank.own", row)
        blank_volume = self.once(
            "V_blank",
            self.at.row(RESULTS, "V_blank from blank portions", row),
            lambda number: self.volume("blank portions", "V_blank", number),
        )
        mass, dry = self.once("m", portion, self.mass), self.once("F_dry", portion, self.dry)
        recovery = self.leaf("inputs", "estimate", self.at.row(RESULTS, "R from inputs", row))
        level = (c * volume * factor - blank * blank_volume) / (mass * recovery) * dry
        between = self.leaf(RESULTS, "d_L.relative", row)
        plain = self.at.number(RESULTS, LEVEL, row)
        return level + between * plain


def budgets(inputs: Inputs, members: np.ndarray, probability: float, *, thrifty: bool) -> Budgets:
    """Value, contributions, shares, u, effective degrees of freedom (GUM G.4.1) and U of every result.

    `members` says which deviation stands in which column, one row a result."""
    loop = Loop(inputs, thrifty)
    size = len(members)
    values, u, dofs, expanded = (np.zeros(size) for _ in range(4))
    sensitivities, contributions, shares = (np.zeros(members.shape) for _ in range(3))
    for row, here in enumerate(members.tolist()):
        place = {member: column for column, member in enumerate(here)}
        result = loop.result(row)
        values[row], u[row] = result.nominal_value, result.std_dev
        variances: dict[int, float] = defaultdict(float)
        known: dict[int, float] = {}
        for variable, derivative in result.derivatives.items():
            member, dof, estimate = loop.named[variable]
            part = derivative * variable.std_dev
            column = place[member]
            sensitivities[row, column] = derivative
            contributions[row, column] = part
            shares[row, column] = part**2 / u[row] ** 2
            if dof < INFINITE_DOF / 10:
                shared = estimate if estimate >= 0 else -2 - member
                variances[shared] += part**2
                known[shared] = dof
        terms = [(variance / u[row] ** 2) ** 2 / known[shared] for shared, variance in variances.items()]
        dofs[row] = 1 / sum(terms)
        expanded[row] = stdtrit(max(1, int(dofs[row] + 1e-6)), (1 + probability) / 2) * u[row]
    return Budgets(values, sensitivities, contributions, shares, u, dofs, expanded)
