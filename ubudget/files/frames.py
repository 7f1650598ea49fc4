"""Results and budgets as data frames, for those who go on with pandas. Numbers are unrounded."""

from __future__ import annotations

from dataclasses import asdict

import pandas as pd

from ubudget.evaluation.evaluate import Evaluation


def results_frame(evaluation: Evaluation) -> pd.DataFrame:
    """One row a result, in the order of the run; columns as the fields of a result, without its budget and lines.

    Numbers that cannot be calculated and infinite degrees of freedom are missing values."""
    dicts = [asdict(result) for result in evaluation.results]
    rows = [{name: value for name, value in fields.items() if name not in ("budget", "lines")} for fields in dicts]
    return pd.DataFrame(rows)


def budgets_frame(evaluation: Evaluation) -> pd.DataFrame:
    """One row for each input quantity of each result: sample, analyte, line, then the fields of a budget row."""
    rows = [
        {"sample": result.sample, "analyte": result.analyte, "line": result.line, **asdict(entry)}
        for result in evaluation.results
        for entry in result.budget
    ]
    return pd.DataFrame(rows)
