"""Trials of some results together: streams of draws, blocks that fit the cache, and the values kept of each result.

Each stream has a generator of its own, made of the seed and the number of its deviation. So a result has the same draws
whichever others are simulated beside it, and results of different calls belong together trial by trial.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ubudget.bench.result_table import STATUS
from ubudget.evaluation.deviations import T_FACTOR
from ubudget.evaluation.unrolling import NAN, Unrolling
from ubudget.quantity.distributions import DISTRIBUTIONS, fill_t_factor
from ubudget.quantity.graph import Array, Graph
from ubudget.quantity.numbers import Numbers
from ubudget.quantity.program import Node, Program, Source

BLOCKS = (5000, 2500, 1250, 625, 250, 125, 50)
"""Trials that are calculated at a time; each divides a block of the stopping rule."""
TOGETHER = 150
"""Results that are unrolled together: limits what their nodes take of memory."""
BYTES = 8


@dataclass
class Streams:
    """The generators of a simulation, by source."""

    seed: int
    _known: dict[Source, np.random.Generator] = field(default_factory=dict)

    def fill(self, source: Source, out: Array) -> None:
        """The next draws of a source."""
        rng = self._known.get(source)
        if rng is None:
            entropy = np.random.SeedSequence(self.seed, spawn_key=source.key)
            rng = self._known[source] = np.random.Generator(np.random.SFC64(entropy))
        if source.kind == T_FACTOR:
            fill_t_factor(rng, out, source.parameter)
        else:
            DISTRIBUTIONS[source.kind].fill(rng, out, source.parameter)


@dataclass
class _Kept:
    """Where the values of the next block go; it knows nothing of the program, so that both end with their last use."""

    arrays: list[Array | None]
    block: int = 0
    at: int = 0

    def keep(self, place: int, value: Array | float) -> None:
        array = self.arrays[place]
        if array is not None:
            array[self.at : self.at + self.block] = value


class Trials:
    """Results of some rows of a table, simulated together and as far as each of them needs.

    A trial in which a result has no finite value, or its curve no solution, is not finite there. `room` limits the
    bytes of the arrays in use, values kept not counted."""

    def __init__(
        self, graph: Graph, numbers: Numbers, table: str, column: str, rows: Sequence[int], seed: int, room: float
    ) -> None:
        unrolling = Unrolling(graph, numbers)
        self._nodes = unrolling.nodes
        self._wanted = {row: _sound(unrolling, graph, table, column, row) for row in rows}
        self._streams = Streams(seed)
        self._room = room
        self._program = Program(self._nodes, list(self._wanted.values()))
        self._rows = list(rows)
        self._kept: dict[int, list[Array]] = {row: [] for row in rows}

    def extend(self, rows: Sequence[int], trials: int) -> None:
        """So many further trials of some of the rows, which were all extended equally before."""
        if 2 * len(rows) <= len(self._rows):
            self._program = Program(self._nodes, [self._wanted[row] for row in rows])
            self._rows = list(rows)
        arrays = [np.empty(trials) if row in rows else None for row in self._rows]
        most = self._room / BYTES / (self._program.registers + 1)
        block = min(next((size for size in BLOCKS if size <= most), BLOCKS[-1]), trials)
        kept = _Kept(arrays)
        for size, times in ((block, trials // block), (trials % block, 1)):
            if size:
                kept.block = size
                bound = self._program.bound(size, self._streams.fill, kept.keep)
                for _ in range(times):
                    bound.run()
                    kept.at += size
        for row, array in zip(self._rows, arrays, strict=True):
            if array is not None:
                self._kept[row].append(array)

    def values(self, row: int, after: int = 0) -> Array:
        """Values kept of a row from a trial on, in the order of the trials."""
        kept = self._kept[row]
        if len(kept) > 1:
            kept[:] = [np.concatenate(kept)]
        return kept[0][after:]

    def forget(self, row: int) -> None:
        """Gives the memory of a row back."""
        self._kept[row] = []


def _sound(unrolling: Unrolling, graph: Graph, table: str, column: str, row: int) -> Node:
    """The value of a result, NaN in trials in which its status is not that of a usable one."""
    value = unrolling.cell(table, column, row)
    if STATUS not in graph.tables[table].by_name:
        return value
    status = unrolling.cell(table, STATUS, row)
    return value if isinstance(status, float) else unrolling.nodes.apply("if_equal", status, 0.0, value, NAN)
