"""Target uncertainties: units that fit the results, cases that exist, bands that do not overlap."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.amount import Amount
from ubudget.records.finding import Finding
from ubudget.records.method import Method
from ubudget.records.stated_targets import StatedTarget, stated_targets
from ubudget.records.target import Target
from ubudget.records.unit_comparison import in_unit


def target_findings(method: Method, file: str) -> list[Finding]:
    stated = stated_targets(method)
    found = [finding for one in stated for finding in _single(one, method, file)]
    return found if found else list(_twice(stated, method, file))


def unit_of_case(target: Target, method: Method) -> str:
    """Unit of the results that a target is for: that of a derived result which it names, else of the method."""
    named = {derived.name: derived.unit for derived in method.derived}
    return named.get(target.analyte, method.document.unit)


def _single(one: StatedTarget, method: Method, file: str) -> Iterator[Finding]:
    target, unit = one.target, unit_of_case(one.target, method)
    case = one.place.rpartition(",")[0]
    named = [*method.analytes, *(derived.name for derived in method.derived)]
    lines = {line for own in method.analytes.values() for line in own}
    lines |= {f"{analyte} {line}" for analyte, own in method.analytes.items() for line in own}
    if not _fits(target.amount, unit):
        accepted = f'a target in % of the result, or in {unit or "1"}, e.g. "10 %"'
        yield Finding("stop", file, one.place, target.amount.text, accepted, "correct the unit")
    if target.analyte and target.analyte not in named:
        accepted = f"analytes and derived results of the method: {', '.join(named) or 'none yet'}"
        found = f"the unknown analyte {target.analyte}"
        yield Finding("stop", file, f"{case}, analyte", found, accepted, "correct the name")
    if target.line and target.line not in lines:
        accepted = f"lines of the method: {', '.join(sorted(lines)) or 'none yet'}"
        yield Finding("stop", file, f"{case}, line", f"the unknown line {target.line}", accepted, "correct the name")
    for key, level in (("level_from", target.level_from), ("level_to", target.level_to)):
        if level is not None and (level.relative or in_unit(level.value, level.unit, unit) is None):
            accepted = f"a level in the unit of the results, {unit or '1'}"
            yield Finding("stop", file, f"{case}, {key}", level.text, accepted, "correct the unit")
    low, high = band_of(target, unit)
    if low >= high:
        found = f"a band from {low:g} to {high:g}"
        yield Finding("stop", file, case, found, "level_from below level_to", "correct the levels")


def _fits(amount: Amount, unit: str) -> bool:
    # A bare number could be meant as a share: it needs its unit, unless results have none.
    bare = not amount.unit and unit not in ("", "1")
    return amount.relative or (not bare and in_unit(amount.value, amount.unit, unit) is not None)


def band_of(target: Target, unit: str) -> tuple[float, float]:
    """Lower and upper end of the level band, in the unit of the results; infinite where there is none."""
    low, high = target.level_from, target.level_to
    start = None if low is None else in_unit(low.value, low.unit, unit)
    stop = None if high is None else in_unit(high.value, high.unit, unit)
    return (float("-inf") if start is None else start, float("inf") if stop is None else stop)


def _twice(stated: list[StatedTarget], method: Method, file: str) -> Iterator[Finding]:
    """Two targets that would hold for one result."""
    for number, later in enumerate(stated):
        for earlier in stated[:number]:
            a, b = earlier.target, later.target
            if (a.analyte, a.line, a.matrix) != (b.analyte, b.line, b.matrix) or a.banded != b.banded:
                continue
            unit = unit_of_case(a, method)
            (low, high), (start, stop) = band_of(a, unit), band_of(b, unit)
            if max(low, start) < min(high, stop):
                found = f"a second target for the same results (first: {earlier.place})"
                accepted = "one target for each case; level bands that do not overlap"
                yield Finding("stop", file, later.place, found, accepted, "delete one, or part their levels")
