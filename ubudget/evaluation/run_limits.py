"""Limits that a run shows, line by line, in the measured solution and for the nominal portion, with the exact factor.

The workbook calculates the detection limit with the sum of two t, which a cell can; here the non-central t stands
beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ubudget.bench.blank import BLANKS
from ubudget.bench.curve import CURVES
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.structure import Curve, Structure
from ubudget.errors import UbudgetError
from ubudget.evaluation.detection import DetectionLimits, detection_limits
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.low_level_checks import RUN_LIMITS, checked_lines, from_calibration, spread_at_zero
from ubudget.evaluation.scaled_limits import AT_NOMINAL, SCALED, Limits
from ubudget.quantity.numbers import evaluate
from ubudget.records.method import Blank
from ubudget.records.read_order import calibration_of


@dataclass(frozen=True)
class RunLimit:
    """Limits of one line from one source. `limits` is in the unit of the solution; None where they cannot be had."""

    curve: Curve
    source: str
    limits: DetectionLimits | None
    unit: str
    number: int
    """Blanks, or points of the line."""
    sum_of_t: float | None
    """Detection limit by the sum of two t, as in the workbook."""
    per_solution: float | None
    """|∂w/∂c| of the nominal portion; None where the method states none."""
    p: float | None
    """Probability of an F as large, where the run is judged against the method; else None."""
    worse: bool
    lacking: str = ""


def run_limits(evaluation: Evaluation) -> list[RunLimit]:
    """From blanks and from the line, for each calibration curve of the run."""
    structure = evaluation.assembly.structure
    if structure is None:
        return []
    limits = Limits(evaluation.assembly, evaluation.graph)
    known = {line.curve: (number, line) for number, line in enumerate(checked_lines(limits))}
    found = []
    for curve in structure.curves:
        stated = limits.stated[known[curve][1].stated] if curve in known else None
        errors = (stated.alpha, stated.beta) if stated else (0.05, 0.05)
        per_solution = _per_solution(evaluation, known[curve][1].scaled) if curve in known else None
        row = known[curve][0] if curve in known else -1
        for source, make in (("blanks", _blanks), ("calibration", _line)):
            made = make(evaluation, structure, curve)
            if made is None:
                continue
            s, dof, number, unit = made
            exact, rough, lacking = _limits(s, dof, *errors)
            p = _judged(evaluation, source, row)
            worse = p is not None and bool(evaluation.column(f"worse {source}", RUN_LIMITS)[row] > 0.5)
            found.append(RunLimit(curve, source, exact, unit, number, rough, per_solution, p, worse, lacking))
    return found


def _limits(s: float, dof: float, alpha: float, beta: float) -> tuple[DetectionLimits | None, float | None, str]:
    try:
        exact = detection_limits(s, dof, alpha=alpha, beta=beta)
        return exact, detection_limits(s, dof, alpha=alpha, beta=beta, factor="sum of t").detection, ""
    except UbudgetError as error:
        return None, None, str(error)


def _blanks(evaluation: Evaluation, structure: Structure, curve: Curve) -> tuple[float, float, int, str] | None:
    if BLANKS not in evaluation.graph.tables:
        return None
    blank = next(symbol for symbol in evaluation.records.method.symbols.values() if isinstance(symbol, Blank))
    row = structure.blank_row(curve)
    n, s_b = int(evaluation.column("n", BLANKS)[row]), float(evaluation.column("s_b", BLANKS)[row])
    return s_b * math.sqrt(1 + 1 / max(n, 1)), n - 1, n, blank.unit


def _line(evaluation: Evaluation, structure: Structure, curve: Curve) -> tuple[float, float, int, str] | None:
    calibration = calibration_of(evaluation.records.method)
    if calibration is None or not from_calibration(calibration):
        return None
    row = structure.curves.index(curve)

    def of(column: str) -> float:
        return float(evaluation.column(column, CURVES)[row])

    if of("status") != 0:
        return None
    own = [number for number, item in enumerate(structure.measured) if item.curve == curve]
    K = max(1.0, min((float(evaluation.column("n", SIGNALS)[number]) for number in own), default=1.0))
    spread = float(evaluate(spread_at_zero(calibration, K, of), lambda symbol: math.nan))
    s = of("s") / abs(of("slope")) * math.sqrt(spread)
    return s, of("dof"), int(of("n")), calibration.unit


def _per_solution(evaluation: Evaluation, row: int) -> float | None:
    if AT_NOMINAL not in evaluation.graph.tables[SCALED].by_name:
        return None
    return abs(float(evaluation.column(AT_NOMINAL, SCALED)[row]))


def _judged(evaluation: Evaluation, source: str, row: int) -> float | None:
    table = evaluation.graph.tables.get(RUN_LIMITS)
    if table is None or row < 0 or f"p {source}" not in table.by_name:
        return None
    if evaluation.column(f"judged {source}", RUN_LIMITS)[row] < 0.5:
        return None
    return float(evaluation.column(f"p {source}", RUN_LIMITS)[row])
