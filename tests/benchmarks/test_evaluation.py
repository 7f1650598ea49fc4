"""Evaluation of 6,000 results with 24 or 25 input quantities each, against a loop with the package `uncertainties`.

Run by name only: python -m pytest tests/benchmarks/test_evaluation.py -n 0 -s
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.big_run import write_run
from tests.benchmarks.one_by_one import Budgets, Inputs, budgets
from tests.benchmarks.timing import quickest
from ubudget.bench.assembly import RESULTS
from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, STANDARD, cover
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.evaluation.propagation import propagate
from ubudget.files.reading import read_records
from ubudget.quantity.numbers import Numbers

SAMPLES = 200
LEAST = 200.0
"""Times as fast as a plain loop."""
LEAST_THRIFTY = 12.0
"""Times as fast as a loop that keeps what results share, with the derivation of all columns counted on our side."""


@dataclass(frozen=True)
class Arrays:
    """Budgets as arrays, one row an input quantity."""

    value: np.ndarray
    sensitivities: tuple[np.ndarray, ...]
    contributions: tuple[np.ndarray, ...]
    shares: tuple[np.ndarray, ...]
    u: np.ndarray
    dof: np.ndarray
    expanded: np.ndarray


def calculated(evaluation: Evaluation) -> Arrays:
    """All from the given numbers of the records: means of readings, curves, blanks, contributions, shares, ν, U."""
    numbers = Numbers(evaluation.graph)
    contributions = tuple(numbers.column(RESULTS, slot.contribution) for slot in evaluation.slots)
    u = numbers.column(RESULTS, STANDARD)
    variance = u**2
    return Arrays(
        numbers.column(RESULTS, evaluation.assembly.value),
        tuple(numbers.column(RESULTS, slot.sensitivity) for slot in evaluation.slots),
        contributions,
        tuple(part**2 / variance for part in contributions),
        u,
        numbers.column(RESULTS, EFFECTIVE_DOF),
        numbers.column(RESULTS, EXPANDED),
    )


@pytest.fixture(scope="module")
def evaluation(tmp_path_factory: pytest.TempPathFactory) -> Evaluation:
    records, findings = read_records(write_run(tmp_path_factory.mktemp("big"), SAMPLES))
    assert records is not None, findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    assert len(evaluation.keys) == 6000
    assert np.min([np.sum([slot.rows >= 0 for slot in evaluation.slots], axis=0)]) >= 24
    return evaluation


def looped(evaluation: Evaluation, *, thrifty: bool) -> Budgets:
    members = np.array([slot.members for slot in evaluation.slots]).T
    probability = evaluation.records.method.coverage.probability
    return budgets(Inputs(evaluation.assembly, evaluation.numbers), members, probability, thrifty=thrifty)


def test_budgets_as_arrays(evaluation: Evaluation) -> None:
    ours = calculated(evaluation)
    theirs = looped(evaluation, thrifty=False)
    np.testing.assert_allclose(ours.value, theirs.values, rtol=1e-12)
    np.testing.assert_allclose(ours.u, theirs.u, rtol=1e-12)
    for mine, other, scale in (
        (ours.contributions, theirs.contributions, theirs.u[:, None]),
        (ours.sensitivities, theirs.sensitivities, np.abs(theirs.sensitivities).max(axis=0)),
        (ours.shares, theirs.shares, 1.0),
    ):
        np.testing.assert_allclose(np.array(mine).T / scale, other / scale, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(ours.dof, theirs.dof, rtol=1e-12)
    np.testing.assert_allclose(ours.expanded, theirs.expanded, rtol=1e-12)
    arrays = quickest(lambda: calculated(evaluation), turns=30)
    loop = quickest(lambda: looped(evaluation, thrifty=False), turns=3)
    print(f"\nbudgets of {len(evaluation.keys)} results: {arrays * 1e3:.1f} ms, "
          f"loop with uncertainties {loop:.2f} s: {loop / arrays:.0f} times")  # fmt: skip
    assert loop >= LEAST * arrays


def test_derivation_and_budgets(evaluation: Evaluation) -> None:
    """The whole law of propagation from the assembled graph, partial derivatives and their columns included."""
    method = evaluation.records.method

    def whole() -> None:
        propagated = propagate(evaluation.assembly.graph, RESULTS, evaluation.assembly.value)
        graph = cover(propagated, method.document.unit, method.coverage, method.rounding)
        numbers = Numbers(graph)
        for slot in propagated.slots:
            numbers.column(RESULTS, slot.contribution)
        numbers.column(RESULTS, EXPANDED)

    ours = quickest(whole)
    plain, thrifty = (quickest(lambda way=way: looped(evaluation, thrifty=way), turns=2) for way in (False, True))
    print(f"\nderivation and budgets of {len(evaluation.keys)} results: {ours * 1e3:.1f} ms, "
          f"loop with uncertainties {plain:.2f} s: {plain / ours:.0f} times; "
          f"loop that keeps what results share {thrifty:.2f} s: {thrifty / ours:.0f} times")  # fmt: skip
    assert thrifty >= LEAST_THRIFTY * ours


def test_growth_of_evaluation(evaluation: Evaluation, tmp_path: Path) -> None:
    """Ten times the results take at most ten times the processor time, reading included."""

    def work(folder: Path) -> None:
        records, _ = read_records(folder)
        assert records is not None
        evaluate(records)

    small, large = write_run(tmp_path / "small", SAMPLES // 10), write_run(tmp_path / "large", SAMPLES)
    before, after = quickest(lambda: work(small)), quickest(lambda: work(large), turns=3)
    print(f"\nread and evaluate 600 results {before:.2f} s, 6,000 results {after:.2f} s: {after / before:.1f} times")
    assert after <= 10 * before
