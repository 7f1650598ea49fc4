"""Answers of an engine to edits made one at a time, against the library: edits that move no result in common are put
to the library together, which then gives each result as the one edit that moves it, and all others as they were.

An edit that moves a result in the library alone, or in the cells alone, is seen as before; the library calculates a run
of many samples four times less often.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from tests.workbooks.books import Written, edited
from ubudget.records.records import Edit

Numbers = Sequence[float]


def disagreements(
    example: Written, edits: Sequence[Edit], base: Numbers, answers: Sequence[Numbers], floor: float = 1e-15
) -> Iterator[str]:
    """Edits and numbers on which the library does not give what the engine gave for each edit alone.

    `base` holds the engine's numbers of the results without edits, `answers` those for each edit. Numbers agree at
    1e-9, or within `floor`.
    """
    reached = [frozenset(n for n, (a, b) in enumerate(zip(answer, base, strict=True)) if a != b) for answer in answers]
    # What moves no result by itself may yet act on another edit, as a coefficient of a difference that is zero.
    silent = [[member] for member, moved in enumerate(reached) if not moved]
    loud = [member for member, moved in enumerate(reached) if moved]
    # Numbers stand column by column: two that are a whole number of columns apart are of one result.
    size = len(example.evaluation.keys)
    results = [frozenset(n % size for n in reached[member]) for member in loud]
    together = [[loud[at] for at in group] for group in disjoint_groups(results)]
    for group in [*silent, *together]:
        expected = list(base)
        for member in group:
            for n in reached[member]:
                expected[n] = answers[member][n]
        library = edited(example.records, [edits[member] for member in group])
        found = Written(example.records, library, example.book).result_numbers()
        wrong = [
            (a, b) for a, b in zip(expected, found, strict=True) if not math.isclose(a, b, rel_tol=1e-9, abs_tol=floor)
        ]
        if wrong:
            yield f"{[edits[member].path for member in group]}: cells, library {wrong[:3]}"


def disjoint_groups(sets: Sequence[frozenset[int]]) -> list[list[int]]:
    """Positions of the sets in groups without a common element; the first group that has room takes each."""
    groups: list[tuple[set[int], list[int]]] = []
    for position, elements in enumerate(sets):
        for taken, members in groups:
            if not taken & elements:
                taken |= elements
                members.append(position)
                break
        else:
            groups.append((set(elements), [position]))
    return [members for _, members in groups]
