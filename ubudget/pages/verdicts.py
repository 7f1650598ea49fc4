"""Tests of the calibration curves in words, by formula over their probabilities."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ubudget.evaluation.checks import ISO_LEVEL, SIGNIFICANT
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band, BandColumn
from ubudget.pages.layout import FIRST_BAND
from ubudget.pages.placement import Placements
from ubudget.quantity.graph import Graph

NAME = "verdicts"
NOT_TESTED = "not tested: too few levels or readings"
BOTH = (ISO_LEVEL, SIGNIFICANT)


@dataclass(frozen=True)
class Test:
    """A test: where its probability stands, the levels of significance it knows, and what it needs above zero.

    `needs` are columns, with what is to be taken off."""

    heading: str
    remark: str
    table: str
    p: str
    levels: tuple[float, ...]
    needs: tuple[tuple[str, float], ...]


TESTS = (
    Test("lack of fit", "ISO 11095", "curves", "p lack of fit", BOTH, (("dof lack", 0), ("dof pure", 0))),
    Test("scatter beyond the stated one", "chi-squared, ISO/TS 28037", "curves", "p chi squared", BOTH, ()),
    Test("quadratic term", "linearity, ISO 8466-1", "linearity", "p linearity", (ISO_LEVEL,), (("n", 3),)),
    Test(
        "unequal variances at the ends",
        "variance homogeneity, ISO 8466-1",
        "linearity",
        "p variances",
        (ISO_LEVEL,),
        (("F variances", 0),),
    ),
)


def verdict_rows(graph: Graph) -> int:
    """Rows of the band on its sheet; 0 where there is nothing to say."""
    return graph.tables["curves"].size if _present(graph) else 0


def first_row_behind(rows: int) -> int:
    """Where the next band has its heading."""
    return FIRST_BAND + (Band.HEADING_ROWS + rows + 2 if rows else 0)


def verdict_band(evaluation: Evaluation, placements: Placements) -> Band | None:
    """One row a curve, one column a test."""
    tests = _present(evaluation.graph)
    if not tests:
        return None
    curves = evaluation.graph.tables["curves"]
    names = [name for name in ("analyte", "line", "block") if name in curves.by_name]
    columns = [BandColumn(name, list(curves.texts(name)), "label", width=12.0) for name in names]
    columns += [_column(evaluation, placements, test, range(curves.size)) for test in tests]
    return Band(NAME, FIRST_BAND, 1, tuple(columns), "Tests of the curves, in words")


def _present(graph: Graph) -> list[Test]:
    return [test for test in TESTS if test.table in graph.tables and test.p in graph.tables[test.table].by_name]


def _column(evaluation: Evaluation, placements: Placements, test: Test, rows: Sequence[int]) -> BandColumn:
    home = placements[test.table]
    values, formulas = [], []
    for row in rows:

        def number(column: str, row: int = row) -> float:
            return float(evaluation.column(column, test.table)[row])

        words = _words(test.levels)
        lacking = any(number(column) - off <= 0 for column, off in test.needs)
        values.append(NOT_TESTED if lacking else words(number(test.p)))
        p = home.cell(test.p, row)
        formula = f'"{words(1)}"'
        for level in sorted(test.levels, reverse=True):
            formula = f'IF({p}<{level:g},"{words(level / 2)}",{formula})'
        for column, off in test.needs:
            formula = f'IF({home.cell(column, row)}<={off:g},"{NOT_TESTED}",{formula})'
        formulas.append(formula)
    return BandColumn(test.heading, values, "text", formulas=formulas, width=26.0, remark=test.remark)


def _words(levels: tuple[float, ...]) -> Callable[[float], str]:
    def words(p: float) -> str:
        reached = [level for level in sorted(levels) if p < level]
        if reached:
            return f"significant at {100 * reached[0]:g} %"
        return f"not significant at {100 * max(levels):g} %"

    return words
