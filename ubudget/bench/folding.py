"""What is told of several results, told of the one that is calculated from them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ubudget.bench.minimum import MINIMUM
from ubudget.bench.result_table import RANGE, RECOVERY
from ubudget.quantity.expression import Expression, apply

WORST_CLAUSE = "a portion below goes before one above"


def fold(operation: str, parts: Sequence[Expression]) -> Expression:
    """The parts joined by an operation of two arguments, from left to right."""
    total = parts[0]
    for part in parts[1:]:
        total = apply(operation, total, part)
    return total


def worst(places: Sequence[Expression]) -> Expression:
    """-1 where one is below its limits, else 1 where one is above, else 0."""
    return apply("if_less", fold("smaller", places), 0, -1, fold("larger", places))


@dataclass(frozen=True)
class Mark:
    """A column of the results that tells what a person must look at."""

    name: str
    heading: str
    of: Callable[[Sequence[Expression]], Expression]
    clause: str = ""


FOLDS = (
    Mark(RANGE, "outside the calibrated range (-1 below, 1 above)", worst, "one below goes before one above"),
    Mark(RECOVERY, "internal standard (-1 below, 1 above its limits)", worst, "one below goes before one above"),
    Mark(MINIMUM, "portions below a minimum mass", lambda counts: fold("add", counts)),
)
APART = "lines apart"
"""Column of the results: how many usable lines differ from the first one."""
LINES_APART = Mark(APART, "lines that differ from the first", lambda counts: fold("add", counts))
