"""Changes of a plan, each from records to records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from ubudget.evaluation.plan_clauses import Clause
from ubudget.evaluation.planned_inputs import with_certificate, with_class, with_input, with_mass, with_ware
from ubudget.evaluation.planned_repeats import (
    with_blanks,
    with_portions,
    with_replicates,
    with_standard_readings,
    with_standards,
)
from ubudget.records.records import Records
from ubudget.records.run import Reading

Change = Callable[[Records, Clause], Records]


def changed(records: Records, clause: Clause) -> Records:
    """The records with one change. Raises `UbudgetError` where they have nothing that it could change."""
    return _CHANGES[clause.word](records, clause)


def moves_values(clause: Clause) -> bool:
    """Whether readings would have been others, so that they have to be found anew."""
    return clause.word in ("mass", "ware")


def shifted(reading: Reading, by: float) -> Reading:
    """A reading with all its replicates, or its mean, moved by one amount; the scatter stays."""
    values = tuple(value + by for value in reading.values)
    return replace(reading, values=values, mean=None if reading.mean is None else reading.mean + by)


_CHANGES: dict[str, Change] = {
    "replicates": with_replicates,
    "portions": with_portions,
    "blanks": with_blanks,
    "standards": with_standards,
    "standard readings": with_standard_readings,
    "mass": with_mass,
    "ware": with_ware,
    "class": with_class,
    "certificate": with_certificate,
    "input": with_input,
}
