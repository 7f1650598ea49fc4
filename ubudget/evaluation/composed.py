"""Expressions composed of input quantities: which they hold, their symbols, and the unit that follows."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from ubudget.errors import UbudgetError
from ubudget.evaluation.input_quantity import InputQuantity
from ubudget.quantity.expression import Apply, Expression, Symbol
from ubudget.quantity.units import UnitError

DEEPEST, LONGEST = 250, 20_000
"""Most levels and most parts of an equation."""


def beyond_limits(expression: Expression) -> bool:
    """Whether the equation is deeper than `DEEPEST` or, written out, longer than `LONGEST`.

    Level by level, and each shared part once: a recursion would end in an error of the interpreter, and forty
    squarings in a million million parts."""
    level: dict[int, tuple[Expression, int]] = {id(expression): (expression, 1)}
    parts = 0
    for _ in range(DEEPEST):
        parts += sum(times for _, times in level.values())
        if not level or parts > LONGEST:
            break
        following: dict[int, tuple[Expression, int]] = {}
        for node, times in level.values():
            for argument in node.arguments if isinstance(node, Apply) else ():
                earlier = following.get(id(argument), (argument, 0))[1]
                following[id(argument)] = (argument, earlier + times)
        level = following
    return bool(level)


def inputs_of(expression: Expression) -> list[InputQuantity]:
    """Every input quantity once, by creation: the same order in every budget that shares them."""
    found = dict.fromkeys(_leaves(expression))
    return sorted(found, key=lambda one: one.created)


def _leaves(expression: Expression) -> Iterator[InputQuantity]:
    if isinstance(expression, InputQuantity):
        yield expression
    elif isinstance(expression, Symbol):
        raise UbudgetError(f"found the bare symbol {expression.name}; accepted: quantities made by input_quantity()")
    elif isinstance(expression, Apply):
        for argument in expression.arguments:
            yield from _leaves(argument)


def symbols_of(inputs: Sequence[InputQuantity]) -> dict[InputQuantity, str]:
    """A symbol of its own for each; a second object under one name is `c (2)`."""
    names: dict[str, int] = {}
    symbols = {}
    for one in inputs:
        names[one.name] = turn = names.get(one.name, 0) + 1
        symbols[one] = one.name if turn == 1 else f"{one.name} ({turn})"
    return symbols


def with_symbols(expression: Expression, symbols: Mapping[InputQuantity, str]) -> Expression:
    """The expression with plain symbols in place of the input quantities."""
    if isinstance(expression, InputQuantity):
        return Symbol(symbols[expression])
    if isinstance(expression, Apply):
        return Apply(expression.operation, tuple(with_symbols(a, symbols) for a in expression.arguments))
    return expression


def unit_text(expression: Expression) -> str:
    """The unit of an equation that fits dimensionally, spelled from the units of its quantities."""
    powers = {unit: power for unit, power in _unit_powers(expression).items() if power}
    over = [_power_text(unit, power) for unit, power in powers.items() if power > 0]
    under = [_power_text(unit, -power) for unit, power in powers.items() if power < 0]
    if len(powers) == 1 and set(powers.values()) == {1.0}:
        return next(iter(powers))
    text = "*".join(over) or ("1" if under else "")
    return text + (f"/({'*'.join(under)})" if len(under) > 1 else f"/{under[0]}" if under else "")


def _unit_powers(expression: Expression) -> dict[str, float]:
    if isinstance(expression, InputQuantity):
        return {} if expression.unit in ("", "1") else {expression.unit: 1.0}
    if not isinstance(expression, Apply):
        return {}
    parts = [_unit_powers(argument) for argument in expression.arguments]
    if expression.operation in ("multiply", "divide"):
        sign = 1 if expression.operation == "multiply" else -1
        return {unit: parts[0].get(unit, 0.0) + sign * parts[1].get(unit, 0.0) for unit in {**parts[0], **parts[1]}}
    if expression.operation in ("sqrt", "power"):
        exponent = 0.5 if expression.operation == "sqrt" else getattr(expression.arguments[1], "value", 0.0)
        return {unit: power * exponent for unit, power in parts[0].items()}
    if expression.operation in ("add", "subtract", "negate", "abs"):
        return next((part for part in parts if part), {})
    return {}


def _power_text(unit: str, power: float) -> str:
    if power != int(power) or power > 9:
        raise UnitError(f"the unit {unit} to the power {power:g}", "whole powers up to 9")
    closed = f"({unit})" if re.search(r"[*/ ]", unit) else unit
    if power == 1:
        return closed
    return f"{closed}^{power:.0f}" if closed == unit else "*".join([closed] * int(power))
