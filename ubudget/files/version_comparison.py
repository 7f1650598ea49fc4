"""Two versions of a workbook, a run or a method compared; both are only read."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from ubudget.evaluation.evaluate import Result
from ubudget.files.version_reading import Side, read_side, told_of
from ubudget.pages.record_differences import FieldChange, differences
from ubudget.pages.results_table import result_label
from ubudget.pages.version_comparison import (
    ResultChange,
    Version,
    VersionComparison,
    flag_changes,
    result_changes,
)
from ubudget.records.finding import Finding

ROLES = ("method", "register", "run", "samples", "solutions", "readings")


def compare_versions(old: Path, new: Path) -> VersionComparison:
    """Both sides are evaluated by this program, so that results differ by their records alone; what wrote a workbook is
    told beside. Raises `UnusableInput`."""
    before, after = read_side(old), read_side(new)
    both = before.evaluation is not None and after.evaluation is not None
    whole = both and bool(before.run) == bool(after.run)
    results_before, results_after = _results(before), _results(after)
    findings_before, findings_after = before.findings, after.findings
    return VersionComparison(
        Version(before.file, told_of(before)),
        Version(after.file, told_of(after)),
        tuple(_inputs(before, after, whole)),
        result_changes(results_before, results_after) if whole else None,
        flag_changes(results_before, results_after) if whole else (),
        _beyond(findings_after, findings_before) if whole else (),
        _beyond(findings_before, findings_after) if whole else (),
        before.remarks + after.remarks,
        "" if whole else "one of the two is a method without a run",
        before.stored + after.stored,
    )


def _results(side: Side) -> tuple[Result, ...]:
    return () if side.evaluation is None else tuple(side.evaluation.results)


def _beyond(these: Iterable[Finding], those: Iterable[Finding]) -> tuple[Finding, ...]:
    known = set(those)
    return tuple(finding for finding in dict.fromkeys(these) if finding not in known)


def _inputs(before: Side, after: Side, whole: bool) -> Iterable[FieldChange]:
    """Where a method stands beside a run, the methods alone are compared."""
    for role in ROLES if whole else ("method",):
        old, new = before.documents.get(role), after.documents.get(role)
        if old is not None or new is not None:
            yield from differences(role, old, new)


def comparison_object(comparison: VersionComparison) -> dict[str, Any]:
    """Null stands for a result or a figure that a side does not have; `results` is null where none were compared."""
    results = comparison.results
    return {
        "changed": comparison.changed,
        "old": {"file": comparison.old.file, **comparison.old.told},
        "new": {"file": comparison.new.file, **comparison.new.told},
        "remarks": list(comparison.remarks),
        "records": [{"what": what, "from": was, "to": now} for what, was, now in comparison.software],
        "stored_otherwise": list(comparison.stored),
        "inputs": [
            {"document": each.document, "place": each.place, "from": each.was or None, "to": each.now or None}
            for each in comparison.inputs
        ],
        "results": None if results is None else [_result_object(change) for change in results],
        "flags": [
            {"result": each.result, "added": list(each.added), "removed": list(each.removed)}
            for each in comparison.flags
        ],
        "findings": {
            "added": [finding.as_json() for finding in comparison.findings_added],
            "removed": [finding.as_json() for finding in comparison.findings_removed],
        },
    }


def _result_object(change: ResultChange) -> dict[str, Any]:
    named = change.named
    return {
        "result": result_label(named),
        "sample": named.sample,
        "analyte": named.analyte,
        "line": named.line,
        "from": _figures(change.old),
        "to": _figures(change.new),
    }


def _figures(result: Result | None) -> dict[str, Any] | None:
    if result is None:
        return None
    return {
        "value": result.value,
        "unit": result.unit,
        "standard_uncertainty": result.standard_uncertainty,
        "effective_degrees_of_freedom": result.effective_degrees_of_freedom,
        "coverage_factor": result.coverage_factor,
        "expanded_uncertainty": result.expanded_uncertainty,
        "reported_value": result.reported_value,
        "reported_expanded_uncertainty": result.reported_expanded_uncertainty,
    }
