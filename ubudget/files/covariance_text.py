"""Covariances or correlation coefficients of the reported results as a table for other programs (GUM 5.2.2, 7.2.5)."""

from __future__ import annotations

import csv
import io

import numpy as np

from ubudget.evaluation.covariance import correlation_of, covariance_matrix
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.csv_text import safe_text
from ubudget.pages.results_table import result_label


def matrix_text(evaluation: Evaluation, *, correlation: bool = False) -> str:
    """One row and one column for each result, under its label (RFC 4180); the columns `unit` and `value` stand before.

    A covariance has the product of the units of its row and column. What is not available stays empty."""
    results = evaluation.results
    matrix = covariance_matrix(evaluation.propagated, evaluation.numbers)
    if correlation:
        matrix = correlation_of(matrix)
    known = np.array([result.value is not None for result in results])
    matrix = np.where(known[:, None] & known[None, :], matrix, np.nan)
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["result", "unit", "value", *(safe_text(result_label(result)) for result in results)])
    for result, row in zip(results, matrix.tolist(), strict=True):
        value = "" if result.value is None else repr(result.value)
        entries = ["" if np.isnan(entry) else repr(entry) for entry in row]
        writer.writerow([safe_text(result_label(result)), safe_text(result.unit), value, *entries])
    return stream.getvalue()
