"""Runs with amendments: tables `[[amendment]]` behind the run file of the small invented run, or of another."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from tests.findings.small_run import FILES
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import records_from_texts
from ubudget.files.toml_writing import toml_text
from ubudget.records.finding import Finding
from ubudget.records.records import Records, SourceText

ROLES = ("run", "method", "register", "samples", "solutions", "readings")
SMALL = tuple(SourceText(role, name, text) for role, (name, text) in zip(ROLES, FILES.items(), strict=True))
DAY = dt.date(2026, 3, 12)
Table = dict[str, Any]


def amendment(act: str, **keys: Any) -> Table:
    """An amendment with reason, name and date; `was` stands for `from`."""
    named = {"from" if key == "was" else key: value for key, value in keys.items()}
    return {"act": act, "reason": "found on review", "who": "reviewer 1", "when": DAY} | named


def with_amendments(amendments: Sequence[Table], texts: Sequence[SourceText] = SMALL) -> tuple[SourceText, ...]:
    behind = toml_text({"amendment": list(amendments)}) if amendments else ""
    return tuple(replace(t, text=f"{t.text}\n{behind}") if t.role == "run" else t for t in texts)


def read(amendments: Sequence[Table], texts: Sequence[SourceText] = SMALL) -> tuple[Records | None, list[Finding]]:
    return records_from_texts(with_amendments(amendments, texts))


def usable(amendments: Sequence[Table], texts: Sequence[SourceText] = SMALL) -> Records:
    records, findings = read(amendments, texts)
    assert records is not None, [finding.line() for finding in findings]
    return records


def evaluated(records: Records) -> Evaluation:
    evaluation, findings = evaluate(records)
    assert evaluation is not None, [finding.line() for finding in findings]
    return evaluation


def bits(records: Records) -> list[tuple[object, ...]]:
    """Every figure of every result and of its budget, bit for bit."""
    return [
        (
            result.sample,
            result.analyte,
            result.line,
            *(
                None if number is None else float(number).hex()
                for number in (
                    result.value,
                    result.standard_uncertainty,
                    result.effective_degrees_of_freedom,
                    result.coverage_factor,
                    result.expanded_uncertainty,
                )
            ),
            *((row.symbol, float(row.contribution).hex()) for row in result.budget),
        )
        for result in evaluated(records).results
    ]
