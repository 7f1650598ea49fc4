"""Readings that would give a sample certain results: what a method does at other levels of the same sample."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ubudget.bench.inverse import SIGNALS
from ubudget.bench.result_table import RESULTS, STATUS
from ubudget.errors import UbudgetError
from ubudget.evaluation.evaluate import Evaluation
from ubudget.quantity.numbers import Numbers

Array = npt.NDArray[np.float64]
MEAN = "mean"
MOST_STEPS, CLOSE = 40, 1e-12
LOWEST_PART = 50
"""A usual range begins at this part of the highest standard, or at the lowest one where that is above it."""


@dataclass(frozen=True)
class LineOfSample:
    """One line of the sample that stands for all: its row among the results, and among what was measured."""

    result: int
    measured: int
    analyte: str
    line: str


def lines_of_sample(evaluation: Evaluation, sample: str) -> list[LineOfSample]:
    """The lines on which a sample of one portion was read. Raises `UbudgetError` where it has none, or several
    portions."""
    structure = evaluation.assembly.structure
    found = []
    for row, key in enumerate(evaluation.keys):
        if structure is None or key.sample != sample or key.line is None or not evaluation.usable(row):
            continue
        rows = [
            one.measured
            for one in structure.results
            if one.portion in key.portions and one.line == (key.analyte, key.line) and one.measured >= 0
        ]
        if len(key.portions) != 1 or len(rows) != 1:
            raise UbudgetError(
                f"sample {sample}: found {len(key.portions)} portions; accepted: a sample of one portion"
            )
        found.append(LineOfSample(row, rows[0], key.analyte, key.line))
    if not found:
        raise UbudgetError(f"sample {sample}: found no result of a line; accepted: a sample that was read on a curve")
    return found


def usual_levels(evaluation: Evaluation, lines: Sequence[LineOfSample], number: int) -> Array:
    """Levels of each line, shape (number, lines), in equal ratios over the calibrated range of the sample."""
    graph, structure = evaluation.graph, evaluation.assembly.structure
    assert structure is not None
    curves = graph.tables.get("curves")
    if curves is None:
        raise UbudgetError("levels: found no calibration curve that says a range; accepted: levels that are given")
    names = list(zip(curves.texts("analyte"), curves.texts("line"), strict=True))
    rows = [names.index((line.analyte, line.line)) for line in lines]
    # A little below the highest standard: a rounding is not to count as beyond it.
    high = evaluation.column("x_high", "curves")[rows] * (1 - 1e-9)
    low = np.maximum(evaluation.column("x_low", "curves")[rows], high / LOWEST_PART)
    c = np.tile(evaluation.column("c", SIGNALS), (2, 1))
    for number_of_line, line in enumerate(lines):
        c[:, line.measured] = low[number_of_line], high[number_of_line]
    ends = Numbers(graph, {(SIGNALS, "c"): c}).column(RESULTS, evaluation.assembly.value)
    first, last = (ends[end, [line.result for line in lines]] for end in (0, 1))
    if not (first > 0).all() or not (last > first).all():
        raise UbudgetError("levels: found a range that does not begin above zero; accepted: levels that are given")
    steps = np.linspace(0, 1, number)[:, None]
    return np.asarray(first * (last / first) ** steps, dtype=np.float64)


def readings_for(evaluation: Evaluation, lines: Sequence[LineOfSample], levels: Array) -> Array:
    """Mean readings, shape of `levels` (levels, lines), that give each line its level: by secants on the results as the
    graph calculates them. Raises `UbudgetError` for a level that no reading gives."""
    measured, results = ([getattr(line, name) for line in lines] for name in ("measured", "result"))
    nominal = evaluation.column(MEAN, SIGNALS)

    def found(readings: Array) -> Array:
        all_readings = np.tile(nominal, (len(levels), 1))
        all_readings[:, measured] = readings
        numbers = Numbers(evaluation.graph, {(SIGNALS, MEAN): all_readings})
        values = numbers.column(RESULTS, evaluation.assembly.value)[:, results]
        usable = np.broadcast_to(numbers.column(RESULTS, STATUS), (len(levels), len(nominal_status)))[:, results] == 0
        return np.where(usable, values, np.nan)

    nominal_status = evaluation.column(STATUS)
    before = np.tile(nominal[measured], (len(levels), 1))
    now = before * 1.02 + 1e-9
    w_before, w_now = found(before), found(now)
    for _ in range(MOST_STEPS):
        step = w_now - w_before
        with np.errstate(all="ignore"):
            moved = np.where(step == 0, 0.0, (levels - w_now) * (now - before) / step)
        if (np.abs(levels - w_now) <= CLOSE * np.abs(levels)).all():
            return now
        before, w_before = now, w_now
        now = now + moved
        w_now = found(now)
    missed = np.argwhere(~(np.abs(levels - w_now) <= 1e-9 * np.abs(levels)))
    if not missed.size:
        return now
    level, line = missed[0]
    name = f"{lines[line].analyte} {lines[line].line}"
    raise UbudgetError(
        f"{name}: found no reading for the level {levels[level, line]:g}; accepted: a level on the curve"
    )
