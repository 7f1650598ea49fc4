"""Results for other programs: JSON with everything, CSV with one row a result. Numbers are unrounded."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.files.atomic import replace_file
from ubudget.pages.record_sheet import fingerprint
from ubudget.pages.statement import Role, roles_of, statement
from ubudget.records.fingerprint import method_fingerprint
from ubudget.records.records import Records
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

    Null stands for infinite degrees of freedom and for what cannot be calculated."""
    method = method_object(evaluation.records)
    return {
        "method": method,
        "run": run_object(evaluation.records),
        "findings": [finding.as_json() for finding in evaluation.findings],
        "results": [
            result_object(result, evaluation, role) | {"method_fingerprint": method["fingerprint"]}
            for result, role in zip(evaluation.results, roles_of(evaluation), strict=True)
        ],
    }


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


def statements_object(evaluation: Evaluation) -> list[dict[str, Any]]:
    """The wording of each result, with what names it; `reference_material` is null for a client's sample."""
    return [
        {
            "sample": result.sample,
            "analyte": result.analyte,
            "line": result.line,
            "reference_material": role.reference_material or None,
            "lines_measured": [line for line in role.lines if line],
            "statement": statement(result, evaluation.records.method, role),
        }
        for result, role in zip(evaluation.results, roles_of(evaluation), strict=True)
    ]


def json_text(value: Any) -> str:
    """JSON as it stands in files (RFC 8259); raises `ValueError` for NaN and infinity, which it has no word for."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def csv_text(evaluation: Evaluation) -> str:
    """One row a result, heading first, comma and decimal point (RFC 4180); what is not available stays empty."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for result, role in zip(evaluation.results, roles_of(evaluation), strict=True):
        fields = figures_object(result, evaluation, role) | {"flags": "; ".join(result.flags)}
        writer.writerow(["" if fields[name] is None else fields[name] for name in CSV_COLUMNS])
    return stream.getvalue()


def write_text(text: str, path: Path, *, force: bool = False) -> None:
    """Write a text as UTF-8, whole or not at all. Raises as `replace_file` does."""
    replace_file(path, text.encode("utf-8"), force=force)
