"""The scope of 30 lines at 50 levels, against the evaluation of a run of as many results.

Run by name only: python -m pytest tests/benchmarks/test_scope.py -n 0 -s
"""

from __future__ import annotations

from pathlib import Path

from tests.benchmarks.big_run import write_run
from tests.benchmarks.timing import quickest
from ubudget.files.scoping import scope
from ubudget.files.verbs import evaluate, read_run

LEVELS, LINES = 50, 30
MOST = 2.0
"""Times the evaluation, each from the files to the budgets of all results."""


def read_undiluted(folder: Path) -> Path:
    """The first sample of the run read as it is, so that it can stand for all levels."""
    for name, drop in (("solutions.csv", True), ("readings.csv", False)):
        path = folder / name
        rows = [
            row.replace("X-00001-D", "X-00001")
            for row in path.read_text("utf-8").splitlines()
            if not (drop and row.startswith("X-00001-D"))
        ]
        path.write_text("\n".join(rows) + "\n", "utf-8")
    return folder


def test_levels_cost_no_more_than_twice_as_many_results(tmp_path: Path) -> None:
    as_many = read_undiluted(write_run(tmp_path / "many", LEVELS, LINES))
    short = read_undiluted(write_run(tmp_path / "short", 2, LINES))
    grid = scope(short, number=LEVELS)
    assert len(grid.scopes) == LINES and all(len(one.points) == LEVELS for one in grid.scopes)

    def results() -> None:
        assert len([result.budget for result in evaluate(read_run(as_many)).results]) == LEVELS * LINES

    evaluated = quickest(results, turns=3)
    scoped = quickest(lambda: scope(short, number=LEVELS), turns=3)
    print(f"\nscope {scoped:.2f} s, evaluation {evaluated:.2f} s: {scoped / evaluated:.2f} times, required {MOST:g}")
    assert scoped <= MOST * evaluated
