"""Results for other programs: JSON with everything, CSV with one row a result. Numbers are unrounded."""

from __future__ import annotations

import csv
import io
import json
import math
from decimal import Decimal
from pathlib import Path
from typing import Any

from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.decisions import decisions_of
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.files.atomic import replace_file
from ubudget.files.csv_text import safe_text
from ubudget.files.decision_exchange import decision_objects
from ubudget.pages.decision_words import short_decision
from ubudget.pages.low_level_words import low_level_object
from ubudget.pages.record_sheet import fingerprint
from ubudget.pages.stated_results import origin_of, stated_results
from ubudget.pages.statement import Role, amount, roles_of, statement
from ubudget.records.fingerprint import method_fingerprint
from ubudget.records.records import Records
from ubudget.records.statement_form import StatementForm
from ubudget.version import __version__

CSV_COLUMNS = (
    "sample",
    "analyte",
    "line",
    "value",
    "unit",
    "measurand",
    "basis",
    "standard_uncertainty",
    "effective_degrees_of_freedom",
    "coverage_factor",
    "coverage_probability",
    "expanded_uncertainty",
    "reported_value",
    "reported_expanded_uncertainty",
    "statement",
    "flags",
)


def evaluation_object(evaluation: Evaluation) -> dict[str, Any]:
    """The evaluation in plain objects: `method`, `run` (null where a method stands alone), `findings`, `results`.

    Where the method has tolerance limits, each result has a list `decisions`. Null stands for infinite degrees of
    freedom and for what cannot be calculated."""
    limits = evaluation.records.method.tolerance_limits
    return {
        "method": method_object(evaluation.records),
        "run": run_object(evaluation.records),
        "findings": [finding.as_json() for finding in evaluation.findings],
        "results": [
            {
                **result_object(result, evaluation, role),
                "coverage_distribution": result.coverage_distribution or None,
                "coverage_interval": interval_object(result),
                "second_order_standard_uncertainty": second_order,
                **low_level_entry(evaluation, row),
                **({"decisions": decided} if limits else {}),
            }
            for row, (result, role, second_order, decided) in enumerate(
                zip(
                    evaluation.results,
                    roles_of(evaluation),
                    second_order_numbers(evaluation),
                    decision_objects(evaluation),
                    strict=True,
                )
            )
        ],
    }


def interval_object(result: Result) -> dict[str, Any] | None:
    """The simulated interval where the method reports such intervals; `coverage_factor` is then half of it over u, null
    where u is zero."""
    interval = result.coverage_interval
    if interval is None:
        return None
    return {
        "interval": [interval.low, interval.high],
        "interval_kind": interval.kind,
        "trials": interval.trials,
        "seed": interval.seed,
    }


def second_order_numbers(evaluation: Evaluation) -> list[float | None]:
    """u with terms of second order by result; None where it cannot be told."""
    numbers = evaluation.second_order.standard_uncertainty.tolist()
    return [
        number if result.value is not None and math.isfinite(number) else None
        for number, result in zip(numbers, evaluation.results, strict=True)
    ]


def method_object(records: Records) -> dict[str, Any]:
    document = records.method.document
    return {
        "id": document.id,
        "title": document.title,
        "version": document.version,
        "status": document.status,
        "file": records.file("method"),
        "fingerprint": method_fingerprint(records.texts),
        "program_version": __version__,
    }


def run_object(records: Records) -> dict[str, Any] | None:
    """The fingerprint is over all files of the run, its method and register among them.

    `as_measured` stands there alone where what was excluded or amended is left aside."""
    if records.run is None:
        return None
    sheet = records.run.file.run
    return {
        "id": sheet.id,
        "date": sheet.date.isoformat(),
        "analyst": sheet.analyst,
        "file": records.file("run"),
        "fingerprint": fingerprint(records.texts),
        "program_version": __version__,
        **({"as_measured": True} if records.as_measured else {}),
    }


REPORTED_AS = "reported_as"


def low_level_entry(evaluation: Evaluation, row: int) -> dict[str, Any]:
    """What is reported in place of value ± U (else null), and limits; nothing where the method has none of these."""
    if not near_zero(evaluation):
        return {}
    return {
        REPORTED_AS: evaluation.results[row].reported_as or None,
        "low_level": low_level_object(evaluation, row),
    }


def near_zero(evaluation: Evaluation) -> bool:
    """Whether the method says something of results near zero."""
    method = evaluation.records.method
    return bool(method.detection_limits or method.low_levels)


def result_object(result: Result, evaluation: Evaluation, role: Role) -> dict[str, Any]:
    return {**figures_object(result, evaluation, role), "budget": [budget_object(row) for row in result.budget]}


def figures_object(result: Result, evaluation: Evaluation, role: Role) -> dict[str, Any]:
    """A result without its budget."""
    return {
        "sample": result.sample,
        "analyte": result.analyte,
        "line": result.line,
        "value": result.value,
        "unit": result.unit,
        "measurand": result.measurand,
        "basis": result.basis,
        "standard_uncertainty": result.standard_uncertainty,
        "effective_degrees_of_freedom": result.effective_degrees_of_freedom,
        "coverage_factor": result.coverage_factor,
        "coverage_probability": result.coverage_probability,
        "expanded_uncertainty": result.expanded_uncertainty,
        "reported_value": result.reported_value,
        "reported_expanded_uncertainty": result.reported_expanded_uncertainty,
        "statement": statement(result, evaluation.records.method, role),
        "flags": list(result.flags),
    }


def budget_object(row: BudgetRow) -> dict[str, Any]:
    return {
        "symbol": row.symbol,
        "quantity": row.quantity,
        "group": row.group,
        "estimate": row.estimate,
        "unit": row.unit,
        "standard_uncertainty": row.standard_uncertainty,
        "evaluation": row.evaluation,
        "distribution": row.distribution,
        "degrees_of_freedom": row.degrees_of_freedom,
        "sensitivity_coefficient": row.sensitivity_coefficient,
        "contribution": row.contribution,
        "share": row.share,
        "source": row.source,
    }


def statements_object(evaluation: Evaluation, form: StatementForm | None = None) -> list[dict[str, Any]]:
    """What is reported of each result; `reference_material` is null for a client's sample. Numbers are rounded as
    reported, null where the result is not available or `reported_as` stands in their place."""
    method, origin = evaluation.records.method, origin_of(evaluation)
    form = form or method.statement
    return [
        {
            "sample": stated.result.sample,
            "analyte": stated.result.analyte,
            "line": stated.result.line,
            "reference_material": stated.reference_material or None,
            "lines_measured": list(stated.lines_measured),
            "statement": statement(stated.result, method, role, form),
            "reported": amount(stated.result, form, method.rounding.digits),
            "reported_as": stated.result.reported_as or None,
            "reported_value": _number(stated.value),
            "reported_expanded_uncertainty": _number(stated.expanded),
            "decimals": stated.result.decimals if stated.value is not None else None,
            "unit": stated.result.unit,
            "coverage_factor": _number(stated.factor),
            "coverage_probability": _number(stated.probability),
            "measurand": stated.result.measurand,
            "basis": stated.result.basis,
            "flags": list(stated.result.flags),
            "not_included": origin.not_included,
            "method": {"id": origin.method, "version": origin.version},
            "run": origin.run,
            "date": origin.date,
        }
        for stated, role in zip(stated_results(evaluation), roles_of(evaluation), strict=True)
    ]


def _number(number: Decimal | None) -> float | None:
    return None if number is None else float(number)


def json_text(value: Any) -> str:
    """JSON as it stands in files (RFC 8259); raises `ValueError` for NaN and infinity, which it has no word for."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def csv_text(evaluation: Evaluation) -> str:
    """One row a result, heading first, comma and decimal point (RFC 4180); what is not available stays empty. A text
    that a spreadsheet program could take for a formula has an apostrophe before it.

    A last column `reported_as` is there where the method has limits for results near zero."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    method = evaluation.records.method
    columns = (
        *CSV_COLUMNS,
        *((REPORTED_AS,) if near_zero(evaluation) else ()),
        *(("decisions",) if method.tolerance_limits else ()),
    )
    writer.writerow(columns)
    for result, role, decided in zip(evaluation.results, roles_of(evaluation), decisions_of(evaluation), strict=True):
        fields = figures_object(result, evaluation, role) | {
            "flags": "; ".join(result.flags),
            REPORTED_AS: result.reported_as,
            "decisions": "; ".join(map(short_decision, decided)),
        }
        writer.writerow([_csv_cell(fields[name]) for name in columns])
    return stream.getvalue()


def _csv_cell(field: Any) -> Any:
    if field is None:
        return ""
    return safe_text(field) if isinstance(field, str) else field


def write_text(text: str, path: Path, *, force: bool = False) -> None:
    """Write a text as UTF-8, whole or not at all. Raises as `replace_file` does."""
    replace_file(path, text.encode("utf-8"), force=force)
