"""The results of a run for a terminal: one table, the flags in words, and how the uncertainty is to be read."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence

from ubudget.errors import UbudgetError
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.pages.coverage_words import K_FROM, interval_column, rule_words, short_words
from ubudget.pages.figures import dof_text
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped
from ubudget.pages.statement import factor
from ubudget.pages.wording import NOT_AVAILABLE, fixed
from ubudget.records.finding import Finding
from ubudget.records.method import Coverage


def results_lines(evaluation: Evaluation, width: int = WIDTH) -> Iterator[str]:
    """Table, flags, findings, and one line on the coverage."""
    results, coverage = evaluation.results, evaluation.records.method.coverage
    flags = list(dict.fromkeys(flag for result in results for flag in result.flags))
    yield from table_lines(list(_columns(results, coverage, flags)), width=width)
    if flags:
        yield ""
        for number, flag in enumerate(flags, start=1):
            yield from wrapped(flag, f"{number}: ", "   ", width)
    if evaluation.findings:
        yield ""
        for finding in evaluation.findings:
            yield from wrapped(finding_line(finding), "", "    ", width)
    yield ""
    yield from wrapped(coverage_line(coverage), width=width)


def finding_line(finding: Finding) -> str:
    """Severity and the finding as one line."""
    return " ".join(f"{finding.severity}: {finding.line()}".split())


def coverage_line(coverage: Coverage) -> str:
    """How k was chosen."""
    return f"U = k u; {rule_words(coverage)}."


def result_label(result: Result) -> str:
    """What names a result on the command line: `SAMPLE/ANALYTE`, or with the line `SAMPLE/ANALYTE/LINE`."""
    return "/".join(part for part in (result.sample, result.analyte, result.line) if part)


def find_result(evaluation: Evaluation, label: str | None) -> int:
    """Row of the result with that label; without label, the only result there is.

    Raises `UbudgetError`, which lists the nearest labels."""
    labels = [result_label(result) for result in evaluation.results]
    if label is None:
        return find_named(evaluation, None, None, None)
    rows = [row for row, known in enumerate(labels) if known == label]
    rows = (
        rows
        if len(rows) == 1
        else [row for row, known in enumerate(labels) if known == label or known.startswith(f"{label}/")]
    )
    return _only(rows, labels, label)


def find_named(evaluation: Evaluation, sample: str | None, analyte: str | None, line: str | None) -> int:
    """Row of the result with that sample, analyte and line; what is not given may be any. Raises as `find_result`."""
    labels = [result_label(result) for result in evaluation.results]
    rows = [
        row
        for row, result in enumerate(evaluation.results)
        if sample in (None, result.sample) and analyte in (None, result.analyte) and line in (None, result.line)
    ]
    whole = [row for row in rows if line is None and evaluation.assembly.lines_of(row)]
    if sample and analyte and len(whole) == 1:
        return whole[0]
    wanted = "/".join(part for part in (sample, analyte, line) if part is not None)
    return _only(rows, labels, wanted)


def _only(rows: Sequence[int], labels: Sequence[str], wanted: str) -> int:
    if len(rows) == 1:
        return rows[0]
    if rows:
        several = ", ".join(labels[row] for row in rows[:5])
        rest = f" and {len(rows) - 5} more" if len(rows) > 5 else ""
        found = f"result {wanted}: names {len(rows)} results" if wanted else f"none of {len(rows)} results is chosen"
        raise UbudgetError(f"{found}; accepted: the label of one, {several}{rest}; give one with --result")
    nearest = difflib.get_close_matches(wanted, labels, n=5, cutoff=0.3) or labels[:5]
    raise UbudgetError(
        f"result {wanted}: there is no such result; accepted: SAMPLE/ANALYTE or SAMPLE/ANALYTE/LINE; "
        f"nearest: {', '.join(nearest)}"
    )


def _columns(results: Sequence[Result], coverage: Coverage, flags: Sequence[str]) -> Iterator[TextColumn]:
    yield TextColumn("sample", [result.sample for result in results])
    yield TextColumn("analyte", [result.analyte for result in results])
    if any(result.line for result in results):
        yield TextColumn("line", [result.line or "" for result in results])
    yield TextColumn("value", [_rounded(result, result.reported_value) for result in results], "right")
    yield TextColumn(
        "± U",
        [
            "" if result.value is None or result.reported_as else _rounded(result, result.reported_expanded_uncertainty)
            for result in results
        ],
        "right",
    )
    if any(result.reported_as for result in results):
        yield TextColumn("reported", [result.reported_as or "value ± U" for result in results])
    yield TextColumn("unit", [result.unit for result in results])
    yield TextColumn("k", [factor(result, coverage) if result.value is not None else "" for result in results], "right")
    if coverage.rule not in ("fixed", "t"):
        yield TextColumn(K_FROM, [short_words(result) for result in results])
    if coverage.rule == "simulation":
        yield TextColumn("interval", [interval_column(result) for result in results], "right")
    yield TextColumn("ν", [_dof(result) for result in results], "right")
    if flags:
        yield TextColumn(
            "flags", [", ".join(str(flags.index(flag) + 1) for flag in result.flags) for result in results]
        )


def _rounded(result: Result, value: float | None) -> str:
    return NOT_AVAILABLE if value is None else fixed(value, result.decimals)


def _dof(result: Result) -> str:
    return "" if result.value is None else dof_text(result.effective_degrees_of_freedom)
