"""The table of the budget sheet: one line an input quantity, all of it looked up for the chosen result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import attrgetter

from ubudget.evaluation.evaluate import Evaluation, covariance_group, unit_of_leaf
from ubudget.evaluation.propagation import Slot
from ubudget.pages.book import Band, BandColumn, Value
from ubudget.pages.evidence import evidence_column
from ubudget.pages.formats import DEGREES_OF_FREEDOM, SHARE
from ubudget.pages.layout import BUDGET
from ubudget.pages.placement import Placements, quoted
from ubudget.pages.row_links import RowLinks
from ubudget.pages.wording import text_in_formula
from ubudget.quantity.graph import INFINITE_DOF, Leaf, Rows
from ubudget.quantity.spelling import column_letters, number_text
from ubudget.quantity.units import per

TOP = 25
CHOSEN_ROW, U_CELL = "$B$6", "$B$9"
POWERS = "0.000E+00;-0.000E+00;0"
ORDER = (
    "quantity",
    "symbol",
    "group",
    "estimate",
    "u(x)",
    "unit",
    "type",
    "distribution",
    "c",
    "unit of c",
    "c·u(x)",
    "share of u²",
    "ν",
    "sheet row",
    "source",
)
COLUMN = {name: column_letters(number) for number, name in enumerate(ORDER, start=1)}


@dataclass(frozen=True, eq=False)
class _Line:
    """One slot, or one covariance (leaf None)."""

    name: str
    slot: Slot | None
    leaf: Leaf | None
    contribution: str
    group: str
    quantity: str
    unit: str
    present: bool


def budget_band(evaluation: Evaluation, placements: Placements, links: RowLinks, chosen: int) -> Band:
    """The band; lines that the chosen result lacks stay empty."""
    lines = _lines(evaluation, chosen)
    home = placements["results"]
    first = TOP + Band.HEADING_ROWS
    budget = {row.symbol: row for row in evaluation.budget(chosen)}

    def values(read: Callable[[object], Value]) -> list[Value]:
        return [read(budget[line.name]) if line.present and line.name in budget else None for line in lines]

    def of(attribute: str) -> Callable[[object], Value]:
        return attrgetter(attribute)

    def dof(row: object) -> Value:
        value = getattr(row, "degrees_of_freedom", None)
        return INFINITE_DOF if value is None else float(value)

    def link(number: int) -> str:
        return f"${COLUMN['sheet row']}{first + number}"

    def shown(number: int, formula: str) -> str:
        return f'IF({link(number)}=0,"",{formula})'

    def words(texts: Sequence[str]) -> tuple[list[Value], list[str | None]]:
        present = [text if line.present else None for text, line in zip(texts, lines, strict=True)]
        return [*present], [shown(number, text_in_formula(text)) for number, text in enumerate(texts)]

    def where_it_stands(column_of: Callable[[_Line], str | float | None]) -> list[str | None]:
        formulas: list[str | None] = []
        for number, line in enumerate(lines):
            column = column_of(line)
            if line.slot is None or column is None:
                formulas.append(None)
            elif isinstance(column, float):
                formulas.append(shown(number, number_text(column)))
            else:
                there = placements[line.slot.table]
                letter = there.letters[column]
                area = f"{quoted(there.sheet)}!${letter}$1:${letter}${there.last_row}"
                formulas.append(shown(number, f"INDEX({area},{link(number)})"))
        return formulas

    def from_result(column_of: Callable[[_Line], str | None]) -> list[str | None]:
        return [
            None
            if (column := column_of(line)) is None
            else shown(number, f"INDEX({home.range(column, BUDGET)},{CHOSEN_ROW})")
            for number, line in enumerate(lines)
        ]

    contribution = COLUMN["c·u(x)"]
    shares = [
        shown(n, f"IF({U_CELL}=0,0,({contribution}{first + n}/{U_CELL})^2)")
        if line.slot
        else shown(n, f"IF({U_CELL}=0,0,{contribution}{first + n}/{U_CELL}^2)")
        for n, line in enumerate(lines)
    ]
    rows_link = [
        f"IF({CHOSEN_ROW}=0,0,INDEX({links.range_of_slot[n]},{CHOSEN_ROW}))" if line.slot else f"IF({CHOSEN_ROW}=0,0,1)"
        for n, line in enumerate(lines)
    ]
    rows_value: list[Value] = [
        placements[line.slot.table].row(int(line.slot.rows[chosen]))
        if line.slot and line.present
        else int(not line.slot)
        for line in lines
    ]
    traits = [line.leaf.traits[first_present(line.slot.rows)] if line.leaf and line.slot else None for line in lines]
    unit = evaluation.records.method.document.unit

    def source(number: int, line: _Line) -> str | None:
        if line.slot is None or line.leaf is None:
            return shown(number, text_in_formula(budget[line.name].source if line.name in budget else ""))
        there = placements[line.slot.table]
        column = evidence_column(there.table, line.leaf)
        if column is None:
            return shown(number, text_in_formula(line.leaf.traits[0].source))
        letter = there.letters[column]
        area = f"{quoted(there.sheet)}!${letter}$1:${letter}${there.last_row}"
        # The empty text keeps an empty cell from showing as 0.
        return shown(number, f'INDEX({area},{link(number)})&""')

    sources = [source(number, line) for number, line in enumerate(lines)]

    def label(heading: str, texts: Sequence[str], width: float, remark: str = "") -> BandColumn:
        shown_values, formulas = words(texts)
        return BandColumn(heading, shown_values, "text", "", formulas, width=width, remark=remark)

    columns = (
        label("quantity", [line.quantity for line in lines], 40.0),
        label("symbol", [line.name for line in lines], 27.0),
        label("group", [line.group for line in lines], 12.0),
        BandColumn(
            "estimate",
            values(of("estimate")),
            formulas=where_it_stands(lambda line: line.slot.column if line.slot else None),
            width=12.0,
        ),
        BandColumn(
            "u(x)",
            values(of("standard_uncertainty")),
            formulas=where_it_stands(lambda line: line.leaf.u if line.leaf else None),
            number_format=POWERS,
            width=11.0,
        ),
        label("unit", [line.unit for line in lines], 10.0),
        label("type", [trait.evaluation if trait else "" for trait in traits], 6.0, "GUM 4.2, 4.3"),
        label("distribution", [trait.distribution if trait else "" for trait in traits], 11.0),
        BandColumn(
            "c",
            values(of("sensitivity_coefficient")),
            formulas=from_result(lambda line: line.slot.sensitivity if line.slot else None),
            number_format=POWERS,
            width=11.0,
            remark="GUM 5.1.3",
        ),
        label("unit of c", [per(unit, line.unit) if line.slot else "" for line in lines], 13.0),
        BandColumn(
            "c·u(x)",
            values(of("contribution")),
            unit=unit,
            formulas=from_result(lambda line: line.contribution),
            number_format=POWERS,
            width=11.0,
        ),
        BandColumn("share of u²", values(of("share")), formulas=shares, number_format=SHARE, width=9.0),
        BandColumn(
            "ν",
            [value if line.slot else None for value, line in zip(values(dof), lines, strict=True)],
            formulas=where_it_stands(lambda line: (line.leaf.dof or INFINITE_DOF) if line.leaf else None),
            number_format=DEGREES_OF_FREEDOM,
            width=7.0,
        ),
        BandColumn("sheet row", rows_value, formulas=rows_link, number_format="0;;", width=7.0),
        BandColumn("source", values(of("source")), "text", "", sources, width=46.0),
    )
    return Band(
        "budget", TOP, 1, columns, "Budget: one line an input quantity; lines that this result lacks stay empty"
    )


def first_present(rows: Rows) -> int:
    """First row of a leaf that some result refers to."""
    present = rows[rows >= 0]
    return int(present[0]) if present.size else 0


def _lines(evaluation: Evaluation, chosen: int) -> list[_Line]:
    slots = evaluation.slots
    lines = []
    for slot in slots:
        leaf = evaluation.graph.tables[slot.table].leaf_of[slot.column]
        trait = leaf.traits[first_present(slot.rows)]
        present = bool(slot.rows[chosen] >= 0)
        unit = unit_of_leaf(evaluation.graph, slot, first_present(slot.rows))
        lines.append(_Line(slot.symbol, slot, leaf, slot.contribution, trait.group, trait.quantity, unit, present))
    for covariance in evaluation.propagated.covariances:
        a, b = slots[covariance.a], slots[covariance.b]
        group = covariance_group(a.group, b.group)
        name = f"cov({a.symbol}, {b.symbol})"
        lines.append(_Line(name, None, None, covariance.contribution, group, "covariance (a variance)", "", True))
    return lines
