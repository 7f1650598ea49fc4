"""Sheet `budget`: the budget of any chosen result. Sample and line are chosen in two cells; everything follows.

Every figure is looked up: contributions and sensitivity coefficients in the result's row of the computation, estimate
and standard uncertainty where the input quantity stands, by row numbers kept beside the computation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ubudget.bench.results import STATUS
from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, FACTOR, STANDARD
from ubudget.evaluation.evaluate import Evaluation, covariance_group
from ubudget.evaluation.propagation import Slot
from ubudget.pages.book import Band, BandColumn, Chart, Choice, LooseCell, Series, Sheet, Value
from ubudget.pages.formats import DEGREES_OF_FREEDOM, SHARE
from ubudget.pages.layout import BUDGET, COMPUTATION, headline
from ubudget.pages.placement import Placement, Placements, quoted
from ubudget.pages.results_sheet import ResultsSheet
from ubudget.pages.wording import interval_text, line_label
from ubudget.quantity.graph import INFINITE_DOF, Rows
from ubudget.quantity.spelling import column_letters, readable_text

CHOSEN_SAMPLE, CHOSEN_LINE, CHOSEN_ROW = "$B$4", "$B$5", "$B$6"
TOP = 18
GROUPS_LEFT = 14
TIE = 1e-12
"""Keeps groups of equal share apart when they are ranked."""


@dataclass(frozen=True, eq=False)
class RowLinks:
    """Columns beside the computation that hold sheet rows: where the input quantities of each result stand."""

    columns: tuple[BandColumn, ...]
    letters: tuple[str, ...]
    of_slot: tuple[int, ...]
    """Number of the column for each slot."""


def row_links(evaluation: Evaluation, placements: Placements) -> RowLinks:
    """One column for each different set of rows that slots refer to."""
    home = placements["results"]
    first_letter = home.left + len(home.table.columns)
    known: dict[tuple[str, bytes], int] = {}
    columns: list[BandColumn] = []
    of_slot = []
    for slot in evaluation.slots:
        key = (slot.table, slot.rows.tobytes())
        if key not in known:
            known[key] = len(columns)
            there = placements[slot.table]
            values: list[Value] = [int(row) + there.first_row if row >= 0 else None for row in slot.rows]
            columns.append(
                BandColumn(
                    f"row in {there.sheet}",
                    values,
                    "fixed",
                    number_format="0",
                    remark=there.table.title,
                    width=9.0,
                )
            )
        of_slot.append(known[key])
    letters = tuple(column_letters(first_letter + number) for number in range(len(columns)))
    return RowLinks(tuple(columns), letters, tuple(of_slot))


def budget_sheet(
    evaluation: Evaluation, placements: Placements, links: RowLinks, results: ResultsSheet
) -> Sheet:
    chosen = 0
    home = placements["results"]
    band = _rows_band(evaluation, placements, links, chosen)
    groups = _groups_band(evaluation, chosen, band)
    samples = list(dict.fromkeys(key.sample for key in evaluation.keys))
    lines = list(dict.fromkeys(line_label(key.analyte, key.line) for key in evaluation.keys))
    lists = _lists_band(samples, lines)
    cells = [
        *headline(BUDGET, "Choose sample and measured quantity in the two open cells; everything below follows."),
        *_choice_cells(evaluation, home, results, chosen),
        *_sums(evaluation, band, chosen),
    ]
    first, last = lists.first_row, lists.last_row
    left = column_letters(lists.left)
    right = column_letters(lists.left + 1)
    return Sheet(
        BUDGET,
        (band, groups, lists),
        tuple(cells),
        charts=(_chart(groups),),
        choices=(
            Choice("B4", f"${left}${first}:${left}${first + len(samples) - 1}", "a sample of this run"),
            Choice("B5", f"${right}${first}:${right}${first + len(lines) - 1}", "a measured quantity"),
        ),
        repeat_rows=(TOP, TOP + Band.HEADING_ROWS - 1),
        widths={1: 30.0, 2: 26.0},
    ) if last else Sheet(BUDGET)


def _choice_cells(
    evaluation: Evaluation, home: Placement, results: ResultsSheet, chosen: int
) -> list[LooseCell]:
    result = evaluation.results[chosen]
    document = evaluation.records.method.document
    key = f'{CHOSEN_SAMPLE}&" | "&{CHOSEN_LINE}'
    match = f"IFERROR(MATCH({key},{results.range('result')},0),0)"
    first = results.band.first_row

    def from_results(column: str, row: int, heading: str, value: Value, fmt: str = "General") -> list[LooseCell]:
        formula = f'IF({CHOSEN_ROW}=0,"no such result",INDEX({results.range(column)},{CHOSEN_ROW}))'
        return [LooseCell(row, 1, heading, "label"), LooseCell(row, 2, value, "result", formula, number_format=fmt)]

    def from_computation(column: str, row: int, heading: str, fmt: str) -> list[LooseCell]:
        number = float(evaluation.column(column)[chosen])
        formula = f'IF({CHOSEN_ROW}=0,"",INDEX({home.range(column, BUDGET)},{CHOSEN_ROW}))'
        return [LooseCell(row, 1, heading, "label"), LooseCell(row, 2, number, "number", formula, number_format=fmt)]

    flags = "".join(f"{flag}. " for flag in result.flags)
    equation = readable_text(evaluation.assembly.equations.result.expression)
    return [
        LooseCell(4, 1, "sample", "label"),
        LooseCell(4, 2, result.sample, "input_text", open=True),
        LooseCell(5, 1, "measured quantity", "label"),
        LooseCell(5, 2, line_label(result.analyte, result.line), "input_text", open=True),
        LooseCell(6, 1, "row among the results (0 = none)", "label"),
        LooseCell(6, 2, chosen + 1, "number", match, number_format="0"),
        *from_results("reported", 7, f"reported, {document.unit or '1'}", interval_text(result)),
        *from_computation(evaluation.assembly.value, 8, "value, unrounded", "General"),
        *from_computation(STANDARD, 9, "combined standard uncertainty u", "General"),
        *from_computation(EFFECTIVE_DOF, 10, "effective degrees of freedom ν_eff", DEGREES_OF_FREEDOM),
        *from_computation(FACTOR, 11, "coverage factor k", "0.000"),
        *from_computation(EXPANDED, 12, "expanded uncertainty U = k·u", "General"),
        *from_computation(STATUS, 13, "status (0 = usable)", "0"),
        *from_results("to look at", 14, "to look at", flags),
        LooseCell(4, 4, "equation", "label"),
        LooseCell(4, 5, f"{evaluation.assembly.value} = {equation}", "text", across=7),
        LooseCell(5, 4, "computed on", "label"),
        LooseCell(5, 5, f"sheet {COMPUTATION}, rows {first - first + home.first_row} to {home.last_row}", "text", across=7),
        LooseCell(6, 4, "law", "label"),
        LooseCell(
            6,
            5,
            "u² = sum of (c·u(x))², covariances added where declared; GUM 5.1.2 eq. 10, 5.2.2 eq. 16",
            "text",
            across=7,
        ),
    ]


def _rows_band(evaluation: Evaluation, placements: Placements, links: RowLinks, chosen: int) -> Band:
    slots = evaluation.slots
    covariances = evaluation.propagated.covariances
    home = placements["results"]
    first = TOP + Band.HEADING_ROWS
    budget = {row.symbol: row for row in evaluation.budget(chosen)}
    leaves = [evaluation.graph.tables[slot.table].leaf_of[slot.column] for slot in slots]
    traits = [leaf.traits[_first(slot.rows)] for slot, leaf in zip(slots, leaves, strict=True)]
    names = [slot.symbol for slot in slots] + [
        f"cov({slots[c.a].symbol}, {slots[c.b].symbol})" for c in covariances
    ]
    cov_groups = [covariance_group(slots[c.a].group, slots[c.b].group) for c in covariances]
    present = [slot.rows[chosen] >= 0 for slot in slots]
    link_letter = column_letters(GROUPS_LEFT - 2)

    def at_link(number: int, slot: Slot, column: str | None) -> str | None:
        if column is None:
            return None
        there = placements[slot.table]
        letter = there.letters[column]
        area = f"{quoted(there.sheet)}!${letter}$1:${letter}${there.last_row}"
        return f'IF(${link_letter}{first + number}=0,"",INDEX({area},${link_letter}{first + number}))'

    def from_row(number: int, column: str) -> str:
        return f'IF(${link_letter}{first + number}=0,"",INDEX({home.range(column, BUDGET)},{CHOSEN_ROW}))'

    def values(attribute: str) -> list[Value]:
        out: list[Value] = []
        for number, name in enumerate(names):
            row = budget.get(name)
            here = number >= len(slots) or present[number]
            value = getattr(row, attribute) if row is not None and here else None
            out.append(value)
        return out

    link_formulas = [
        f'IF({CHOSEN_ROW}=0,0,INDEX({_link_range(home, links.letters[links.of_slot[number]])},{CHOSEN_ROW}))'
        for number in range(len(slots))
    ]
    link_values: list[Value] = [
        int(slot.rows[chosen]) + placements[slot.table].first_row if slot.rows[chosen] >= 0 else 0
        for slot in slots
    ]
    dof_formulas = [
        at_link(number, slot, leaf.dof) if leaf.dof else f'IF(${link_letter}{first + number}=0,"",1E+99)'
        for number, (slot, leaf) in enumerate(zip(slots, leaves, strict=True))
    ]
    dofs: list[Value] = [
        None if not here else INFINITE_DOF if value is None else value
        for here, value in zip(present, values("degrees_of_freedom"), strict=False)
    ]
    extra = len(covariances)
    contribution = [from_row(number, slot.contribution) for number, slot in enumerate(slots)]
    contribution += [
        f'IF({CHOSEN_ROW}=0,"",INDEX({home.range(c.contribution, BUDGET)},{CHOSEN_ROW}))' for c in covariances
    ]
    letter_c = column_letters(9)
    share = [f'IF({letter_c}{first + n}="","",IF($B$9=0,0,({letter_c}{first + n}/$B$9)^2))' for n in range(len(slots))]
    share += [
        f'IF({letter_c}{first + len(slots) + n}="","",IF($B$9=0,0,{letter_c}{first + len(slots) + n}/$B$9^2))'
        for n in range(extra)
    ]
    blank: list[str | None] = [None] * extra
    columns = (
        BandColumn("quantity", [t.quantity for t in traits] + ["covariance (a variance)"] * extra, "text", width=30.0),
        BandColumn("symbol", [*names], "label", width=26.0),
        BandColumn("group", [t.group for t in traits] + cov_groups, "label", width=13.0),
        BandColumn(
            "estimate",
            values("estimate"),
            formulas=[at_link(n, slot, slot.column) for n, slot in enumerate(slots)] + blank,
            width=13.0,
        ),
        BandColumn(
            "u(x)",
            values("standard_uncertainty"),
            formulas=[at_link(n, slot, leaf.u) for n, (slot, leaf) in enumerate(zip(slots, leaves, strict=True))]
            + blank,
            number_format="0.0000E+00",
            width=12.0,
        ),
        BandColumn("type", [t.evaluation for t in traits] + [None] * extra, "label", width=6.0, remark="GUM 4.2, 4.3"),
        BandColumn("distribution", [t.distribution for t in traits] + [None] * extra, "label", width=12.0),
        BandColumn(
            "c",
            values("sensitivity_coefficient"),
            formulas=[from_row(n, slot.sensitivity) for n, slot in enumerate(slots)] + blank,
            number_format="0.0000E+00",
            width=12.0,
            remark="GUM 5.1.3",
        ),
        BandColumn(
            "c·u(x)",
            values("contribution"),
            unit=evaluation.records.method.document.unit,
            formulas=contribution,
            number_format="0.0000E+00",
            width=12.0,
        ),
        BandColumn("share of u²", values("share"), formulas=share, number_format=SHARE, width=9.0),
        BandColumn(
            "ν",
            [*dofs, *([None] * extra)],
            formulas=[*dof_formulas, *blank],
            number_format=DEGREES_OF_FREEDOM,
            width=8.0,
        ),
        BandColumn(
            "sheet row",
            [*link_values, *([None] * extra)],
            formulas=[*link_formulas, *blank],
            number_format="0",
            width=7.0,
        ),
    )
    return Band("budget", TOP, 1, columns, "Budget: one line an input quantity")


def _link_range(home: Placement, letter: str) -> str:
    return f"{quoted(home.sheet)}!${letter}${home.first_row}:${letter}${home.last_row}"


def _first(rows: Rows) -> int:
    present = rows[rows >= 0]
    return int(present[0]) if present.size else 0


def _sums(evaluation: Evaluation, band: Band, chosen: int) -> list[LooseCell]:
    """The budget's own sum of squares beside the combined standard uncertainty: two ways to one number."""
    row = band.last_row + 2
    count = len(evaluation.slots)
    first, last = band.first_row, band.first_row + count - 1
    squares = f"SUMSQ(I{first}:I{last})" if count else "0"
    if evaluation.propagated.covariances:
        squares += f"+SUM(I{last + 1}:I{band.last_row})"
    u = float(evaluation.column(STANDARD)[chosen])
    shares = sum(entry.share for entry in evaluation.budget(chosen))
    return [
        LooseCell(row, 1, "root of the sum of squares of this table", "label", across=2),
        LooseCell(row, 9, u, "result", f"SQRT(MAX({squares},0))", number_format="General"),
        LooseCell(row, 10, shares, "number", f"SUM(J{first}:J{band.last_row})", number_format=SHARE),
    ]


def _groups_band(evaluation: Evaluation, chosen: int, band: Band) -> Band:
    """Shares by group, and the groups by falling share for the chart."""
    rows = evaluation.budget(chosen)
    names = [slot.group for slot in evaluation.slots]
    if evaluation.propagated.covariances:
        slots = evaluation.slots
        names += [
            covariance_group(slots[c.a].group, slots[c.b].group) for c in evaluation.propagated.covariances
        ]
    groups = list(dict.fromkeys(names))
    first = TOP + Band.HEADING_ROWS
    shares = [sum(row.share for row in rows if row.group == group) for group in groups]
    spread = [share + TIE * (number + 1) for number, share in enumerate(shares)]
    order = sorted(range(len(groups)), key=lambda number: -spread[number])
    group_area = f"$C${band.first_row}:$C${band.last_row}"
    share_area = f"$J${band.first_row}:$J${band.last_row}"
    name_letter, share_letter, spread_letter = (column_letters(GROUPS_LEFT + n) for n in range(3))
    last = first + len(groups) - 1
    spread_area = f"${spread_letter}${first}:${spread_letter}${last}"
    rank_letter = column_letters(GROUPS_LEFT + 3)
    positions = range(len(groups))
    columns = (
        BandColumn("group", groups, "label", width=14.0),
        BandColumn(
            "share of u²",
            shares,
            formulas=[f"SUMIF({group_area},{name_letter}{first + n},{share_area})" for n in positions],
            number_format=SHARE,
            width=9.0,
        ),
        BandColumn(
            "for ranking",
            spread,
            formulas=[f"{share_letter}{first + n}+{n + 1}*1E-12" for n in positions],
            number_format="0.0000",
            width=9.0,
        ),
        BandColumn(
            "place",
            [order[n] + 1 for n in positions],
            formulas=[f"MATCH(LARGE({spread_area},{n + 1}),{spread_area},0)" for n in positions],
            number_format="0",
            width=6.0,
        ),
        BandColumn(
            "group, ranked",
            [groups[order[n]] for n in positions],
            "label",
            formulas=[f"INDEX(${name_letter}${first}:${name_letter}${last},{rank_letter}{first + n})" for n in positions],
            width=14.0,
        ),
        BandColumn(
            "share, ranked",
            [shares[order[n]] for n in positions],
            formulas=[f"INDEX(${share_letter}${first}:${share_letter}${last},{rank_letter}{first + n})" for n in positions],
            number_format=SHARE,
            width=9.0,
        ),
    )
    return Band("groups", TOP, GROUPS_LEFT, columns, "Shares by group")


def _lists_band(samples: Sequence[str], lines: Sequence[str]) -> Band:
    """What the two choices offer."""
    size = max(len(samples), len(lines))

    def filled(values: Sequence[str]) -> list[Value]:
        return [*values, *([None] * (size - len(values)))]

    left = GROUPS_LEFT + 7
    columns = (
        BandColumn("samples", filled(samples), "label", width=16.0),
        BandColumn("measured quantities", filled(lines), "label", width=18.0),
    )
    return Band("choices", TOP, left, columns, "Choices")


def _chart(groups: Band) -> Chart:
    name, share = column_letters(groups.left + 4), column_letters(groups.left + 5)
    return Chart(
        "bars",
        "D8",
        "Share of the variance by group",
        "",
        "share of u²",
        (
            Series(
                "share of u²",
                f"{BUDGET}!${share}${groups.first_row}:${share}${groups.last_row}",
                f"{BUDGET}!${name}${groups.first_row}:${name}${groups.last_row}",
                "bars",
            ),
        ),
        width_cm=17.0,
        height_cm=5.0,
    )


