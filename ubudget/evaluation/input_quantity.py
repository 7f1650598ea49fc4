"""Input quantities made one by one in a notebook, as symbols of expressions."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from pydantic import ValidationError

from ubudget.bench.context import Context
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.stated import Entry, build_inputs
from ubudget.errors import UbudgetError
from ubudget.quantity.expression import Symbol
from ubudget.quantity.graph import Graph
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.units import dimension
from ubudget.records.amount import Amount, parse_amount
from ubudget.records.finding import stops
from ubudget.records.method import Coverage, Document, Method, Rounding
from ubudget.records.records import Records
from ubudget.records.stated import Limits, Stated

if TYPE_CHECKING:
    from uncertainties.core import Variable

Figure = float | str

_NAME = re.compile(r"^[^\W\d][\w.']{0,40}$")
_CREATED = itertools.count()


@dataclass(frozen=True, eq=False)
class InputQuantity(Symbol):
    """An input quantity, as `quantity` makes it; two of them are the same only as the same object."""

    entry: Entry = field(repr=False)
    created: int = field(repr=False, default_factory=lambda: next(_CREATED))

    __eq__ = object.__eq__
    __hash__ = object.__hash__

    @property
    def unit(self) -> str:
        return self.entry.unit

    @property
    def estimate(self) -> float:
        return float(self._numbers.column(INPUTS, "estimate")[0])

    @property
    def standard_uncertainty(self) -> float:
        return float(self._numbers.column(INPUTS, "u")[0])

    @cached_property
    def _numbers(self) -> Numbers:
        context = context_of(method_of("", self.name, Coverage(), Rounding()))
        build_stated(context, [self.entry])
        return Numbers(Graph(context.tables))

    @cached_property
    def variable(self) -> Variable:
        """The quantity in the package `uncertainties`: one variable for all budgets that use this object."""
        from uncertainties import ufloat

        return ufloat(self.estimate, self.standard_uncertainty, tag=self.name)


def input_quantity(
    name: str,
    value: float | None = None,
    unit: str = "",
    *,
    u: Figure | None = None,
    U: Figure | None = None,
    k: float | None = None,
    confidence: float | None = None,
    half_width: Figure | None = None,
    distribution: Limits | None = None,
    top: float | None = None,
    inexactness: Figure | None = None,
    readings: Sequence[float] | None = None,
    pooled_s: Figure | None = None,
    pooled_dof: float | None = None,
    dof: float | None = None,
    reliability: float | None = None,
    description: str = "",
    group: str = "",
    source: str = "",
) -> InputQuantity:
    """An input quantity with one statement of uncertainty (GUM 4.2, 4.3); none = an exact number.

    A bare figure is in `unit`; text carries its own unit or is relative: `u="0.1 mg"`, `U="2 %"`. `readings`
    give the estimate too. Numbers count to 15 significant digits. Raises `UbudgetError`."""
    if not _NAME.match(name):
        raise UbudgetError(f"found the name {name[:40]!r}; accepted: a letter, then letters, digits, _ . or '")
    if (value is None) == (readings is None):
        raise UbudgetError(f"quantity {name}: found value and readings both or neither; accepted: one of them")
    try:
        dimension(unit)
        stated = Stated(
            u=_amount(u, unit),
            U=_amount(U, unit),
            k=_float(k),
            confidence=_float(confidence),
            half_width=_amount(half_width, unit),
            distribution=distribution,
            top=_float(top),
            inexactness=_amount(inexactness, unit),
            readings=None if readings is None else tuple(_exactly(reading, unit) for reading in readings),
            pooled_s=_amount(pooled_s, unit),
            pooled_dof=_float(pooled_dof),
            dof=_float(dof),
            reliability=_float(reliability),
            source=source,
        )
        estimate = None if value is None else _exactly(value, unit)
    except ValidationError as error:
        raise UbudgetError(f"quantity {name}: {_in_words(error)}") from None
    except ValueError as error:
        raise UbudgetError(f"quantity {name}: {error}") from None
    made = InputQuantity(
        name,
        Entry(
            name,
            "",
            description or name,
            group or name,
            unit,
            stated,
            estimate,
            (name,),
            exact=not stated.states_uncertainty,
        ),
    )
    _ = made.standard_uncertainty  # a figure that does not convert is refused here
    return made


def _in_words(error: ValidationError) -> str:
    """The first fault of a statement: what was found and what is accepted."""
    fault = error.errors()[0]
    if fault["type"] == "value_error":
        words = fault["msg"].removeprefix("Value error, ")
    else:
        words = f"found {fault['input']!r}; accepted: {fault['msg'].removeprefix('Input should be ')}"
    place = ".".join(str(part) for part in fault["loc"])
    return f"{place}: {words}" if place else words


def _exactly(value: float, unit: str) -> Amount:
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"found {value}; accepted: a finite number")
    return Amount(number, unit, f"{number:.15g} {unit}".strip())


def _amount(figure: Figure | None, unit: str) -> Amount | None:
    if figure is None:
        return None
    return parse_amount(figure) if isinstance(figure, str) else _exactly(figure, unit)


def _float(number: float | None) -> float | None:
    return None if number is None else float(number)


def build_stated(context: Context, entries: list[Entry]) -> None:
    """Table `inputs`. Raises `UbudgetError` for a figure that does not convert to its quantity's unit."""
    build_inputs(context, entries)
    refused = stops(context.findings)
    if refused:
        raise UbudgetError(f"{refused[0].place}: found {refused[0].found}; accepted: {refused[0].accepted}")


def method_of(unit: str, equation: str, coverage: Coverage, rounding: Rounding) -> Method:
    """A method without symbols: what is reported, and how."""
    document = Document(
        id="budget", title="", version="", status="draft", measurand="result", unit=unit, equation=equation
    )
    return Method(document=document, symbols={}, coverage=coverage, rounding=rounding)


def context_of(method: Method) -> Context:
    """An empty graph to build, for a method without run."""
    return Context(Records("budget", method, None, None, ()))
