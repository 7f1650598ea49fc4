"""Agreement of an analyte's lines in words, by formula, below the reported results."""

from __future__ import annotations

from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE
from ubudget.bench.several_lines import AGREES, DIFFERENCE, LINE_PAIRS, RATIO, U_DIFFERENCE
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band, BandColumn
from ubudget.pages.formats import format_for
from ubudget.pages.layout import RESULTS
from ubudget.pages.placement import Placements

WORDS = ("differ", "agree")
"""What is said of two lines, by the mark of their agreement."""


def agreement_band(evaluation: Evaluation, placements: Placements, top: int) -> Band | None:
    """One row for each two lines of a sample: difference, its u with correlations, the test, the verdict."""
    if LINE_PAIRS not in evaluation.graph.tables:
        return None
    table, home = evaluation.graph.tables[LINE_PAIRS], placements[LINE_PAIRS]
    rows = range(table.size)
    unit = evaluation.records.method.document.unit

    def number(heading: str, column: str, own_unit: str, remark: str = "") -> BandColumn:
        values = evaluation.column(column, LINE_PAIRS)
        formulas: list[str | None] = [home.cell(column, row, RESULTS) for row in rows]
        fmt = format_for(values)
        return BandColumn(heading, values.tolist(), "number", own_unit, formulas, number_format=fmt, remark=remark)

    columns = (
        BandColumn("sample", list(table.texts(SAMPLE)), "label", width=26.0),
        BandColumn("analyte", list(table.texts(ANALYTE)), "label", width=14.0),
        BandColumn("lines", list(table.texts(LINE)), "label", width=16.0),
        number("difference d", DIFFERENCE, unit),
        number("u(d)", U_DIFFERENCE, unit, "correlations included"),
        number("|d|/u(d)", RATIO, ""),
        BandColumn(
            "verdict",
            [WORDS[int(mark)] for mark in evaluation.column(AGREES, LINE_PAIRS)],
            "result",
            "",
            [f'IF({home.cell(AGREES, row, RESULTS)}=1,"{WORDS[1]}","{WORDS[0]}")' for row in rows],
        ),
    )
    return Band("agreement of lines", top, 1, columns, "Agreement of lines")
