"""From which distribution the coverage factor of a result is made."""

from __future__ import annotations

from ubudget.evaluation.coverage import EFFECTIVE_DOF
from ubudget.evaluation.dominance import DOMINATING
from ubudget.evaluation.simulation_names import SIMULATION, TRIALS
from ubudget.quantity.graph import INFINITE_DOF, Table
from ubudget.quantity.numbers import Numbers
from ubudget.records.method import Coverage

NORMAL, STUDENT, RECTANGULAR, TRAPEZOIDAL, BY_TRIALS = "normal", "t", "rectangular", "trapezoidal", "simulated"
OF_TERMS = (STUDENT, RECTANGULAR, TRAPEZOIDAL)
"""By the number of dominating rectangular contributions."""


def coverage_distribution(coverage: Coverage, results: Table, numbers: Numbers, row: int) -> str:
    """`t`, `normal`, `rectangular`, `trapezoidal` or `simulated`; empty where the method fixes k."""
    if coverage.rule == "fixed":
        return ""
    if coverage.rule == "simulation" and numbers.column(SIMULATION, TRIALS)[row] > 0:
        return BY_TRIALS
    count = int(numbers.column(results.name, DOMINATING)[row]) if DOMINATING in results.by_name else 0
    if count:
        return OF_TERMS[count]
    return NORMAL if numbers.column(results.name, EFFECTIVE_DOF)[row] >= INFINITE_DOF / 10 else STUDENT
