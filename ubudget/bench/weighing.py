"""Weighing: two readings of one balance, each with its own deviations (QUAM A2; EURAMET cg-18, 7.1 and 7.4).

Linearity (or the error of indication), resolution, repeatability and eccentricity are new at each reading. Only errors
of the span, proportional to the load, are one deviation of the balance for the whole run, and cancel in part.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from ubudget.bench.balances import BALANCES, DRIFT, TEMPERATURE, Balance
from ubudget.bench.building import TableBuilder
from ubudget.bench.certified_points import LOADS, AtPoints, at_points
from ubudget.bench.context import COUNTED, MASS_SHOWN, Context
from ubudget.bench.limits import shape_of
from ubudget.bench.load_repeatability import s_at
from ubudget.quantity.distributions import divisor
from ubudget.quantity.expression import ZERO, Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import Trait
from ubudget.quantity.units import convert

EFFECT = "weighing repeatability"
CLAUSES = {
    "by difference": "weighing by difference, QUAM A2",
    "tared": "weighing on a tared balance; EURAMET cg-18, 7.4",
    "direct": "direct weighing; EURAMET cg-18, 7.1.1",
}


@dataclass(frozen=True)
class Reading:
    """One reading of the balance: its sign in the net mass and its load. `zero`: an empty pan, of which only the
    resolution counts; `placed`: the part of the load that was put on the pan anew."""

    name: str
    sign: int
    load: Expression
    placed: Expression
    zero: bool = False
    at_zero: bool = False
    """Whether the display shows zero, so that the resolution at zero holds."""


def by_difference(tare: Expression, gross: Expression) -> tuple[Reading, ...]:
    return Reading("gross", 1, gross, gross), Reading("tare", -1, tare, tare)


def tared(vessel: Expression, net: Expression) -> tuple[Reading, ...]:
    """The vessel stays where it is: eccentricity counts for the net mass alone."""
    return Reading("load", 1, vessel + net, net), Reading("zero", -1, vessel, ZERO, at_zero=True)


def direct(net: Expression) -> tuple[Reading, ...]:
    return Reading("load", 1, net, net), Reading("zero", -1, ZERO, ZERO, zero=True, at_zero=True)


def add_weighing(
    table: TableBuilder,
    symbol: str,
    unit: str,
    form: str,
    readings: Sequence[Reading],
    net: Expression,
    balance: Balance,
    row: int,
    mark: str,
    context: Context,
) -> Expression:
    """Net mass of `symbol` in `unit` with the deviations of both readings, as an expression of `table`; `row` is the
    balance's row, `net` the difference of the readings."""
    weighing = ReadingDeviations(table, symbol, unit, balance, row, mark, context)
    # A deviation of a balance that is told by its certificate shifts both readings alike, and cancels by difference.
    total = net - weighing.error() if form == "direct" and balance.in_use is None else net
    for reading in readings:
        total = total - reading.sign * weighing.correction(reading)
        for deviation in weighing.deviations(reading):
            total = total + reading.sign * deviation
    return total + weighing.span_error(net) if balance.in_use is None and weighing.has_span_error else total


@dataclass(frozen=True)
class ReadingDeviations:
    """The columns of the readings of one balance, `row` of the table `balances`."""

    table: TableBuilder
    symbol: str
    unit: str
    balance: Balance
    row: int
    mark: str
    context: Context
    group: str = "weighing"
    covered: Sequence[bool] | None = None
    """Rows in which the mark of the repeatability holds; all without it."""
    objects: Sequence[str] | None = None
    """What is weighed in each row, where that is not the symbol."""
    vessels: Sequence[Hashable] | None = None
    """Rows of one vessel are one reading; each row is one of its own without it."""

    @property
    def factor(self) -> float:
        """From the unit in which limits are shown to the symbol's."""
        return convert(1.0, MASS_SHOWN, self.unit)

    def pick(self, column: str) -> Symbol:
        return self.table.pick(f"{column} of {self.symbol}", BALANCES, column, [self.row] * self.table.size)

    def deviations(self, reading: Reading) -> list[Expression]:
        if self.balance.in_use is not None:
            return [] if reading.zero else [self._in_use(reading)]
        parts = [] if reading.zero else self._indication(reading)
        if self.balance.stated.resolution:
            parts.append(self._resolution(reading))
        if reading.zero:
            return parts
        if self.balance.repeatability:
            parts.append(self._repeatability(reading))
        if self.balance.stated.eccentricity and reading.placed != ZERO:
            parts.append(self._eccentricity(reading))
        return parts

    def error(self) -> Expression:
        """Error of indication by which a direct reading is corrected."""
        if self.balance.indication == "certificate":
            return self.pick("certified") * self.factor
        return self.pick("error") * self.factor if self.balance.indication == "check" else ZERO

    def correction(self, reading: Reading) -> Expression:
        """Error of indication at the load of a reading, by which it is corrected; zero where none is known by load."""
        corrected = self.balance.stated.indication_errors == "corrected"
        if not self._by_load or reading.zero or not corrected or self.balance.in_use is not None:
            return ZERO
        name = f"{self.symbol}.{reading.name} error"
        error = self._at_load("error", reading)
        clause = "EURAMET cg-18, 7.4: linear between the loads of the certificate"
        return self.table.formula(name, f"error of indication, {reading.name} reading", self.unit, error, clause)

    @property
    def _by_load(self) -> AtPoints | None:
        return at_points(self.context, self.table, LOADS, [self.balance.limits] * self.table.size)

    def _at_load(self, column: str, reading: Reading) -> Expression:
        points = self._by_load
        assert points is not None
        return points.value(column, f"{self.symbol}.{reading.name}", self._shown(reading.load)) * self.factor

    @property
    def has_span_error(self) -> bool:
        stated = self.balance.stated
        return stated.temperature_coefficient is not None or stated.adjustment_drift is not None

    def span_error(self, net: Expression) -> Expression:
        """Both readings times the same relative error."""
        relative: Expression = ZERO
        stated = self.balance.stated
        if stated.temperature_coefficient is not None:
            relative = self.pick("temperature coefficient") * self.pick(TEMPERATURE)
        if stated.adjustment_drift is not None:
            drift = self.pick(DRIFT)
            relative = drift if relative == ZERO else relative + drift
        return net * relative

    def _deviation(
        self,
        reading: Reading,
        part: str,
        u: Operand,
        distribution: str,
        source: str,
        evaluation: str = "B",
        dof: str | None = None,
        estimate: tuple[str, str] | None = None,
        counts: Sequence[bool] | None = None,
    ) -> Expression:
        name = f"{self.symbol}.{reading.name} {part}"
        quantity = f"{part} of the balance, {reading.name} reading"
        traits, items = [], self.balance.limits.items
        for row in range(self.table.size):
            told = source if counts is None or counts[row] else self.mark
            if self.objects is None:
                traits.append(Trait(name, quantity, self.group, evaluation, distribution, told, items=items))
            else:
                words, of = f"{quantity} of {self.objects[row]}", f"{self.objects[row]}.{reading.name} {part}"
                traits.append(Trait(of, words, self.group, evaluation, distribution, told, items=items))
        return self.table.deviation(
            name,
            name,
            self.unit,
            u,
            traits,
            dof=dof,
            members=[("weighed", vessel, reading.name, part) for vessel in self.vessels] if self.vessels else None,
            estimates=[estimate] * self.table.size if estimate else None,
            counts=counts,
        )

    def _indication(self, reading: Reading) -> list[Expression]:
        source = self.balance.limits.source
        kind = self.balance.indication
        if kind == "check" and self.balance.check is not None and self.balance.check.weight is not None:
            u = self.pick("u error") * self.factor
            source = f"check weighings of {self.balance.key} with {self.balance.check.weight.id}"
            dof = self._dof("indication", "dof error")
            return [self._deviation(reading, "indication", u, "t", source, dof=dof)]
        if not kind:
            return []
        if kind == "by load":
            return self._by_certificate(reading, source)
        u = self.pick("u calibration") * self.factor
        held = self.balance.limits.certified
        part, distribution = ("indication", shape_of(held)) if held else ("linearity", "rectangular")
        return [self._deviation(reading, part, u, distribution, source)]

    def _by_certificate(self, reading: Reading, source: str) -> list[Expression]:
        """U of the error at the load, and the largest error where readings are not corrected (GUM 4.3.7)."""
        shape = shape_of(self.balance.limits.points[-1][1])
        parts = [self._deviation(reading, "indication", self._at_load("u", reading), shape, source)]
        points = self._by_load
        if points is not None and self.balance.stated.indication_errors == "not corrected":
            half = points.largest_error(f"{self.symbol}.{reading.name}") * self.factor
            told = f"{source}: largest error over its loads, not corrected"
            u = half / divisor("rectangular")
            parts.append(self._deviation(reading, "error not corrected", u, "rectangular", told))
        return parts

    def _resolution(self, reading: Reading) -> Expression:
        at_zero = reading.at_zero and self.balance.stated.resolution_at_zero is not None
        u = self.pick("u resolution at zero" if at_zero else "u resolution") * self.factor
        source = f"resolution of {self.balance.key}"
        return self._deviation(reading, "resolution", u, "rectangular", source)

    def _repeatability(self, reading: Reading) -> Expression:
        held = self.covered or [True] * self.table.size
        counts = [self.mark == COUNTED or not covered for covered in held]
        counted = any(counts)
        if counted and self.balance.repeatability == "by load":
            load = self._shown(apply("abs", reading.load))
            name = f"{self.symbol}.{reading.name}"
            u: Operand = s_at(self.table, name, self.context, self.balance.key, load) * self.factor
        else:
            u = self.pick("u repeatability") * self.factor if counted else Number(0)
        return self._deviation(
            reading,
            "repeatability",
            u,
            "normal",
            f"repeatability of {self.balance.key}" if counted else self.mark,
            "A",
            self._dof("repeatability", "dof", counts) if counted and self.balance.finite_dof else None,
            ("balance repeatability", self.balance.key) if counted else None,
            counts if counted else None,
        )

    def _eccentricity(self, reading: Reading) -> Expression:
        """New at each placing; a vessel that stays on the pan is not placed again."""
        if self.balance.stated.eccentricity_load is not None:
            u: Operand = self.pick("relative u eccentricity") * apply("abs", reading.placed)
        else:
            u = self.pick("u eccentricity") * self.factor
        distribution = self.balance.stated.eccentricity_distribution
        source = f"eccentricity of {self.balance.key}"
        return self._deviation(reading, "eccentricity", u, distribution, source)

    def _in_use(self, reading: Reading) -> Expression:
        """u = (alpha + beta·load)/k of the certificate, in place of all single components (cg-18, 7.5)."""
        alpha, beta, k = (self.pick(f"in use {key}") for key in ("alpha", "beta", "k"))
        u = (alpha * self.factor + beta * apply("abs", reading.load)) / k
        return self._deviation(reading, "indication in use", u, "normal", self.balance.in_use_source)

    def _shown(self, load: Expression) -> Expression:
        return load if self.factor == 1 else load / self.factor

    def _dof(self, part: str, column: str, counts: Sequence[bool] | None = None) -> str:
        name = f"ν of {self.symbol} {part}"
        if not self.table.has(name):
            self.table.dof_where(name, self.pick(column), counts or [True] * self.table.size)
        return name
