"""Simulated runs against simulations written in numpy alone, from raw data; memory, seeds, what is asked for.

The whole calibration of `tests.calibration.whole_calibration` draws stock, ware and readings, and fits each trial anew;
the zinc of the demo is written out in `tests.simulation.straight`."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import ubudget
from tests.calibration.runs import ERRORS_IN_VARIABLES, Declared, evaluated
from tests.calibration.whole_calibration import results
from tests.simulation.straight import zinc_of_the_demo
from ubudget.evaluation.deviations import Deviations
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.simulation import Settings, draws, simulate
from ubudget.quantity.graph import INFINITE_DOF

ROOT = Path(__file__).parents[2]
TRIALS = 30_000
LEAST_P = 0.01
ONE_LINE = ("257.610",)


@pytest.fixture(scope="module")
def demo() -> Evaluation:
    return ubudget.evaluate(ubudget.read_run(ROOT / "worked_examples" / "harbour_sediment"))


def drawn(evaluation: Evaluation, trials: int = TRIALS, rows: list[int] | None = None, **settings: int) -> np.ndarray:
    chosen = Settings(trials=trials, **settings)  # type: ignore[arg-type]  # seed and memory
    return draws(evaluation.graph, evaluation.numbers, evaluation.propagated, chosen, rows)


@pytest.mark.parametrize(
    ("seed", "declared"),
    list(
        enumerate(
            [
                Declared("line", "1/x", lines=ONE_LINE),
                Declared("line through zero", "1/x", lines=ONE_LINE),
                Declared("quadratic", lines=ONE_LINE),
                Declared("rational", lines=ONE_LINE),
                Declared("rational", "noise model", known=True, lines=ONE_LINE),
            ]
        )
    ),
    ids=str,
)
def test_a_whole_calibration(seed: int, declared: Declared) -> None:
    ours, theirs = drawn(evaluated(declared)), results(declared, TRIALS, seed, estimated=True)
    for column in range(3):
        assert stats.ks_2samp(ours[:, column], theirs[:, column]).pvalue > LEAST_P
    # Results of one curve are correlated as they are there: standard error (1 - r²)/sqrt(N) on both sides.
    found, wanted = (np.corrcoef(values, rowvar=False) for values in (ours, theirs))
    assert found == pytest.approx(wanted, abs=4 * np.sqrt(2 / TRIALS))


def test_errors_in_variables_are_solved_again() -> None:
    """Standards are 0.1 % off at most, so that first-order u and correlation hold: GUM 5.2."""
    evaluation = evaluated(Declared("line", "noise model", known=True, lines=ONE_LINE, standards=ERRORS_IN_VARIABLES))
    values = drawn(evaluation)
    u = np.array([result.standard_uncertainty for result in evaluation.results])
    assert values.std(axis=0) / u == pytest.approx(np.ones(3), abs=0.03)
    assert values.mean(axis=0) == pytest.approx([result.value for result in evaluation.results], rel=1e-4)


def test_zinc_of_the_demo(demo: Evaluation) -> None:
    row = next(row for row, key in enumerate(demo.keys) if (key.sample, key.analyte) == ("SED-04", "Zn"))
    ours, theirs = drawn(demo, 100_000, [row])[:, 0], zinc_of_the_demo(100_000, 7)
    assert stats.ks_2samp(ours, theirs).pvalue > LEAST_P


def test_a_result_is_the_same_alone_and_in_less_memory(demo: Evaluation) -> None:
    """Each deviation has a stream of its own, whatever else is simulated and however many trials a block has."""
    together = drawn(demo, 3000)
    assert (drawn(demo, 3000, [7])[:, 0] == together[:, 7]).all()
    assert (drawn(demo, 3000, memory=16) == together).all()
    assert (drawn(demo, 3000) == together).all()
    assert not (drawn(demo, 3000, seed=5) == together).all(axis=0).any()


def test_memory_is_a_bound(demo: Evaluation) -> None:
    tracemalloc.start()
    try:
        settings = Settings(trials=50_000, memory=16)
        simulate(demo.graph, demo.numbers, demo.propagated, settings)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    # All values at once would take 21 MB.
    assert len(demo.results) * 50_000 * 8 > 16e6
    assert peak < 16e6


def test_covariance_from_draws(demo: Evaluation) -> None:
    """Two lines of one digest share nearly all (GUM F.1.2.3): the correlation of the law of propagation, within the
    scatter of draws and the wider t distributions."""
    from ubudget.evaluation.covariance import correlation_of, covariance_matrix

    simulated = ubudget.simulate(demo, trials=20_000, rows=[4, 5, 6])
    ours = correlation_of(simulated.covariance(40_000))
    linear = correlation_of(covariance_matrix(demo.propagated, demo.numbers))[4:7, 4:7]
    assert ours == pytest.approx(linear, abs=0.03)


def test_budget_of_a_notebook() -> None:
    x = ubudget.input_quantity("x", 1.0, "mg", half_width=0.2, distribution="curvilinear trapezoid", inexactness=0.05)
    (found,) = ubudget.simulate(ubudget.budget(x), trials=200_000).results
    assert found is not None
    # JCGM 101 6.4.3.3: (2a)²/12 + d²/9.
    assert found.standard_uncertainty == pytest.approx((0.4**2 / 12 + 0.05**2 / 9) ** 0.5, rel=0.005)


HELD = {
    "weights by a preliminary fit": Declared("line", "1/y", lines=ONE_LINE),
    "weights by scatter of levels": Declared("quadratic", "1/s^2", lines=ONE_LINE),
    "scatter by level": Declared("line", "pooled s per level", known=True, lines=ONE_LINE),
    "two points": Declared("two points", lines=ONE_LINE),
    "exact standards": Declared("line", standards="exact", lines=ONE_LINE),
}


@pytest.mark.parametrize("name", [*HELD, "river_manganese", "rinse_water", "gearbox_oil"])
def test_what_is_held_in_a_trial_is_held_in_propagation(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With all scatter taken as known, draws of nearly linear equations have the u of the law of propagation, which
    other tests check with the package `uncertainties`: a constant taken for a variable would show, and the reverse."""
    monkeypatch.setattr(Deviations, "dof_of", lambda *_: INFINITE_DOF)
    if name in HELD:
        evaluation = evaluated(HELD[name])
    else:
        evaluation = ubudget.evaluate(ubudget.read_run(ROOT / "worked_examples" / name))
    values = drawn(evaluation)
    u = np.array([result.standard_uncertainty for result in evaluation.results])
    # Standard error of a standard deviation of 30,000 trials: 0.4 %, of a mean 0.6 % of u.
    assert values.std(axis=0) / u == pytest.approx(np.ones(u.size), abs=0.018)
    shift = (values.mean(axis=0) - np.array([result.value for result in evaluation.results])) / u
    assert shift == pytest.approx(np.zeros(u.size), abs=0.027)
