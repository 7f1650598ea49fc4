"""The trail of a run: each exclusion and amendment in order, and the difference that it made to each result."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ubudget.evaluation.evaluate import Result
from ubudget.evaluation.outlier_tests import OutlierTest
from ubudget.pages.figures import plain
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped
from ubudget.pages.wording import NOT_AVAILABLE

ORDER = (
    "Differences are stepwise, in the order of the trail: the run after each step less the run after the step before "
    "it. They add up to the difference between the run as it stands and the run as measured."
)
_DIGITS = 5


@dataclass(frozen=True)
class Difference:
    """One result before and after a step; `None` where it is not among the results there."""

    before: Result | None
    after: Result | None

    @property
    def named(self) -> Result:
        result = self.after or self.before
        assert result is not None
        return result

    @property
    def value(self) -> float | None:
        """Value after less value before."""
        return _less(_value(self.after), _value(self.before))

    @property
    def u(self) -> float | None:
        return _less(_u(self.after), _u(self.before))


@dataclass(frozen=True)
class Step:
    """One exclusion or amendment."""

    name: str
    """`exclude_reading 1` or `amendment 2`."""
    act: str
    what: str
    was: str
    to: str
    reason: str
    who: str
    when: str
    rule: str = ""
    """Rule, test and cause of an exclusion."""
    undone: bool = False
    differences: tuple[Difference, ...] = ()
    """Results that are not what they were before the step."""
    evaluated: bool = True
    """False where the run cannot be evaluated after this step; the next one that can be holds the difference."""


def trail_lines(steps: Sequence[Step], width: int = WIDTH) -> Iterator[str]:
    if not steps:
        yield "no exclusion and no amendment: the run stands as measured"
        return
    yield from wrapped(ORDER, width=width)
    for step in steps:
        yield ""
        yield from step_lines(step, width)


def step_lines(step: Step, width: int = WIDTH) -> Iterator[str]:
    changed = f": {step.was or 'nothing'} -> {step.to or 'nothing'}" if step.was or step.to else ""
    undone = " (undone)" if step.undone else ""
    yield from wrapped(f"{step.name}{undone}: {step.act}, {step.what}{changed}", hanging="    ", width=width)
    by = ", ".join(part for part in (step.who, step.when) if part)
    yield from wrapped(f"{step.reason} ({by or 'name and date are missing'})", "    ", width=width)
    if step.rule:
        yield from wrapped(f"rule: {step.rule}", "    ", width=width)
    if not step.evaluated:
        yield from wrapped("the run cannot be evaluated after this step alone", "    ", width=width)
    elif not step.differences:
        yield "    no result differs"
    else:
        yield from table_lines(_columns(step.differences), "    ", width)


def _columns(differences: Sequence[Difference]) -> list[TextColumn]:
    named = [difference.named for difference in differences]
    return [
        TextColumn("sample", [result.sample for result in named]),
        TextColumn("analyte", [f"{result.analyte} {result.line or ''}".strip() for result in named]),
        TextColumn("before", [_text(_value(difference.before)) for difference in differences], "right"),
        TextColumn("after", [_text(_value(difference.after)) for difference in differences], "right"),
        TextColumn("difference", [_text(difference.value, "") for difference in differences], "right"),
        TextColumn("u before", [_text(_u(difference.before), "") for difference in differences], "right"),
        TextColumn("after", [_text(_u(difference.after), "") for difference in differences], "right"),
        TextColumn("unit", [result.unit for result in named]),
    ]


def test_lines(tests: Sequence[OutlierTest], readings: Sequence[float], cells: Sequence[str]) -> Iterator[str]:
    """The outlier tests beside an exclusion; `cells` name the solutions of Cochran's test."""
    yield "Outlier tests, on readings as recorded (offered: none of them alone is a reason)"
    if not tests:
        yield "    none: fewer than three readings, or no scatter"
    for test in tests:
        at = f"solution {cells[test.at]}" if test.name == "Cochran" else f"reading {plain(readings[test.at])}"
        p = "" if test.p is None else f", p {plain(test.p, 2)}"
        said = "above" if test.significant else "not above"
        yield from wrapped(
            f"{test.name}: {plain(test.statistic, 4)}, {said} the critical value {plain(test.critical, 4)} at level "
            f"{test.level:g}{p}; points at {at}",
            "    ",
            "      ",
        )


def _value(result: Result | None) -> float | None:
    return None if result is None else result.value


def _u(result: Result | None) -> float | None:
    return None if result is None else result.standard_uncertainty


def _less(after: float | None, before: float | None) -> float | None:
    return None if after is None or before is None else after - before


def _text(value: float | None, absent: str = NOT_AVAILABLE) -> str:
    return absent if value is None else plain(value, _DIGITS)
