"""A lazily spelled sequence: what a column holds, made when it is asked for, a block of rows at a time.

A large run has millions of cells. Their formulas differ by row numbers alone, and their values stand in arrays; kept as
text and objects, cell by cell, they would take more memory than all the rest of the program.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import repeat
from typing import TypeVar, overload

import numpy as np
import numpy.typing as npt

from ubudget.quantity.graph import Array, Rows

T = TypeVar("T")

BLOCK = 512
"""Entries that are made at once where all of them are wanted, one after the other."""


@dataclass(frozen=True, eq=False)
class Spelled(Sequence[T]):
    """`size` entries; `spell` makes those from the first number to the second (exclusive). Nothing is kept."""

    size: int
    spell: Callable[[int, int], Sequence[T]]

    def __len__(self) -> int:
        return self.size

    @overload
    def __getitem__(self, at: int) -> T: ...
    @overload
    def __getitem__(self, at: slice) -> list[T]: ...
    def __getitem__(self, at: int | slice) -> T | list[T]:
        if isinstance(at, slice):
            start, stop, step = at.indices(self.size)
            return list(self.spell(start, stop)) if step == 1 else [self[number] for number in range(start, stop, step)]
        number = at + self.size if at < 0 else at
        if not 0 <= number < self.size:
            raise IndexError(at)
        return self.spell(number, number + 1)[0]

    def __iter__(self) -> Iterator[T]:
        for start in range(0, self.size, BLOCK):
            yield from self.spell(start, min(start + BLOCK, self.size))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence) or isinstance(other, str):
            return NotImplemented
        return len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True))


def figures(values: Array, shown: npt.NDArray[np.bool_]) -> Spelled[float | None]:
    """The numbers of an array where they are `shown`, elsewhere empty cells."""
    if shown.all():
        return Spelled(len(values), lambda start, stop: values[start:stop].tolist())
    return Spelled(
        len(values),
        lambda start, stop: [
            value if here else None
            for value, here in zip(values[start:stop].tolist(), shown[start:stop].tolist(), strict=True)
        ],
    )


@dataclass(frozen=True, eq=False)
class Wording:
    """Formula text with a place in braces for every row number, and those sheet rows less `first` (rows of a table)."""

    text: str
    places: Mapping[str, tuple[Rows, int]]
    """Name of a place → row numbers of another table for all rows of this one, and the sheet row of its first."""

    def spelled(self, rows: Rows, first_row: int) -> list[str]:
        """The formulas of some rows of the table; `r` stands for the row itself."""
        own = (rows + first_row).tolist()
        if not self.places:
            # Most formulas look at their own row alone.
            pieces = self.text.split("{r}")
            return [str(row).join(pieces) for row in own]
        others = {name: (numbers[rows] + first).tolist() for name, (numbers, first) in self.places.items()}
        names = list(others)
        return [
            self.text.format(r=row, **dict(zip(names, numbers, strict=True)))
            for row, *numbers in zip(own, *others.values(), strict=True)
        ]


def formula_texts(
    wordings: Sequence[Wording], which: npt.NDArray[np.int16], first_row: int, apart: bool = False
) -> Spelled[str | None]:
    """The formulas of a column: `which` of the wordings each row follows; -1 = none. `apart` puts every other formula
    in brackets, so that no two neighbours are the same formula."""

    def spell(start: int, stop: int) -> list[str | None]:
        here = which[start:stop]
        spelled: list[str | None] = list(repeat(None, stop - start))
        for number, wording in enumerate(wordings):
            turns = np.flatnonzero(here == number)
            for turn, text in zip(turns.tolist(), wording.spelled(turns + start, first_row), strict=True):
                spelled[turn] = f"({text})" if apart and (start + turn) % 2 else text
        return spelled

    return Spelled(len(which), spell)
