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
    cell: Callable[[str, str], str]
    """The same as a condition over cells: the range of the distances, and the last of them."""


@dataclass(frozen=True)
class Signal:
    """A pattern that ends at a value, 0-based."""

    rule: Rule
    at: int


def _one_side(zones: Zones) -> bool:
    return bool((zones > 0).all() or (zones < 0).all())


def _one_side_cell(cells: str, last: str) -> str:
    return f"OR(MIN({cells})>0,MAX({cells})<0)"


def _trend(zones: Zones) -> bool:
    steps = np.diff(zones)
    return bool((steps > 0).all() or (steps < 0).all())


def _trend_cell(cells: str, last: str) -> str:
    before, after, steps = _shifted(cells, 0, 1), _shifted(cells, 1, 0), _rows(cells) - 1
    rising, falling = (f"SUMPRODUCT(({after}{sign}{before})*1)={steps}" for sign in "><")
    return f"OR({rising},{falling})"


def _alternating(zones: Zones) -> bool:
    return all(a * b < 0 for a, b in pairwise(np.diff(zones)))


def _alternating_cell(cells: str, last: str) -> str:
    first, middle, end = _shifted(cells, 0, 2), _shifted(cells, 1, 1), _shifted(cells, 2, 0)
    return f"SUMPRODUCT((({middle}-{first})*({end}-{middle})<0)*1)={_rows(cells) - 2}"


def _rows(cells: str) -> int:
    first, last = (int(cell.strip("$ABCDEFGHIJKLMNOPQRSTUVWXYZ")) for cell in cells.split(":"))
    return last - first + 1


def _shifted(cells: str, down: int, up: int) -> str:
    """A range without so many cells at its top and at its end."""
    first, last = cells.split(":")
    letters = first.rstrip("0123456789")
    return f"{letters}{int(first[len(letters) :]) + down}:{letters}{int(last[len(letters) :]) - up}"


def _beyond(limit: float, least: int) -> Callable[[Zones], bool]:
    """At least so many on one and the same side beyond a limit, the last value among them."""

    def holds(zones: Zones) -> bool:
        side = zones * np.sign(zones[-1])
        return bool(side[-1] > limit and (side > limit).sum() >= least)

    return holds


def _beyond_cell(limit: float, least: int) -> Callable[[str, str], str]:
    def cell(cells: str, last: str) -> str:
        counted = f"SUMPRODUCT(({cells}*SIGN({last})>{limit:g})*1)>={least}"
        return f"AND(ABS({last})>{limit:g},{counted})"

    return cell


def _most_on_one_side(zones: Zones) -> bool:
    return bool(max((zones > 0).sum(), (zones < 0).sum()) >= len(zones) - 1)


def _most_on_one_side_cell(cells: str, last: str) -> str:
    return f'MAX(COUNTIF({cells},">0"),COUNTIF({cells},"<0"))>={_rows(cells) - 1}'


def _last_beyond(limit: float) -> Callable[[Zones], bool]:
    return lambda zones: bool(abs(zones[-1]) > limit)


def _last_beyond_cell(limit: float) -> Callable[[str, str], str]:
    return lambda cells, last: f"ABS({last})>{limit:g}"


def _all_within(zones: Zones) -> bool:
    return bool((np.abs(zones) < 1).all())


def _all_within_cell(cells: str, last: str) -> str:
    return f"AND(MAX({cells})<1,MIN({cells})>(-1))"


def _none_within(zones: Zones) -> bool:
    return bool((np.abs(zones) > 1).all())


def _none_within_cell(cells: str, last: str) -> str:
    return f"SUMPRODUCT((ABS({cells})>1)*1)={_rows(cells)}"


RULES: dict[int, Rule] = {
    rule.number: rule
    for rule in (
        Rule(1, "one value beyond the action limit", 1, _last_beyond(3), _last_beyond_cell(3)),
        Rule(2, "nine in a row on one side of the centre line", 9, _one_side, _one_side_cell),
        Rule(3, "six in a row rising or falling", 6, _trend, _trend_cell),
        Rule(4, "fourteen in a row up and down in turn", 14, _alternating, _alternating_cell),
        Rule(5, "two of three beyond the same warning limit", 3, _beyond(2, 2), _beyond_cell(2, 2)),
        Rule(6, "four of five beyond one standard deviation on one side", 5, _beyond(1, 4), _beyond_cell(1, 4)),
        Rule(7, "fifteen in a row within one standard deviation", 15, _all_within, _all_within_cell),
        Rule(8, "eight in a row beyond one standard deviation, either side", 8, _none_within, _none_within_cell),
        Rule(9, "seven in a row on one side of the centre line", 7, _one_side, _one_side_cell),
        Rule(10, "seven in a row rising or falling", 7, _trend, _trend_cell),
        Rule(11, "ten of eleven on one side of the centre line", 11, _most_on_one_side, _most_on_one_side_cell),
        Rule(12, "one value beyond the warning limit", 1, _last_beyond(2), _last_beyond_cell(2)),
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
