"""Patterns that a control chart shows when a process has changed, judged at the last value of each.

Numbers 1 to 8 are those of the tests in ISO 8258:1991, figure 3, which ISO 7870-2 goes back to; 9 and 10 are the
shorter run and trend of ISO 7870-2:2013, 8.3; 11 and 12 those of Nordtest TR 569 (all from memory: the laboratory's own
copy decides which it uses).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from ubudget.errors import UbudgetError

Zones = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Rule:
    """One pattern over `length` values in a row, whose distances from the centre line are in standard deviations."""

    number: int
    words: str
    length: int
    holds: Callable[[Zones], bool]


@dataclass(frozen=True)
class Signal:
    """A pattern that ends at a value, 0-based."""

    rule: Rule
    at: int


def _one_side(zones: Zones) -> bool:
    return bool((zones > 0).all() or (zones < 0).all())


def _trend(zones: Zones) -> bool:
    steps = np.diff(zones)
    return bool((steps > 0).all() or (steps < 0).all())


def _alternating(zones: Zones) -> bool:
    return all(a * b < 0 for a, b in pairwise(np.diff(zones)))


def _beyond(limit: float, least: int) -> Callable[[Zones], bool]:
    """At least so many on one and the same side beyond a limit, the last value among them."""

    def holds(zones: Zones) -> bool:
        side = zones * np.sign(zones[-1])
        return bool(side[-1] > limit and (side > limit).sum() >= least)

    return holds


def _most_on_one_side(zones: Zones) -> bool:
    return bool(max((zones > 0).sum(), (zones < 0).sum()) >= len(zones) - 1)


RULES: dict[int, Rule] = {
    rule.number: rule
    for rule in (
        Rule(1, "one value beyond the action limit", 1, lambda z: bool(abs(z[-1]) > 3)),
        Rule(2, "nine in a row on one side of the centre line", 9, _one_side),
        Rule(3, "six in a row rising or falling", 6, _trend),
        Rule(4, "fourteen in a row up and down in turn", 14, _alternating),
        Rule(5, "two of three beyond the same warning limit", 3, _beyond(2, 2)),
        Rule(6, "four of five beyond one standard deviation on one side", 5, _beyond(1, 4)),
        Rule(7, "fifteen in a row within one standard deviation", 15, lambda z: bool((np.abs(z) < 1).all())),
        Rule(8, "eight in a row beyond one standard deviation, either side", 8, lambda z: bool((np.abs(z) > 1).all())),
        Rule(9, "seven in a row on one side of the centre line", 7, _one_side),
        Rule(10, "seven in a row rising or falling", 7, _trend),
        Rule(11, "ten of eleven on one side of the centre line", 11, _most_on_one_side),
        Rule(12, "one value beyond the warning limit", 1, lambda z: bool(abs(z[-1]) > 2)),
    )
}
USUAL = (1, 5, 9, 10, 11)
"""Out of control by Nordtest TR 569, with the run of ISO 7870-2."""


def signals(zones: Sequence[float], rules: Sequence[int] = USUAL) -> tuple[Signal, ...]:
    """Each value at which a pattern ends, in the order of the values; `zones` of shape (n,), see `Limits.zone`.

    Raises `UbudgetError` for a rule that is not known."""
    unknown = [number for number in rules if number not in RULES]
    if unknown:
        raise UbudgetError(f"rules: found {unknown[0]}; accepted: {', '.join(map(str, RULES))}")
    values = np.asarray(zones, dtype=np.float64)
    return tuple(
        Signal(RULES[number], at)
        for at in range(len(values))
        for number in rules
        if at + 1 >= RULES[number].length and RULES[number].holds(values[at + 1 - RULES[number].length : at + 1])
    )
