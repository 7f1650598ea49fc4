"""Steps from one solution to the next, aliquot over what it is made up to, each by volume or by mass.

Where a content refers to a volume and the solution was weighed, or the reverse, its density goes between them. Steps of
one form stand in one table.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import COUNTED, Context
from ubudget.bench.set_volumes import set_volumes
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.bench.volume import DELIVERY, FILLING, TemperatureRows, add_volume
from ubudget.bench.weighing import EFFECT as WEIGHING
from ubudget.bench.weighing import Reading, ReadingDeviations
from ubudget.quantity.expression import ZERO, Expression, Number, Symbol
from ubudget.quantity.graph import Place
from ubudget.quantity.units import convert
from ubudget.records.preparation import DilutionStep
from ubudget.records.preparation_chains import MASS, Basis
from ubudget.records.records import Role

BY_VOLUME, BY_MASS, MASS_INTO_VOLUME, VOLUME_INTO_MASS = "", " by mass", ", mass into volume", ", volume into mass"
FORMS = {
    (True, True): BY_VOLUME,
    (False, False): BY_MASS,
    (False, True): MASS_INTO_VOLUME,
    (True, False): VOLUME_INTO_MASS,
}
"""(Aliquot by volume, made up by volume) → end of the table's name."""
TableRow = tuple[str, int]
"""Table and row of a step."""


@dataclass(frozen=True)
class StepUse:
    """One step of one solution."""

    labels: tuple[str, ...]
    step: DilutionStep
    document: Role
    path: tuple[str | int, ...]
    vessel: Hashable
    """Identity of the filling: what is made in one vessel has one volume and one mass."""
    source: Basis
    made: Basis
    density: int = -1
    """Row of the stated inputs that holds the density of the solution taken, where one is needed."""
    density_made: int = -1
    covered: bool = False
    """Whether what the method says of the repeatability applies; else it is counted."""

    @property
    def form(self) -> str:
        return FORMS[bool(self.step.aliquot), bool(self.step.to)]


@dataclass(frozen=True)
class Wording:
    """Names of the tables and columns of one kind of steps."""

    table: str
    title: str
    labels: tuple[tuple[str, str], ...]
    """Name and heading of each label."""
    symbol: str
    group: str
    effect: str = ""
    """The one effect of all repeatability; empty: delivery, filling and weighing, each its own."""
    factor: str = "aliquot / flask"
    inverse: bool = False
    """Whether the factor is what was made over the aliquot."""


def build_steps(
    rows: SymbolRows, uses: Sequence[StepUse], words: Wording, temperature: TemperatureRows | None
) -> list[TableRow]:
    """A table for each form of step and each balance, column `factor`; gives table and row of every use."""
    place: dict[int, TableRow] = {}
    for form in FORMS.values():
        balances = list(dict.fromkeys(use.step.balance for use in uses if use.form == form))
        for balance in balances:
            numbers = [n for n, use in enumerate(uses) if use.form == form and use.step.balance == balance]
            name = f"{form} on {balance}" if len(balances) > 1 else form
            chosen = [uses[number] for number in numbers]
            _StepTable(rows, chosen, words, name, temperature).build()
            place |= {number: (f"{words.table}{name}", row) for row, number in enumerate(numbers)}
    return [place[number] for number in range(len(uses))]


class _StepTable:
    """Steps of one form, weighed on one balance."""

    def __init__(
        self,
        rows: SymbolRows,
        uses: Sequence[StepUse],
        words: Wording,
        name: str,
        temperature: TemperatureRows | None,
    ) -> None:
        self.rows, self.uses, self.words, self.form = rows, uses, words, uses[0].form
        self.context: Context = rows.context
        self.table = TableBuilder(f"{words.table}{name}", f"{words.title}{name}", len(uses), self.context.shared)
        self.symbol = words.symbol
        both = self.form == BY_VOLUME
        # One temperature shared by pipette and flask leaves their ratio as it is.
        self.temperature = None if both and temperature and temperature.shared else temperature

    def build(self) -> None:
        table, steps = self.table, [use.step for use in self.uses]
        for number, (name, heading) in enumerate(self.words.labels):
            table.label(name, heading, [use.labels[number] for use in self.uses])
        if steps[0].aliquot:
            table.label("aliquot item", "pipette", [step.aliquot for step in steps])
        if steps[0].to:
            table.label("flask item", "flask", [step.to for step in steps])
        if steps[0].balance:
            table.label("balance", "balance", [step.balance for step in steps])
        taken = self._content_amount("aliquot", self._amount("aliquot"))
        made = self._content_amount("made", self._amount("made"))
        self._factor(taken, made)
        self.context.tables[table.name] = table.build()

    # -- volumes and masses -----------------------------------------------------------------------------------------

    def _amount(self, part: str) -> Symbol:
        """Volume or mass of the aliquot, or of what is made."""
        aliquot = part == "aliquot"
        if self.uses[0].step.aliquot if aliquot else self.uses[0].step.to:
            keys = [use.step.aliquot if aliquot else use.step.to for use in self.uses]
            return self._volume("aliquot" if aliquot else "flask", "delivery" if aliquot else "filling", keys)
        return self._mass("aliquot" if aliquot else "total")

    def _mark(self, effect: str) -> str:
        return self.context.mark(self.words.effect or effect)

    def _volume(self, name: str, word: str, keys: Sequence[str]) -> Symbol:
        ware = self.rows.ware
        mark = self._mark(DELIVERY if word == "delivery" else FILLING)
        symbol, unit, rows = f"{self.symbol}.{name}", self.rows.ware_unit, [ware[key][0] for key in keys]
        taken = None
        if word == "delivery":
            fields = [(use.document, (*use.path, "set_to")) for use in self.uses]
            amounts = [use.step.set_to for use in self.uses]
            taken = set_volumes(self.context, self.table, symbol, unit, amounts, fields, rows)
        return add_volume(
            self.context,
            self.table,
            symbol,
            unit,
            [ware[key][1] for key in keys],
            rows,
            mark,
            word=word,
            group=self.words.group,
            reading=taken,
            temperature=self.temperature,
            # An unnumbered flask or tube is new for each standard: its deviation shows in the scatter of the levels.
            own_calibration_mark=mark if self.words.effect else COUNTED,
            uses=[use_key(use) for use in self.uses] if word == "filling" else None,
            covered=[use.covered for use in self.uses] if self.words.effect else None,
        )

    def _mass(self, reading: str) -> Symbol:
        """Net mass = reading, with its deviations and less those of the empty vessel."""
        table, key = self.table, f"{reading}_mass"
        name = f"{self.symbol}.{reading}"
        amounts = [getattr(use.step, key) for use in self.uses]
        values = [
            self.context.in_unit(amount, MASS, use.document, f"{' '.join(use.labels)}, {key}") or 0.0
            for use, amount in zip(self.uses, amounts, strict=True)
        ]
        places = [Place(use.document, (*use.path, key), MASS) for use in self.uses]
        stated = table.given(f"{name} reading", f"{name}, as read", MASS, values, places)
        mark = self._mark(WEIGHING)
        covered = [use.covered for use in self.uses] if self.words.effect else None
        row, balance = self.rows.balances[self.uses[0].step.balance]
        weighing = ReadingDeviations(
            table,
            self.symbol,
            MASS,
            balance,
            row,
            mark,
            self.context,
            self.words.group,
            covered,
            [use.labels[0] for use in self.uses],
            [use_key(use) for use in self.uses],
        )
        # The display was set to zero with the vessel on it: aliquot and total share the reading of the empty vessel.
        empty = f"{self.symbol}.empty vessel"
        if not table.has(empty):
            zero = Reading("empty", -1, ZERO, ZERO, at_zero=True)
            deviation = _total(weighing.deviations(zero)) - weighing.correction(zero)
            table.formula(empty, "deviation, empty vessel", MASS, deviation)
        loaded = Reading(reading, 1, stated, stated)
        net = stated - weighing.correction(loaded) + _total(weighing.deviations(loaded)) - Symbol(empty)
        if balance.in_use is None and weighing.has_span_error:
            net = net + weighing.span_error(stated)
        return table.formula(name, name, MASS, net, "weighing on a tared balance; EURAMET cg-18, 7.4")

    # -- contents ---------------------------------------------------------------------------------------------------

    def _content_amount(self, part: str, amount: Symbol) -> Symbol:
        """The amount by what the content refers to, through the density where the two differ."""
        aliquot = part == "aliquot"
        by_volume = bool(self.uses[0].step.aliquot if aliquot else self.uses[0].step.to)
        own: Basis = "volume" if by_volume else "mass"
        wanted = [use.source if aliquot else use.made for use in self.uses]
        if all(basis == own for basis in wanted):
            return amount
        key = "density" if aliquot else "density_made"
        found = [
            -1 if basis == own else use.density if aliquot else use.density_made
            for use, basis in zip(self.uses, wanted, strict=True)
        ]
        density = self.table.pick(f"{self.symbol}.{key}", INPUTS, "estimate", found, absent=1.0)
        units = {self.rows.ware_unit if basis == "volume" else MASS for basis in wanted}
        words = "solution taken" if aliquot else "solution made"
        return self.table.formula(
            f"{self.symbol}.{part} by its content",
            f"{words}, as its content refers to it",
            units.pop() if len(units) == 1 else "",
            amount,
            "mass = volume · density",
            [amount * density if by_volume else amount / density],
            np.array([0 if basis == own else 1 for basis in wanted], dtype=np.int64),
        )

    def _factor(self, taken: Symbol, made: Symbol) -> None:
        ratio: Expression = made / taken if self.words.inverse else taken / made
        kilogram = convert(1.0, f"{MASS}/{self.rows.ware_unit}", "kg/L")
        crossing = [use.source != use.made for use in self.uses]
        others, way = [], None
        if any(crossing) and kilogram != 1:
            # Contents by mass times g/mL are contents by volume; another unit of volume leaves a plain number.
            others = [ratio * kilogram, ratio / kilogram]
            way = np.array(
                [
                    0 if not crosses else 1 if use.made == "volume" else 2
                    for use, crosses in zip(self.uses, crossing, strict=True)
                ],
                dtype=np.int64,
            )
        heading = self.words.factor
        if self.form != BY_VOLUME and not self.words.inverse:
            heading = "aliquot / total"
        self.table.formula("factor", heading, "", ratio, "", others, way)


def use_key(use: StepUse) -> tuple[Hashable, ...]:
    return (use.document, use.vessel)


def _total(parts: Sequence[Expression]) -> Expression:
    """Their sum; zero for a balance of which nothing is stated."""
    total: Expression = Number(0)
    for part in parts:
        total = total + part
    return total
