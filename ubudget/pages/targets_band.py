"""Targets in words, by formula, above their figures: met or not, the largest group, and what its u would have to be."""

from __future__ import annotations

import numpy as np

from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.targets import (
    LARGEST,
    LARGEST_SHARE,
    MET,
    RATIO,
    RESULT_STATUS,
    SHRINK,
    TARGET,
    TARGETS,
    group_names,
)
from ubudget.pages.book import Band, BandColumn
from ubudget.pages.formats import SHARE, format_for
from ubudget.pages.layout import FIRST_BAND
from ubudget.pages.placement import Placements
from ubudget.pages.target_words import ALREADY, MISSED, NO_RESULT, NO_TARGET, NOT_ALONE, shrunk_words, verdict_of
from ubudget.pages.target_words import MET as IS_MET
from ubudget.quantity.graph import Graph

NAME = "targets in words"


def target_rows(graph: Graph) -> int:
    """Rows of the band; 0 where no result has a target."""
    return graph.tables[TARGETS].size if TARGETS in graph.tables else 0


def targets_band(evaluation: Evaluation, placements: Placements) -> Band | None:
    """One row for each result with a target."""
    if not target_rows(evaluation.graph):
        return None
    table, home = evaluation.graph.tables[TARGETS], placements[TARGETS]
    rows = range(table.size)

    def cells(column: str) -> list[str]:
        return [home.cell(column, row, home.sheet) for row in rows]

    def number(heading: str, column: str, fmt: str = "", remark: str = "") -> BandColumn:
        values = evaluation.column(column, TARGETS)
        formulas: list[str | None] = [*cells(column)]
        return BandColumn(
            heading, values.tolist(), "number", "", formulas, number_format=fmt or format_for(values), remark=remark
        )

    figures = np.array([evaluation.column(name, TARGETS) for name in (RESULT_STATUS, TARGET, MET)])
    verdicts = [verdict_of(*column) for column in figures.T.tolist()]
    status, target, met = cells(RESULT_STATUS), cells(TARGET), cells(MET)
    columns = [
        BandColumn("sample", list(table.texts(SAMPLE)), "label", width=16.0),
        BandColumn("analyte", list(table.texts(ANALYTE)), "label", width=12.0),
        BandColumn("line", list(table.texts(LINE)), "label", width=12.0),
        number("value", "value"),
        number("U", "U"),
        number("target U", TARGET),
        BandColumn("unit", list(table.texts("unit")), "label", width=9.0),
        number("U/target", RATIO, "0.00", "at most 1"),
        BandColumn(
            "target",
            verdicts,
            "result",
            "",
            [
                f'IF({s}>0,"{NO_RESULT}",IF({t}=0,"{NO_TARGET}",IF({m}>0,"{IS_MET}","{MISSED}")))'
                for s, t, m in zip(status, target, met, strict=True)
            ],
            width=14.0,
        ),
    ]
    names = [name.replace('"', "'") for name in group_names(evaluation.propagated)]
    if names:
        choices = ",".join(f'"{name}"' for name in names)
        largest, factors = evaluation.column(LARGEST, TARGETS), evaluation.column(SHRINK, TARGETS)
        columns += [
            BandColumn(
                "largest group",
                [names[int(number) - 1] for number in largest],
                "text",
                "",
                [f"CHOOSE({cell},{choices})" for cell in cells(LARGEST)],
                width=16.0,
            ),
            number("its share of u²", LARGEST_SHARE, SHARE),
            BandColumn(
                "its u would have to come down to",
                [shrunk_words(verdict, factor) for verdict, factor in zip(verdicts, factors.tolist(), strict=True)],
                "text",
                "",
                [
                    f'IF({s}>0,"",IF({t}=0,"",IF({m}>0,"{ALREADY}",IF({f}=0,"{NOT_ALONE}",'
                    f'FIXED(100*{f},1,TRUE)&" % of it"))))'
                    for s, t, m, f in zip(status, target, met, cells(SHRINK), strict=True)
                ],
                width=24.0,
                remark="all else and k as they are",
            ),
        ]
    return Band(NAME, FIRST_BAND, 1, tuple(columns), "Targets: met or not")
