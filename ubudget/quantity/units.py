"""Units: exact conversion factors, and the dimensional check of an equation."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from tokenize import TokenError
from typing import TYPE_CHECKING

from ubudget.quantity.expression import Apply, Expression, Number, Symbol

if TYPE_CHECKING:
    from pint import UnitRegistry

_UNIT = re.compile(r"^[A-Za-zµμΩ°%1-9*/^().\- ]{0,40}$")
_TOWERS = re.compile(r"\*\*|//|\^\s*-?\s*\d\d|\)\s*\^")


class UnitError(ValueError):
    """A unit that is not known, or that does not fit: what was found and what is accepted."""

    def __init__(self, found: str, accepted: str) -> None:
        super().__init__(f"found {found}; accepted: {accepted}")
        self.found = found
        self.accepted = accepted


@dataclass(frozen=True)
class Dimension:
    """Powers of the base dimensions, and the exact factor to coherent SI units."""

    powers: tuple[tuple[str, Fraction], ...]
    factor: Fraction

    @property
    def is_number(self) -> bool:
        return not self.powers


@cache
def _registry() -> UnitRegistry[Fraction]:
    from pint import UnitRegistry

    # Fractions: a factor such as 1e-3 must be exact, or 0.0001 g would not become 0.1 mg.
    return UnitRegistry(non_int_type=Fraction, cache_folder=None, autoconvert_offset_to_baseunit=False)


@cache
def dimension(unit: str) -> Dimension:
    """Dimension and factor of a unit such as `mg/L`, `1/K`, `%`; empty or `1` is the plain number.

    A temperature unit stands for a difference. Raises `UnitError`."""
    text = unit.strip()
    if text in ("", "1"):
        return Dimension((), Fraction(1))
    if not _UNIT.match(text) or _TOWERS.search(text):
        raise UnitError(repr(unit[:40]), "a unit such as mg/L, mL, 1/K or %")
    from pint.errors import PintError

    refusals = (PintError, TokenError, SyntaxError, ValueError, TypeError, LookupError, AttributeError)
    registry = _registry()
    text = text.replace("°C", "delta_degC").replace("degC", "delta_degC").replace("delta_delta_", "delta_")
    try:
        quantity = (Fraction(1) * registry.parse_units(text.replace("%", "percent"))).to_base_units()
    except (*refusals, AssertionError, ArithmeticError):
        raise UnitError(repr(unit[:40]), "a unit such as mg/L, mL, 1/K or %") from None
    powers = tuple(sorted((name, Fraction(power)) for name, power in dict(quantity.dimensionality).items()))
    return Dimension(powers, Fraction(quantity.magnitude))


def same_dimension(a: str, b: str) -> bool:
    """Whether two units measure the same kind of quantity. Raises `UnitError` for an unknown one."""
    return dimension(a).powers == dimension(b).powers


def factor(from_unit: str, to_unit: str) -> Fraction:
    """Exact factor from one unit to another. Raises `UnitError`."""
    source, target = dimension(from_unit), dimension(to_unit)
    if source.powers != target.powers:
        raise UnitError(f"the unit {from_unit or '1'}", f"a unit that converts to {to_unit or '1'}")
    return source.factor / target.factor


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """The value in another unit, calculated exactly from its decimal digits.

    Raises `UnitError`, also for a number without unit where the other is one such as mg/kg: whoever writes 0.4 beside
    results in mg/kg does not mean 400 000 of them (`1` says that). Zero is zero in every unit, and a share of % may be
    a plain number."""
    if from_unit == to_unit:
        return value
    times = factor(from_unit, to_unit)
    if value and times != 1 and not from_unit.strip() and to_unit.strip() != "%":
        raise UnitError("a number without unit", f"a number with a unit that converts to {to_unit}")
    exact = Fraction(Decimal(repr(value))) * times
    return float(f"{float(exact):.15g}")


def per(unit: str, other: str, power: int = 1) -> str:
    """The unit of a ratio as text: `per("mg/kg", "mL")` is `(mg/kg)/mL`; like units give the plain number `1`."""
    above, below = unit or "1", other or "1"
    if below == "1":
        return above
    if above == below and power == 1:
        return "1"
    raised = f"^{power}" if power > 1 else ""
    return f"{_bracketed(above)}/{_bracketed(below, alone=not raised)}{raised}"


def _bracketed(unit: str, *, alone: bool = True) -> str:
    """A compound unit in brackets; one that is raised to a power as well where it has a power of its own."""
    signs = "/*· " if alone else "/*· ^"
    return f"({unit})" if any(sign in unit for sign in signs) else unit


def equation_dimension(expression: Expression, unit_of: Callable[[str], str]) -> Dimension:
    """Dimension of an equation from the units of its symbols.

    Sums must agree in dimension and scale, arguments of functions and powers must be plain numbers. Raises
    `UnitError` naming the part that does not fit."""
    if isinstance(expression, Number):
        return Dimension((), Fraction(1))
    if isinstance(expression, Symbol):
        return dimension(unit_of(expression.name))
    assert isinstance(expression, Apply)
    parts = [equation_dimension(argument, unit_of) for argument in expression.arguments]
    return _combine(expression, parts)


def _combine(expression: Apply, parts: list[Dimension]) -> Dimension:
    name = expression.operation
    if name in ("add", "subtract"):
        return _sum(expression, parts)
    if name == "multiply":
        return _product(parts[0], parts[1], 1)
    if name == "divide":
        return _product(parts[0], parts[1], -1)
    if name in ("negate", "abs"):
        return parts[0]
    if name == "sqrt":
        return _root(parts[0])
    if name == "power":
        exponent = expression.arguments[1]
        if isinstance(exponent, Number) and exponent.value == int(exponent.value) and abs(exponent.value) < 10:
            whole = int(exponent.value)
            powers = tuple((base, power * whole) for base, power in parts[0].powers if whole)
            return Dimension(powers, parts[0].factor ** whole)
    for part in parts:
        if not part.is_number or part.factor != 1:
            raise UnitError(f"a quantity with unit inside {name}", "a plain number there")
    return Dimension((), Fraction(1))


def _sum(expression: Apply, parts: list[Dimension]) -> Dimension:
    from ubudget.quantity.spelling import readable_text

    for argument, other in zip(expression.arguments, reversed(parts), strict=True):
        if isinstance(argument, Number) and argument.value == 0:
            return other
    if parts[0].powers != parts[1].powers:
        raise UnitError(f"a sum of unlike quantities in {readable_text(expression)}", "terms of one dimension")
    if parts[0].factor != parts[1].factor:
        raise UnitError(
            f"a sum of terms in units of different size in {readable_text(expression)}",
            "terms in one unit; multiply one by a constant with a unit, e.g. 1000 mg/g",
        )
    return parts[0]


def _product(a: Dimension, b: Dimension, sign: int) -> Dimension:
    powers = dict(a.powers)
    for base, power in b.powers:
        powers[base] = powers.get(base, Fraction(0)) + sign * power
    left = tuple(sorted((base, power) for base, power in powers.items() if power))
    return Dimension(left, a.factor * (b.factor if sign > 0 else 1 / b.factor))


def _root(a: Dimension) -> Dimension:
    from math import isqrt

    top, bottom = isqrt(a.factor.numerator), isqrt(a.factor.denominator)
    if top * top != a.factor.numerator or bottom * bottom != a.factor.denominator:
        raise UnitError("a square root of a unit that is no square", "units whose scale is a square")
    return Dimension(tuple((base, power / 2) for base, power in a.powers), Fraction(top, bottom))
