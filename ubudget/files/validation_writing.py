"""The record of a validation as files: text, page, JSON, and the inputs of the second calculation."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ubudget.evaluation.expected_figures import Comparison
from ubudget.files.atomic import Content, replace_files
from ubudget.files.exchange import json_text
from ubudget.pages.listing import joined
from ubudget.pages.validation_page import record_page
from ubudget.pages.validation_record import CaseRecord, ValidationRecord, failures, record_text_lines

INPUTS = "inputs"


def write_record(record: ValidationRecord, folder: Path, *, force: bool = False) -> list[Path]:
    """The dated record in the folder, which is made where it is missing. Raises as `replace_files` does."""
    stem = f"validation-{record.day.isoformat()}"
    texts = {
        folder / f"{stem}.txt": joined(record_text_lines(record)),
        folder / f"{stem}.html": record_page(record),
        folder / f"{stem}.json": json_text(record_object(record)),
    }
    inputs = {
        folder / f"{stem}-{INPUTS}" / f"{case.name}.json": json_text(case.inputs)
        for case in record.cases
        if case.inputs is not None
    }
    for path in {path.parent for path in (*texts, *inputs)}:
        path.mkdir(parents=True, exist_ok=True)
    contents: dict[Path, Content] = {path: text.encode("utf-8") for path, text in {**texts, **inputs}.items()}
    replace_files(contents, force=force)
    return list(texts)


def record_object(record: ValidationRecord) -> dict[str, Any]:
    """`verdict` is "pass" or "fail"; null stands for infinite degrees of freedom and for what was not made."""
    return {
        "date": record.day.isoformat(),
        "reviewer": record.reviewer,
        "verdict": _verdict(record.passed),
        "program": record.program,
        "files": record.files,
        "fingerprint": record.fingerprint,
        "files_compared": record.compared,
        "wrong_files": list(record.wrong_files),
        "engine": record.engine or None,
        "versions": dict(record.versions),
        "attend": list(record.attend),
        "cases": [_case_object(case) for case in record.cases],
    }


def _case_object(case: CaseRecord) -> dict[str, Any]:
    book = case.workbook
    return {
        "case": case.name,
        "source": case.source,
        "note": case.note,
        "reference": case.reference or None,
        "fingerprint": case.fingerprint,
        "verdict": _verdict(case.passed),
        "failures": list(failures(case)),
        "attend": list(case.attend),
        "figures": _figures(case.figures),
        "workbook": None
        if book is None
        else {
            "formulas": book.formulas,
            "largest_relative_difference": book.largest,
            "differing": list(book.differing),
            "verdict": _verdict(book.passed),
        },
        "independent_inputs": case.inputs,
        "independent_not_made": case.why_not or None,
    }


def _figures(figures: Sequence[Comparison]) -> list[dict[str, Any]]:
    return [
        {
            "figure": figure.what,
            "held_against": figure.by,
            "expected": figure.expected,
            "obtained": figure.obtained,
            "difference": figure.difference,
            "allowed": figure.allowed,
            "verdict": _verdict(figure.passed),
        }
        for figure in figures
    ]


def _verdict(passed: bool) -> str:
    return "pass" if passed else "fail"
