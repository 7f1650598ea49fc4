"""Sheet `budget`: the budget of any chosen result. Sample and line are chosen in two cells; everything follows.

Every figure is looked up: contributions and sensitivity coefficients in the result's row of the computation, estimate
and standard uncertainty where the input quantity stands, by row numbers kept beside the computation.
"""

from __future__ import annotations

import math
from dataclasses import replace

from ubudget.bench.result_table import STATUS
from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, FACTOR, STANDARD
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band, Chart, Choice, LooseCell, Series, Sheet, Style, Value
from ubudget.pages.budget_rows import CHOSEN_ROW, COLUMN, ORDER, TOP, lines_of, quantities_band
from ubudget.pages.budget_table import budget_band, vacant_rows
from ubudget.pages.coverage_cells import k_from_chosen
from ubudget.pages.formats import DEGREES_OF_FREEDOM, SHARE, format_for
from ubudget.pages.layout import BUDGET, COMPUTATION, headline
from ubudget.pages.placement import Placements
from ubudget.pages.results_sheet import FLAGS, KEY, ResultsSheet
from ubudget.pages.row_links import RowLinks
from ubudget.pages.share_groups import choices_band, groups_band
from ubudget.pages.wording import interval_text, line_label
from ubudget.quantity.spelling import column_letters, readable_text

WORDS_ACROSS = 5
NOT_USABLE = "no: see the findings"


def budget_sheet(
    evaluation: Evaluation, placements: Placements, links: RowLinks, results: ResultsSheet, chosen: int | None = None
) -> Sheet:
    """The sheet of a chosen result; as issued it shows the first one that can be computed."""
    if chosen is None:
        chosen = next((row for row, result in enumerate(evaluation.results) if result.value is not None), 0)
    lines = lines_of(evaluation)
    behind = quantities_band(evaluation, lines, placements, links, chosen)
    band = budget_band(evaluation, lines, behind, chosen)
    groups = groups_band(evaluation, chosen, behind)
    samples = list(dict.fromkeys(key.sample for key in evaluation.keys))
    measured = list(dict.fromkeys(line_label(key.analyte, key.line) for key in evaluation.keys))
    lists = choices_band(samples, measured)
    note = "Choose sample and measured quantity in the two open cells; everything below follows."
    cells = [
        *headline(BUDGET, note),
        *_chosen(evaluation, placements, results, chosen),
        *_sums(evaluation, behind, chosen),
        *_equation(evaluation),
    ]
    left, right = column_letters(lists.left), column_letters(lists.left + 1)
    first = lists.first_row
    return Sheet(
        BUDGET,
        tuple(_with_finite_values(one) for one in (band, groups, lists, behind)),
        tuple(cells),
        charts=(_chart(groups),),
        choices=(
            Choice("B4", f"${left}${first}:${left}${first + len(samples) - 1}", "a sample of this run"),
            Choice("B5", f"${right}${first}:${right}${first + len(measured) - 1}", "a measured quantity"),
        ),
        highlights=(vacant_rows(band),),
        repeat_rows=(TOP, TOP + Band.HEADING_ROWS - 1),
        print_to=(band.last_row, len(ORDER)),
    )


def _chosen(evaluation: Evaluation, placements: Placements, results: ResultsSheet, chosen: int) -> list[LooseCell]:
    """The two choices, and the chosen result's figures below them."""
    home = placements["results"]
    result = evaluation.results[chosen]
    unit = "" if evaluation.assembly.derived else f", {evaluation.records.method.document.unit or '1'}"
    cells = [
        LooseCell(4, 1, "sample", "label"),
        LooseCell(4, 2, result.sample, "input_text", open=True),
        LooseCell(5, 1, "measured quantity", "label"),
        LooseCell(5, 2, line_label(result.analyte, result.line), "input_text", open=True),
    ]

    def add(row: int, heading: str, value: Value, formula: str, number_format: str = "General") -> None:
        style: Style = "number" if number_format != "General" else "result"
        cells.append(LooseCell(row, 1, heading, "label"))
        cells.append(LooseCell(row, 2, value, style, formula, number_format=number_format))

    def text_of(column: str) -> str:
        return f'IF({CHOSEN_ROW}=0,"no such result",INDEX({results.range(column)},{CHOSEN_ROW}))'

    key = 'B4&" | "&B5'
    add(6, "row among the results (0 = none)", chosen + 1, f"IFERROR(MATCH({key},{results.range(KEY)},0),0)", "0")
    if unit:
        add(7, f"reported{unit}", interval_text(result), text_of("reported"))
    else:
        both = '&" "&'.join(f"INDEX({results.range(name)},{CHOSEN_ROW})" for name in ("reported", "unit"))
        text = f"{interval_text(result)} {result.unit}"
        add(7, "reported", text, f'IF({CHOSEN_ROW}=0,"no such result",{both})')
    for row, column, heading, number_format in (
        (8, evaluation.assembly.value, f"value, unrounded{unit}", ""),
        (9, STANDARD, "combined standard uncertainty u", ""),
        (10, EFFECTIVE_DOF, "effective degrees of freedom", DEGREES_OF_FREEDOM),
        (11, FACTOR, "coverage factor k", "0.000"),
        (12, EXPANDED, "expanded uncertainty U = k·u", ""),
    ):
        numbers = evaluation.column(column)
        formula = f'IF({CHOSEN_ROW}=0,"",INDEX({home.range(column, BUDGET)},{CHOSEN_ROW}))'
        add(row, heading, _finite(numbers[chosen]), formula, number_format or format_for(numbers, 6))
    status = f"INDEX({home.range(STATUS, BUDGET)},{CHOSEN_ROW})"
    usable = "yes" if evaluation.column(STATUS)[chosen] == 0 else NOT_USABLE
    add(13, "usable", usable, f'IF({CHOSEN_ROW}=0,"",IF({status}=0,"yes","{NOT_USABLE}"))')
    of_k = k_from_chosen(evaluation, placements, BUDGET, CHOSEN_ROW, chosen)
    if of_k:
        add(17, *of_k)
    add(14, "findings that need a decision", "".join(f"{flag}. " for flag in result.flags), text_of(FLAGS))
    return cells


def _with_finite_values(band: Band) -> Band:
    return replace(
        band,
        columns=tuple(
            replace(column, values=[_finite(value) if isinstance(value, float) else value for value in column.values])
            for column in band.columns
        ),
    )


def _finite(value: float) -> float | None:
    """The stored value of a cell; none where a result cannot be calculated."""
    return float(value) if math.isfinite(value) else None


def _equation(evaluation: Evaluation) -> list[LooseCell]:
    equations = evaluation.assembly.equations
    lines = [f"{part.name} = {readable_text(part.expression)}" for part in equations.intermediates]
    lines.append(f"{equations.result.name} = {readable_text(equations.result.expression)}")
    derived = {row.definition.name: row.definition.equation for row in evaluation.assembly.derived.values()}
    above = "".join(f"{name}: {equation};  " for name, equation in derived.items())
    return [
        LooseCell(21, 1, "equation", "label"),
        LooseCell(21, 2, above + ";  ".join(reversed(lines)), "text", across=WORDS_ACROSS + 6),
        LooseCell(22, 1, "propagation", "label"),
        LooseCell(
            22,
            2,
            "u² = sum of (c·u(x))², plus covariances where declared (law of propagation of uncertainty, GUM 5.1.2 "
            f"eq. 10, 5.2.2 eq. 16); partial derivatives on sheet {COMPUTATION}",
            "text",
            across=WORDS_ACROSS + 6,
        ),
    ]


def _sums(evaluation: Evaluation, behind: Band, chosen: int) -> list[LooseCell]:
    """The table's own sum of squares, below the combined standard uncertainty: two ways to one number."""
    count = len(evaluation.slots)
    first, last = behind.first_row, behind.first_row + count - 1
    contribution, share = COLUMN["c·u(x)"], COLUMN["share of u²"]
    squares = f"SUMSQ({contribution}{first}:{contribution}{last})" if count else "0"
    if evaluation.propagated.covariances:
        squares += f"+SUM({contribution}{last + 1}:{contribution}{behind.last_row})"
    u = evaluation.column(STANDARD)
    shares = sum(entry.share for entry in evaluation.budget(chosen))
    root = f"SQRT(MAX({squares},0))"
    total = f"SUM({share}{first}:{share}{behind.last_row})"
    return [
        LooseCell(15, 1, "check: root of the sum of squares below", "label"),
        LooseCell(15, 2, _finite(u[chosen]), "number", root, number_format=format_for(u, 6)),
        LooseCell(16, 1, "check: sum of the shares below", "label"),
        LooseCell(16, 2, _finite(shares), "number", total, number_format=SHARE),
    ]


def _chart(groups: Band) -> Chart:
    name, share = column_letters(groups.left + 4), column_letters(groups.left + 5)
    rows = f"{groups.first_row}:${{0}}${groups.last_row}"
    return Chart(
        "bars",
        "D3",
        "Share of the variance by group",
        "",
        "share of u²",
        (
            Series(
                "share of u²",
                f"{BUDGET}!${share}${rows.format(share)}",
                f"{BUDGET}!${name}${rows.format(name)}",
                "bars",
            ),
        ),
        width_cm=17.0,
        height_cm=8.0,
    )
