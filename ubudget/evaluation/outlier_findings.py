"""Outlier tests that exclusions name, made again from the readings that counted then."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.outlier_tests import DIXON_CRITICAL, DIXON_LEVELS, dixon, grubbs
from ubudget.records.amendments import TESTS, Amended, place_of
from ubudget.records.crosscheck_amendments import in_force
from ubudget.records.finding import Finding
from ubudget.records.records import Records

TOLERANCE = 0.005
"""Relative; a statistic is written with three digits or more."""


def outlier_findings(records: Records) -> Iterator[Finding]:
    """Tests that do not point at the reading, do not reject it, or were calculated otherwise.

    Under Cochran the readings of other solutions count as well, and the statistic is taken as stated."""
    for done in in_force(records):
        amendment = done.amendment
        if amendment.act == "exclude" and amendment.rule in TESTS and amendment.level is not None:
            for found, accepted, remedy in _faults(done, amendment.level):
                place = place_of(done.number, done.what)
                yield Finding("attend", records.file("run"), place, found, accepted, remedy)


def _faults(done: Amended, level: float) -> Iterator[tuple[str, str, str]]:
    amendment, rule = done.amendment, done.amendment.rule
    stated, critical = amendment.statistic, amendment.critical
    restore = "restore the reading, or name the rule that holds"
    if rule == "Cochran":
        if stated is not None and critical is not None and stated <= critical:
            yield f"Cochran's C = {stated:g}, not above {critical:g}", "a statistic above the critical value", restore
        return
    test = (grubbs if rule == "Grubbs" else dixon)(done.values, level)
    if test is None:
        table = (
            f"{min(DIXON_CRITICAL)} to {max(DIXON_CRITICAL)} readings at {', '.join(f'{p:g}' for p in DIXON_LEVELS)}"
        )
        accepted = table if rule == "Dixon" else "three readings or more, with scatter"
        yield f"{rule}'s test of {len(done.values)} readings at level {level:g}", accepted, restore
        return
    if test.at != done.tested:
        found = f"{rule}'s test points at another reading, {done.values[test.at]:g}"
        yield found, "the reading that lies furthest out", restore
    elif not test.significant:
        found = f"{rule}'s statistic {test.statistic:.4g}, not above {test.critical:.4g} at level {level:g}"
        yield found, "a statistic above the critical value", restore
    for name, said, made in (("statistic", stated, test.statistic), ("critical", critical, test.critical)):
        if said is not None and abs(said - made) > TOLERANCE * made:
            yield f"{name} = {said:g}", f"{made:.4g}, from the readings that counted", f"correct {name}"
