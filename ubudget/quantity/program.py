"""Calculations on many trials at once: a list of single operations, each on a block of trials.

A node is a number that varies from trial to trial; what does not vary is a plain `float` and is calculated once, while
the list is made. Equal operations on equal arguments are one node, so that what several results share is calculated
once. A block is small enough for the processor's cache, and a block's arrays are used again as soon as nothing needs
them any more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from ubudget.quantity.operations import TABLE

Array = npt.NDArray[np.float64]
Node = int | float
"""Number of a node, or the value of a constant."""
DRAW, SUM = "draw", "weighted sum"
IN_PLACE: dict[str, Any] = {
    "add": np.add,
    "subtract": np.subtract,
    "multiply": np.multiply,
    "divide": np.divide,
    # A divisor that is exactly zero in a trial leaves that trial without a finite value.
    "ratio_or_zero": np.divide,
    "negate": np.negative,
    "sqrt": np.sqrt,
    "exp": np.exp,
    "ln": np.log,
    "log10": np.log10,
    "abs": np.abs,
    "sign": np.sign,
    "whole": np.floor,
    "larger": lambda a, b, out: np.maximum(a, b, out=out),
    "smaller": lambda a, b, out: np.minimum(a, b, out=out),
}
"""Operations that can write their result over an argument."""


@dataclass(frozen=True)
class Source:
    """A stream of standard draws: `kind` is a distribution with u = 1 or the factor of a t distribution, `parameter`
    its shape or degrees of freedom, `key` what makes it a stream of its own."""

    kind: str
    key: tuple[int, ...]
    parameter: float = 0.0


@dataclass
class Nodes:
    """The operations so far, arguments before what rests on them."""

    operations: list[tuple[str, tuple[Any, ...]]] = field(default_factory=list)
    _known: dict[tuple[str, tuple[Any, ...]], int] = field(default_factory=dict)

    def draw(self, source: Source) -> Node:
        """Standard draws of a source."""
        return self._node(DRAW, (source,))

    def apply(self, name: str, *arguments: Node) -> Node:
        """An operation of the table, not over a span; a constant where all arguments are."""
        if all(isinstance(argument, float) for argument in arguments):
            with np.errstate(all="ignore"):
                return float(TABLE[name].numbers(*(np.asarray(argument) for argument in arguments)))
        simpler = _simpler(name, arguments)
        if simpler is not None:
            return simpler
        if name == "power" and arguments[1] == 2.0:
            return self._node("multiply", (arguments[0], arguments[0]))
        if name in ("add_all", "sum_squares"):
            terms = arguments if name == "add_all" else [self.apply("multiply", one, one) for one in arguments]
            return self.sum([(1.0, term) for term in terms])
        if name in ("if_less", "if_equal"):
            a, b, x, y = arguments
            if isinstance(a, float) and isinstance(b, float):
                return x if (a < b if name == "if_less" else a == b) else y
            if x == y and type(x) is type(y):
                return x
        return self._node(name, arguments)

    def sum(self, terms: Sequence[tuple[float, Node]]) -> Node:
        """Sum of factors times nodes; equal nodes are taken together. NaN among constants counts as absent."""
        constant, factors = 0.0, dict[int, float]()
        for factor, term in terms:
            if isinstance(term, float):
                constant += 0.0 if np.isnan(factor * term) else factor * term
                continue
            name, arguments = self.operations[term]
            if name == "multiply" and isinstance(arguments[0], float):
                factor, term = factor * arguments[0], arguments[1]
            factors[term] = factors.get(term, 0.0) + factor
        kept = tuple((term, factor) for term, factor in factors.items() if factor)
        if not kept:
            return constant
        if len(kept) == 1 and constant == 0.0:
            return self.apply("multiply", kept[0][1], kept[0][0])
        return self._node(SUM, (constant, *kept))

    def _node(self, name: str, arguments: tuple[Any, ...]) -> int:
        if name in ("add", "multiply") and isinstance(arguments[1], float):
            arguments = (arguments[1], arguments[0])
        key = (name, arguments)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = len(self.operations)
            self.operations.append(key)
        return known

    def needs(self, node: int) -> list[int]:
        """The nodes that an operation reads."""
        name, arguments = self.operations[node]
        if name == DRAW:
            return []
        if name == SUM:
            return [term for term, _ in arguments[1:]]
        return [argument for argument in arguments if not isinstance(argument, float)]


def _simpler(name: str, arguments: Sequence[Node]) -> Node | None:
    """What an operation comes to where one argument is the neutral or the absorbing constant."""
    first = arguments[0]
    second = arguments[1] if len(arguments) > 1 else None
    if name == "add" and 0.0 in (first, second) and (isinstance(first, float) or isinstance(second, float)):
        return second if isinstance(first, float) and first == 0.0 else first if isinstance(second, float) else None
    if name == "subtract" and isinstance(second, float) and second == 0.0:
        return first
    if name == "multiply":
        for one, other in ((first, second), (second, first)):
            if isinstance(one, float) and one in (0.0, 1.0):
                return 0.0 if one == 0.0 else other
    if name in ("divide", "ratio_or_zero") and isinstance(second, float):
        if name == "ratio_or_zero" and second == 0.0:
            return 0.0
        if second == 1.0:
            return first
    if name in ("divide", "ratio_or_zero") and isinstance(first, float) and first == 0.0:
        return 0.0
    if name == "power" and isinstance(second, float) and second in (0.0, 1.0):
        return 1.0 if second == 0.0 else first
    return None


Step = tuple[Callable[..., Any], tuple[Any, ...]]


class Program:
    """The operations that some nodes need, in an order that keeps few arrays at a time.

    `wanted` are the nodes whose values are asked for; constants among them are filled in."""

    def __init__(self, nodes: Nodes, wanted: Sequence[Node]) -> None:
        self._nodes = nodes
        self.wanted = tuple(wanted)
        self._order = _in_order(nodes, wanted)
        self.sources: tuple[Source, ...] = tuple(
            nodes.operations[node][1][0] for node in self._order if nodes.operations[node][0] == DRAW
        )
        self._register, self.registers = self._allocated()

    def _allocated(self) -> tuple[dict[int, int], int]:
        """Register of each node: one that is free again is used first."""
        last: dict[int, int] = {}
        for place, node in enumerate(self._order):
            for needed in self._nodes.needs(node):
                last[needed] = place
        wanted = {node for node in self.wanted if not isinstance(node, float)}
        free: list[int] = []
        used = 0
        register: dict[int, int] = {}
        for place, node in enumerate(self._order):
            ending = [
                needed
                for needed in dict.fromkeys(self._nodes.needs(node))
                if last[needed] == place and needed not in wanted
            ]
            over = self._nodes.operations[node][0] in IN_PLACE
            if over:
                free += [register[needed] for needed in ending]
            if free:
                register[node] = free.pop()
            else:
                register[node] = used
                used += 1
            if not over:
                free += [register[needed] for needed in ending]
            if node in wanted and node not in last:
                # Handed over at once, before the next step.
                free.append(register[node])
        return register, used

    def bound(self, block: int, fill: Callable[[Source, Array], None], hand_over: Callable[[int, Node], Any]) -> Bound:
        """The program on arrays of a block of trials; `fill` writes the draws of a source."""
        return Bound(self, block, fill, hand_over)


class Bound:
    """A program with its arrays. `hand_over(place, value)` gets each wanted value of a block as soon as it is there;
    the array is used again afterwards."""

    def __init__(
        self,
        program: Program,
        block: int,
        fill: Callable[[Source, Array], None],
        hand_over: Callable[[int, Any], Any],
    ) -> None:
        self.block = block
        arrays = np.empty((program.registers + 1, block))
        spare = arrays[-1]
        operations = program._nodes.operations
        places: dict[int, list[int]] = {}
        self._constants: list[tuple[int, float]] = []
        for place, node in enumerate(program.wanted):
            if isinstance(node, float):
                self._constants.append((place, node))
            else:
                places.setdefault(node, []).append(place)
        self._hand_over = hand_over
        self._steps: list[Step] = []
        for node in program._order:
            out = arrays[program._register[node]]

            def read(argument: Node) -> Any:
                return argument if isinstance(argument, float) else arrays[program._register[argument]]

            name, arguments = operations[node]
            if name == DRAW:
                self._steps.append((fill, (arguments[0], out)))
            elif name == SUM:
                terms = [(factor, read(term)) for term, factor in arguments[1:]]
                self._steps += _summed(arguments[0], terms, out, spare)
            elif name in IN_PLACE:
                self._steps.append((IN_PLACE[name], (*(read(argument) for argument in arguments), out)))
            else:
                self._steps.append((_copied, (out, TABLE[name].numbers, *(read(argument) for argument in arguments))))
            for place in places.get(node, []):
                self._steps.append((hand_over, (place, out)))

    def run(self) -> None:
        """The next block of trials."""
        for place, value in self._constants:
            self._hand_over(place, value)
        with np.errstate(all="ignore"):
            for function, arguments in self._steps:
                function(*arguments)


def _copied(out: Array, function: Callable[..., Any], *arguments: Any) -> None:
    out[:] = function(*arguments)


def _summed(constant: float, terms: Sequence[tuple[float, Array]], out: Array, spare: Array) -> list[Step]:
    """Steps of a sum; `out` is none of the terms."""
    first, rest = terms[0], terms[1:]
    steps: list[Step] = [(np.multiply, (first[1], first[0], out))]
    if first[0] == 1.0 and rest and rest[0][0] == 1.0:
        steps, rest = [(np.add, (first[1], rest[0][1], out))], rest[1:]
    for factor, term in rest:
        if factor == 1.0:
            steps.append((np.add, (out, term, out)))
        elif factor == -1.0:
            steps.append((np.subtract, (out, term, out)))
        else:
            steps += [(np.multiply, (term, factor, spare)), (np.add, (out, spare, out))]
    if constant:
        steps.append((np.add, (out, constant, out)))
    return steps


def _in_order(nodes: Nodes, wanted: Sequence[Node]) -> list[int]:
    """Needed nodes, each after what it needs, the needs of one wanted node before those of the next."""
    order: list[int] = []
    seen: set[int] = set()
    for root in wanted:
        if isinstance(root, float):
            continue
        stack: list[tuple[int, bool]] = [(root, False)]
        while stack:
            node, ready = stack.pop()
            if ready:
                order.append(node)
            elif node not in seen:
                seen.add(node)
                stack.append((node, True))
                stack += [(needed, False) for needed in reversed(nodes.needs(node)) if needed not in seen]
    return order
