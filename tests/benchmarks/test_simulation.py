"""Speed of Monte Carlo trials beside straight numpy code for the same equations, in processor time.

Run by name only: python -m pytest tests/benchmarks/test_simulation.py -n 0 -s
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.big_run import write_run
from tests.benchmarks.one_by_one import Inputs
from tests.benchmarks.timing import quickest
from tests.simulation.straight import Figures, one_of_many, summary, zinc_of_the_demo
from ubudget.bench.assembly import RESULTS
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.simulation import Settings, Simulation, simulate
from ubudget.files.verbs import evaluate, read_run

ROOT = Path(__file__).parents[2]
TRIALS = 1_000_000
MOST = 1.5
"""Times straight numpy code for one result."""
LEAST = 4.0
"""Times as fast as one straight simulation for each of many results, of the same numbers of trials."""
SAMPLES = 10
"""Of 30 lines each: 300 results."""


def test_a_million_trials_of_the_heaviest_result_of_the_demo() -> None:
    evaluation = evaluate(read_run(ROOT / "worked_examples" / "harbour_sediment"))
    row = next(
        row for row, key in enumerate(evaluation.keys) if (key.sample, key.analyte) == ("SED-04", "Zn")
    )  # two portions, so that it has the most input quantities
    assert len(evaluation.results[row].budget) == max(len(result.budget) for result in evaluation.results)
    p = evaluation.records.method.coverage.probability

    def ours() -> Simulation:
        settings = Settings(trials=TRIALS, probability=p)
        return simulate(evaluation.graph, evaluation.numbers, evaluation.propagated, settings, [row])

    theirs = summary(zinc_of_the_demo(TRIALS, 1), p)
    found = ours()
    # The same distribution: standard errors of u and of the ends are below 0.003 u.
    assert found.standard_uncertainty[0] == pytest.approx(theirs.u, rel=0.01)
    assert (found.low[0], found.high[0]) == pytest.approx((theirs.low, theirs.high), abs=0.015 * theirs.u)

    fast = quickest(ours, turns=3)
    plain = quickest(lambda: summary(zinc_of_the_demo(TRIALS, 1), p), turns=3)
    print(f"\none result, a million trials: {fast:.2f} s, straight numpy {plain:.2f} s: {fast / plain:.2f} times")
    assert fast < MOST * plain


def test_three_hundred_results_at_one_digit(tmp_path: Path) -> None:
    evaluation = evaluate(read_run(write_run(tmp_path / "big", SAMPLES)))
    assert len(evaluation.results) == 300
    p = evaluation.records.method.coverage.probability

    def ours() -> Simulation:
        settings = Settings(digits=1, probability=p)
        return simulate(evaluation.graph, evaluation.numbers, evaluation.propagated, settings)

    found = ours()
    assert found.stable.all()
    figures = [_figures(evaluation, row) for row in range(len(evaluation.results))]

    def theirs() -> list[float]:
        pairs = zip(figures, found.trials.tolist(), strict=True)
        return [summary(one_of_many(one, trials, row), p).high for row, (one, trials) in enumerate(pairs)]

    # The same distributions, to the scatter of 100,000 trials.
    u = np.array([result.standard_uncertainty for result in evaluation.results])
    assert (np.abs(found.high - theirs()) < 0.06 * u).all()

    fast, plain = quickest(ours, turns=2), quickest(theirs, turns=1)
    print(f"\n300 results, one digit: {fast:.2f} s, straight numpy {plain:.2f} s: {plain / fast:.1f} times as fast")
    assert plain > LEAST * fast


def _figures(evaluation: Evaluation, row: int) -> Figures:
    """What the straight code needs of one result, read from the tables of the graph."""
    at = Inputs(evaluation.assembly, evaluation.numbers)
    u = {line.symbol: line.standard_uncertainty or 0.0 for line in evaluation.results[row].budget}
    measured, portion = at.row(RESULTS, "c from measured lines", row), at.row(RESULTS, "m from portions", row)
    curve = at.row("measured lines", "slope of the curve", measured)
    span = evaluation.graph.tables["curves"].references["all mark"]
    points = slice(int(span.start[curve]), int(span.stop[curve]))
    x = evaluation.numbers.column("standard readings", "x")[points].reshape(-1, 3)
    y = evaluation.numbers.column("standard readings", "reading")[points].reshape(-1, 3)
    standard = at.row("standard readings", "x of the standard", points.start)
    stock = at.row("standards", "c_stock", standard)
    blank = at.row(RESULTS, "mean c_blank", row)
    blank_portion = at.row(RESULTS, "V_blank from blank portions", row)
    step = at.row("dilutions of f", "step 1", at.row(RESULTS, "f from dilutions of f", row))

    def volume(table: str, symbol: str, of: int) -> float:
        return at.number("ware", "volume", at.row(table, f"volume of {symbol}", of))

    return Figures(
        x[:, 0],
        (y - y.mean()).sum(axis=1),
        x.shape[1],
        u["c.slope"],
        float(y.mean()),
        u["c.centroid"],
        at.number("curves", "dof", curve),
        at.number("stocks", "value", stock),
        u["c_stock"],
        at.number("measured lines", "mean", measured),
        u["c.reading"],
        at.number("blanks", "mean reading", blank),
        u["c_blank.mean"],
        u["c_blank.own"],
        2.0,
        volume("portions", "V", portion),
        volume("blank portions", "V_blank", blank_portion),
        volume("dilution steps of f", "f.aliquot", step),
        (0.01, 0.02),
        (0.003, 0.006),
        9.0,
        at.number("portions", "m.gross", portion) - at.number("portions", "m.tare", portion),
        (0.0001, 0.00005, 0.0001),
        at.number("inputs", "estimate", at.row(RESULTS, "R from inputs", row)),
        u["R"],
        at.number("portions", "F_dry.moisture", portion),
    )
