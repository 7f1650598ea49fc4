"""What changed between two versions of a workbook, a run or a method."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ubudget.evaluation.evaluate import Result
from ubudget.pages.figures import plain
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped
from ubudget.pages.record_differences import FieldChange
from ubudget.pages.results_table import finding_line, result_label
from ubudget.pages.wording import NOT_AVAILABLE
from ubudget.records.finding import Finding

_DIGITS = 6
_NAMES = {"method_fingerprint": "method file", "records_fingerprint": "all records"}
"""Of both the fingerprint is shown, which fills the line."""


@dataclass(frozen=True)
class ResultChange:
    """One result on both sides; `None` where it is not among the results there."""

    old: Result | None
    new: Result | None

    @property
    def named(self) -> Result:
        result = self.new or self.old
        assert result is not None
        return result


@dataclass(frozen=True)
class FlagChange:
    result: str
    added: tuple[str, ...]
    removed: tuple[str, ...]


@dataclass(frozen=True)
class Version:
    """What is said of one side: its file, and name → text (program, layout, run, method, fingerprints)."""

    file: str
    told: Mapping[str, str]


@dataclass(frozen=True)
class VersionComparison:
    """`results` None: not compared, `why_no_results` says why. `remarks` tell what could not be read."""

    old: Version
    new: Version
    inputs: tuple[FieldChange, ...]
    results: tuple[ResultChange, ...] | None
    flags: tuple[FlagChange, ...]
    findings_added: tuple[Finding, ...]
    findings_removed: tuple[Finding, ...]
    remarks: tuple[str, ...] = ()
    why_no_results: str = ""
    stored: tuple[str, ...] = ()
    """Results of a workbook that are not what this program calculates from the same records."""

    @property
    def software(self) -> tuple[tuple[str, str, str], ...]:
        """Name, old and new of what is said of both sides and differs; files have no layout."""
        pairs = ((name, text, self.new.told.get(name, "")) for name, text in self.old.told.items())
        return tuple((name, was, now) for name, was, now in pairs if now and was != now)

    @property
    def changed(self) -> bool:
        parts = (
            self.software,
            self.stored,
            self.inputs,
            self.results,
            self.flags,
            self.findings_added,
            self.findings_removed,
        )
        return any(parts)


def result_changes(old: Sequence[Result], new: Sequence[Result]) -> tuple[ResultChange, ...]:
    """Results whose value, u, U, k, unit or reported figure are not the same, exactly, and those of one side alone."""
    before, after = ({result_label(result): result for result in side} for side in (old, new))
    pairs = [(before.get(label), after.get(label)) for label in dict.fromkeys([*before, *after])]
    return tuple(ResultChange(a, b) for a, b in pairs if a is None or b is None or _figures(a) != _figures(b))


def flag_changes(old: Sequence[Result], new: Sequence[Result]) -> tuple[FlagChange, ...]:
    """Flags that results of both sides gained or lost."""
    before, after = ({result_label(result): result.flags for result in side} for side in (old, new))
    changes = [
        FlagChange(
            label,
            tuple(flag for flag in after[label] if flag not in before[label]),
            tuple(flag for flag in before[label] if flag not in after[label]),
        )
        for label in before
        if label in after
    ]
    return tuple(change for change in changes if change.added or change.removed)


def _figures(result: Result) -> tuple[object, ...]:
    return (
        result.value,
        result.standard_uncertainty,
        result.expanded_uncertainty,
        result.coverage_factor,
        result.effective_degrees_of_freedom,
        result.reported_value,
        result.reported_expanded_uncertainty,
        result.reported_as,
        result.unit,
    )


def comparison_lines(comparison: VersionComparison, width: int = WIDTH) -> Iterator[str]:
    for name, side in (("old", comparison.old), ("new", comparison.new)):
        yield from wrapped(f"{name}  {side.file}", hanging="     ", width=width)
        for what, text in side.told.items():
            yield from wrapped(f"  {_NAMES.get(what, what):<11}  {text}", hanging=" " * 15, width=width)
    for remark in comparison.remarks:
        yield from wrapped(remark, hanging="    ", width=width)
    if not comparison.changed:
        yield ""
        yield "nothing changed"
        return
    yield from _section("Program, layout, files", _software(comparison), width)
    yield from _section(
        "Inputs", [f"{each.document}: {each.place}: {_arrow(each.was, each.now)}" for each in comparison.inputs], width
    )
    yield from _results(comparison, width)
    if comparison.results is None:
        return
    flags = [f"+ {each.result}: {flag}" for each in comparison.flags for flag in each.added]
    flags += [f"- {each.result}: {flag}" for each in comparison.flags for flag in each.removed]
    yield from _section("Flags", flags, width)
    findings = [f"+ {finding_line(finding)}" for finding in comparison.findings_added]
    findings += [f"- {finding_line(finding)}" for finding in comparison.findings_removed]
    yield from _section("Findings", findings, width)


def _software(comparison: VersionComparison) -> list[str]:
    told = [
        f"{_NAMES[name]}: another fingerprint" if name in _NAMES else f"{name}: {_arrow(was, now)}"
        for name, was, now in comparison.software
    ]
    return [*told, *comparison.stored]


def _section(title: str, texts: Sequence[str], width: int) -> Iterator[str]:
    yield ""
    yield f"{title}: {len(texts) or 'nothing changed'}"
    for text in texts:
        yield from wrapped(text, "  ", "      ", width)


def _arrow(was: str, now: str) -> str:
    return f"added, {now}" if not was else f"removed, was {was}" if not now else f"{was} -> {now}"


def _results(comparison: VersionComparison, width: int) -> Iterator[str]:
    yield ""
    if comparison.results is None:
        yield from wrapped(f"Results: not compared, {comparison.why_no_results}", width=width)
        return
    yield f"Results: {len(comparison.results) or 'nothing changed'}"
    if comparison.results:
        changes = comparison.results
        yield from table_lines(
            [
                TextColumn("result", [result_label(change.named) for change in changes]),
                TextColumn("value", [_value(change.old) for change in changes], "right"),
                TextColumn("value now", [_value(change.new) for change in changes], "right"),
                TextColumn("U", [_expanded(change.old) for change in changes], "right"),
                TextColumn("U now", [_expanded(change.new) for change in changes], "right"),
                TextColumn("unit", [_unit(change) for change in changes]),
            ],
            "  ",
            width,
        )


def _value(result: Result | None) -> str:
    if result is None:
        return "none"
    return NOT_AVAILABLE if result.value is None else plain(result.value, _DIGITS)


def _expanded(result: Result | None) -> str:
    if result is None or result.expanded_uncertainty is None:
        return ""
    return plain(result.expanded_uncertainty, _DIGITS)


def _unit(change: ResultChange) -> str:
    units = dict.fromkeys(result.unit for result in (change.old, change.new) if result is not None)
    return " -> ".join(units)
