"""Terms of second order beside the law of propagation (GUM 5.1.2, note; H.1.7), for all results at once.

The variance gains the sum over i and j of [(∂²f/∂xi∂xj)²/2 + ∂f/∂xi ∂³f/∂xi∂xj²] u²(xi) u²(xj), for independent normal
inputs. The derivatives are differences of the sensitivity coefficients, which are exact at every point: to first order
along xj for the second derivative, to second order for the third. One pair of moves serves all i, and all results in
which no second deviation is moved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.shifted import Shifts, shifts_of
from ubudget.quantity.graph import Array, Rows
from ubudget.quantity.numbers import Numbers

Mask = npt.NDArray[np.bool_]
STEP = 0.03
"""Moves in standard uncertainties: small against the curvature, large against rounding (relative 1E-12 of u²)."""
AT_ONCE = 100_000
"""Rows times moves that are calculated together: limits the memory."""
STAGES = ((2, 0.2), (6, 0.3))
"""Joint moves of all deviations by which it is judged whether the terms need to be calculated at all, and the part of
the tolerance that their mean must exceed: a few, and where these leave it open, more of them."""
_NOISE = 1e-9


@dataclass(frozen=True)
class Term:
    """What two input quantities of one result add to its variance, by their numbers among the slots."""

    first: int
    second: int
    variance: float


@dataclass(frozen=True, eq=False)
class SecondOrder:
    """Added variance and shift of the mean by result, and whether u changes by more than its numerical tolerance.

    NaN where the equation has no value beside the estimates."""

    variance: Array
    shift: Array
    """Half the sum of ∂²f/∂xi² u²(xi): how far the mean lies from the value."""
    first_order: Array
    digits: int

    @cached_property
    def standard_uncertainty(self) -> Array:
        """u with the terms of second order."""
        return np.sqrt(np.maximum(self.first_order**2 + self.variance, 0.0))

    @cached_property
    def material(self) -> Mask:
        """True where u changes by more than half a unit of the last digit that is reported (JCGM 101 7.9.2)."""
        change = np.abs(self.standard_uncertainty - self.first_order)
        u = np.where(self.first_order > 0, self.first_order, self.standard_uncertainty)
        found: Mask = np.isfinite(change) & (change > numerical_tolerance(u, self.digits)) & (change > 0)
        return found


def numerical_tolerance(u: Array, digits: int) -> Array:
    """Half a unit of the last of `digits` significant digits of u (JCGM 101 7.9.2); infinite for u = 0 or NaN."""
    sound = np.isfinite(u) & (u > 0)
    decade = np.floor(np.log10(np.where(sound, u, 1.0)) + 1e-12) - (digits - 1)
    tolerance: Array = np.where(sound, 0.5 * 10.0**decade, np.inf)
    return tolerance


def second_order(propagated: Propagated, numbers: Numbers, u: Array, digits: int) -> SecondOrder:
    """The terms of all results; `u` is their standard uncertainty of first order, `digits` those of the reported U."""
    variance, shift = np.zeros_like(u), np.zeros_like(u)
    for along in _moves(propagated, numbers):
        added = along.terms.sum(axis=0)
        variance += np.where(along.slot >= 0, added, 0.0)
        shift += np.where(along.slot >= 0, along.own / 2, 0.0)
    return SecondOrder(_without_noise(variance, u), shift, u, digits)


def largest_terms(propagated: Propagated, numbers: Numbers, row: int, most: int = 5) -> list[Term]:
    """Pairs that add most to the variance of one result; a pair is told once, both of its orders added."""
    found: dict[tuple[int, int], float] = {}
    for along in _moves(propagated, numbers):
        other = int(along.slot[row])
        for slot, value in enumerate(along.terms[:, row].tolist()) if other >= 0 else ():
            pair = (min(slot, other), max(slot, other))
            found[pair] = found.get(pair, 0.0) + value
    total = sum(abs(value) for value in found.values())
    terms = [Term(*pair, value) for pair, value in found.items() if abs(value) > _NOISE * total]
    return sorted(terms, key=lambda term: -abs(term.variance))[:most]


def may_be_material(propagated: Propagated, numbers: Numbers, u: Array, digits: int) -> bool:
    """Whether some result may have material terms, judged from a few joint moves of all deviations.

    With random signs the expected square of the change of a sensitivity coefficient is the sum of the squares over j.
    The signs are fixed, so that the same records give the same answer."""
    if not propagated.slots:
        return False
    shifts, gradients = shifts_of(propagated.graph, numbers), _Gradients(propagated, numbers)
    tolerance = np.where(u > 0, numerical_tolerance(u, digits), 0.0)
    tried, together = 0, max(1, AT_ONCE // max(1, 2 * gradients.size))
    for tries, margin in STAGES:
        added = np.zeros_like(u)
        for first in range(tried, tried + tries, together):
            count = min(together, tried + tries - first)
            up, down = np.split(gradients.at(shifts.moved(_mixed_signs(first, count)), 2 * count), 2, axis=1)
            added += np.abs(gradients.terms(up, down).sum(axis=0)).sum(axis=0) / tries
        change = np.sqrt(u**2 + _without_noise(added, u)) - u
        with np.errstate(invalid="ignore"):
            if not (np.isfinite(change) & (change > margin * tolerance)).any():
                return False
        tried += tries
    return True


def _mixed_signs(first: int, tries: int) -> Callable[[Rows], Array]:
    """Moves by one step up or down, by the number of the deviation, and the same the other way round."""

    def steps(members: Rows) -> Array:
        mixed = (members * 2_654_435_761 + np.arange(first, first + tries)[:, None] * 40_503 + 12_345) % 4_294_967_296
        signs = np.where((mixed >> 16) % 2 == 0, STEP, -STEP) * (members >= 0)
        return np.concatenate([signs, -signs])

    return steps


def _without_noise(variance: Array, u: Array) -> Array:
    return np.where(np.abs(variance) > _NOISE * u**2, variance, 0.0)


# --- Moves ---


@dataclass(frozen=True, eq=False)
class _Along:
    """What one move tells: the slot that it moves in each result (-1 none), terms by slot i and result, and
    ∂²f/∂xj² u²(xj)."""

    slot: Rows
    terms: Array
    own: Array


class _Gradients:
    """Contributions c·u of all slots, with u as at the estimates; shape (slots, results) or (slots, moves, results)."""

    def __init__(self, propagated: Propagated, numbers: Numbers) -> None:
        self._propagated = propagated
        self._u = [_u_of(propagated, numbers, number) for number in range(len(propagated.slots))]
        self.size = propagated.graph.tables[propagated.table].size
        self.here = self.at(numbers)

    def at(self, numbers: Numbers, *moves: int) -> Array:
        table = self._propagated.table
        parts = [
            numbers.column(table, slot.sensitivity) * u for slot, u in zip(self._propagated.slots, self._u, strict=True)
        ]
        shape = (*moves, self.size)
        return np.array([np.broadcast_to(part, shape) for part in parts]).reshape(len(parts), *shape)

    def first(self, up: Array, down: Array) -> Array:
        """∂²f/∂xi∂xj u(xi) u(xj)."""
        return (up - down) / (2 * STEP)

    def terms(self, up: Array, down: Array) -> Array:
        here = self.here[:, None, :] if up.ndim == 3 else self.here
        bend = (up - 2 * here + down) / STEP**2
        terms: Array = self.first(up, down) ** 2 / 2 + here * bend
        return terms


def _u_of(propagated: Propagated, numbers: Numbers, number: int) -> Array:
    slot = propagated.slots[number]
    u = numbers.column(slot.table, propagated.graph.tables[slot.table].leaf_of[slot.column].u)
    return np.where(slot.rows >= 0, u[slot.rows], 0.0)


def _moves(propagated: Propagated, numbers: Numbers) -> Iterator[_Along]:
    """Moves of all deviations, each once, several together where no result has two of them."""
    if not propagated.slots:
        return
    gradients = _Gradients(propagated, numbers)
    shifts = shifts_of(propagated.graph, numbers)
    turn_of, turns = _turns(propagated)
    together = max(1, AT_ONCE // max(1, 2 * gradients.size))
    for start in range(0, turns, together):
        part = np.arange(start, min(start + together, turns))
        up, down = np.split(gradients.at(_both_ways(shifts, turn_of, part), 2 * part.size), 2, axis=1)
        for place, turn in enumerate(part.tolist()):
            slot = np.full(gradients.size, -1)
            for number, one in enumerate(propagated.slots):
                slot[(one.members >= 0) & (turn_of[one.members] == turn)] = number
            terms = gradients.terms(up[:, place], down[:, place])
            first = gradients.first(up[:, place], down[:, place])
            yield _Along(slot, terms, first[slot, np.arange(gradients.size)])


def _both_ways(shifts: Shifts, turn_of: Rows, part: Rows) -> Numbers:
    def steps(members: Rows) -> Array:
        turn = np.where(members >= 0, turn_of[members], -1)
        up = np.where(turn[None, :] == part[:, None], STEP, 0.0)
        return np.concatenate([up, -up])

    return shifts.moved(steps)


def _turns(propagated: Propagated) -> tuple[Rows, int]:
    """For each deviation the turn in which it is moved (-1: none needs it), so that a result has one a turn."""
    members = np.array([slot.members for slot in propagated.slots])
    turn_of = np.full(members.max() + 1, -1, dtype=np.int64)
    taken = np.zeros((members.shape[1], 0), dtype=np.bool_)
    for slot in members:
        waiting = np.unique(slot[slot >= 0])
        waiting = waiting[turn_of[waiting] < 0]
        while waiting.size:
            taken = np.pad(taken, ((0, 0), (0, 1)))
            rows = np.concatenate([np.flatnonzero(np.isin(one, waiting)) for one in members])
            of = np.concatenate([one[np.isin(one, waiting)] for one in members])
            blocked = np.zeros((turn_of.size, taken.shape[1]), dtype=np.bool_)
            np.logical_or.at(blocked, of, taken[rows])
            turn_of[waiting] = np.argmin(blocked[waiting], axis=1)
            # Two of one result in one turn: the one of the lowest number stays.
            order = np.lexsort((of, turn_of[of], rows))
            again = (np.diff(rows[order], prepend=-1) == 0) & (np.diff(turn_of[of[order]], prepend=-1) == 0)
            waiting = np.unique(of[order][again])
            settled = ~np.isin(of, waiting)
            taken[rows[settled], turn_of[of[settled]]] = True
            turn_of[waiting] = -1
    used = np.flatnonzero(taken.any(axis=0))
    return np.where(turn_of >= 0, np.searchsorted(used, turn_of), -1), int(used.size)
