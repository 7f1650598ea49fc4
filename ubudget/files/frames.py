"""Results and budgets as data frames, for those who go on with pandas. Numbers are unrounded."""

from __future__ import annotations

from dataclasses import asdict, fields

import pandas as pd

from ubudget.evaluation.evaluate import Evaluation, Result


def results_frame(evaluation: Evaluation) -> pd.DataFrame:
    """One row a result, in the order of the run; columns as the fields of a result, without its budget and lines.

    Numbers that cannot be calculated and infinite degrees of freedom are missing values."""
    names = [field.name for field in fields(Result) if field.name not in ("budget_rows", "lines")]
    return pd.DataFrame([{name: getattr(result, name) for name in names} for result in evaluation.results])


def budgets_frame(evaluation: Evaluation) -> pd.DataFrame:
    """One row for each input quantity of each result: sample, analyte, line, then the fields of a budget row."""
    rows = [
        {"sample": result.sample, "analyte": result.analyte, "line": result.line, **asdict(entry)}
        for result in evaluation.results
        for entry in result.budget
    ]
    return pd.DataFrame(rows)
