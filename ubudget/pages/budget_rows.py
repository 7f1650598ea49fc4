"""All input quantities of a run, one row each, looked up for the result that the budget sheet shows.

They stand to the right of the printed budget, which lists those that the chosen result has.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import attrgetter

import numpy as np

from ubudget.bench.reported import UNIT
from ubudget.evaluation.budgets import unit_of_leaf
from ubudget.evaluation.coverage import STANDARD
from ubudget.evaluation.evaluate import Evaluation, covariance_group
from ubudget.evaluation.propagation import Slot
from ubudget.pages.book import Band, BandColumn, Value
from ubudget.pages.evidence import evidence_column
from ubudget.pages.formats import DEGREES_OF_FREEDOM, SHARE
from ubudget.pages.layout import BUDGET
from ubudget.pages.placement import Placements, quoted
from ubudget.pages.row_links import RowLinks
from ubudget.pages.wording import text_in_formula
from ubudget.quantity.graph import INFINITE_DOF, Array, Leaf, Rows
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
    "type A, B",
    "distribution",
    "c",
    "unit of c",
    "c·u(x)",
    "share of u²",
    "ν",
    "sheet and row",
    "source",
)
"""Columns of the printed budget; the rows here have the same, and two that serve the looking up."""
RANKING = "for ranking"
TIE, ABSENT = 1e-12, -1e9
"""What keeps equal shares apart, and the rank of what the chosen result lacks."""
LEFT = len(ORDER) + 14
"""First column of the band: the printed budget, its shares by group and the choices stand before it."""
COLUMN = {name: column_letters(LEFT + number) for number, name in enumerate((*ORDER, "row", RANKING))}


@dataclass(frozen=True, eq=False)
class Line:
    """One slot, or one covariance (slot and leaf None)."""

    name: str
    slot: Slot | None
    leaf: Leaf | None
    contribution: str
    group: str
    quantity: str
    unit: str

    def present(self, row: int) -> bool:
        """Whether a result has this input quantity."""
        return self.slot is None or bool(self.slot.rows[row] >= 0)


def lines_of(evaluation: Evaluation) -> list[Line]:
    """All input quantities of the run in the order of the budget, covariances last."""
    slots = evaluation.slots
    lines = []
    for slot in slots:
        leaf = evaluation.graph.tables[slot.table].leaf_of[slot.column]
        first = first_present(slot.rows)
        trait, unit = leaf.traits[first], unit_of_leaf(evaluation.graph, slot, first)
        lines.append(Line(slot.symbol, slot, leaf, slot.contribution, trait.group, trait.quantity, unit))
    for covariance in evaluation.propagated.covariances:
        a, b = slots[covariance.a], slots[covariance.b]
        group = covariance_group(a.group, b.group)
        name = f"cov({a.symbol}, {b.symbol})"
        lines.append(Line(name, None, None, covariance.contribution, group, "covariance (a variance)", ""))
    return lines


def first_present(rows: Rows) -> int:
    """First row of a leaf that some result refers to."""
    present = rows[rows >= 0]
    return int(present[0]) if present.size else 0


def shares_of(evaluation: Evaluation, lines: Sequence[Line]) -> Array:
    """Share of u² of every input quantity (columns) in every result (rows); 0 where there is none."""
    variance = evaluation.column(STANDARD) ** 2
    parts = [evaluation.column(line.contribution) for line in lines]
    variances = np.array([part**2 if line.slot else part for part, line in zip(parts, lines, strict=True)])
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = variances.reshape(len(lines), len(variance)) / variance
    return np.where(np.isfinite(shares), shares, 0.0).T


def quantities_band(
    evaluation: Evaluation, lines: Sequence[Line], placements: Placements, links: RowLinks, chosen: int
) -> Band:
    """The band; rows that the chosen result lacks stay empty."""
    home = placements["results"]
    first = TOP + Band.HEADING_ROWS
    budget = {row.symbol: row for row in evaluation.budget(chosen)}
    here = [line.present(chosen) for line in lines]

    def values(read: Callable[[object], Value]) -> list[Value]:
        return [
            read(budget[line.name]) if present and line.name in budget else None
            for line, present in zip(lines, here, strict=True)
        ]

    def dof(row: object) -> Value:
        value = getattr(row, "degrees_of_freedom", None)
        return INFINITE_DOF if value is None else float(value)

    def link(number: int) -> str:
        return f"${COLUMN['row']}{first + number}"

    def shown(number: int, formula: str) -> str:
        return f'IF({link(number)}=0,"",{formula})'

    def words(texts: Sequence[str]) -> tuple[list[Value], list[str | None]]:
        present = [text if there else None for text, there in zip(texts, here, strict=True)]
        return [*present], [shown(number, text_in_formula(text)) for number, text in enumerate(texts)]

    def where_it_stands(column_of: Callable[[Line], str | float | None]) -> list[str | None]:
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

    def from_result(column_of: Callable[[Line], str | None]) -> list[str | None]:
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
        placements[line.slot.table].row(int(line.slot.rows[chosen])) if line.slot and there else int(not line.slot)
        for line, there in zip(lines, here, strict=True)
    ]
    traits = [line.leaf.traits[first_present(line.slot.rows)] if line.leaf and line.slot else None for line in lines]
    units = list(dict.fromkeys(evaluation.unit(row) for row in range(len(evaluation.keys))))
    unit = units[0] if len(units) == 1 else ""

    def unit_of_c() -> BandColumn:
        """By the unit of the chosen result, where results differ in it."""
        texts = [[per(one, line.unit) if line.slot else "" for one in units] for line in lines]
        own = units.index(evaluation.unit(chosen))
        shown_values, formulas = words([each[own] for each in texts])
        chosen_unit = f"INDEX({home.range(UNIT, BUDGET)},{CHOSEN_ROW})" if UNIT in home.letters else ""
        for number, each in enumerate(texts if len(units) > 1 else []):
            formula = text_in_formula(each[0])
            for one, text in zip(units[1:], each[1:], strict=True):
                formula = f"IF({chosen_unit}={text_in_formula(one or '1')},{text_in_formula(text)},{formula})"
            formulas[number] = shown(number, formula)
        return BandColumn("unit of c", shown_values, "text", "", formulas, width=13.0)

    def stands_on() -> tuple[list[Value], list[str | None]]:
        texts: list[Value] = []
        formulas: list[str | None] = []
        for number, (line, there) in enumerate(zip(lines, here, strict=True)):
            if line.slot is None:
                texts.append(None)
                formulas.append(None)
                continue
            place = placements[line.slot.table]
            words = f"{place.sheet}, row "
            texts.append(f"{words}{rows_value[number]}" if there else None)
            formulas.append(shown(number, f'"{words}"&{link(number)}'))
        return texts, formulas

    def source(number: int, line: Line) -> str | None:
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

    def label(heading: str, texts: Sequence[str], width: float, remark: str = "") -> BandColumn:
        shown_values, formulas = words(texts)
        return BandColumn(heading, shown_values, "text", "", formulas, width=width, remark=remark)

    columns = (
        label("quantity", [line.quantity for line in lines], 36.0),
        label("symbol", [line.name for line in lines], 22.0),
        label("group", [line.group for line in lines], 12.0),
        BandColumn(
            "estimate",
            values(attrgetter("estimate")),
            formulas=where_it_stands(lambda line: line.slot.column if line.slot else None),
            width=11.0,
        ),
        BandColumn(
            "u(x)",
            values(attrgetter("standard_uncertainty")),
            formulas=where_it_stands(lambda line: line.leaf.u if line.leaf else None),
            number_format=POWERS,
            width=10.0,
        ),
        label("unit", [line.unit for line in lines], 9.0),
        label("type A, B", [trait.evaluation if trait else "" for trait in traits], 8.0, "GUM 4.2, 4.3"),
        label("distribution", [trait.distribution if trait else "" for trait in traits], 11.5),
        BandColumn(
            "c",
            values(attrgetter("sensitivity_coefficient")),
            formulas=from_result(lambda line: line.slot.sensitivity if line.slot else None),
            number_format=POWERS,
            width=10.5,
            remark="GUM 5.1.3",
        ),
        unit_of_c(),
        BandColumn(
            "c·u(x)",
            values(attrgetter("contribution")),
            unit=unit,
            formulas=from_result(lambda line: line.contribution),
            number_format=POWERS,
            width=10.5,
        ),
        BandColumn("share of u²", values(attrgetter("share")), formulas=shares, number_format=SHARE, width=8.0),
        BandColumn(
            "ν",
            [value if line.slot else None for value, line in zip(values(dof), lines, strict=True)],
            formulas=where_it_stands(lambda line: (line.leaf.dof or INFINITE_DOF) if line.leaf else None),
            number_format=DEGREES_OF_FREEDOM,
            width=7.0,
        ),
        BandColumn("sheet and row", stands_on()[0], "text", "", stands_on()[1], width=19.0),
        BandColumn(
            "source",
            values(attrgetter("source")),
            "text",
            "",
            [source(number, line) for number, line in enumerate(lines)],
            width=48.0,
        ),
        BandColumn("row", rows_value, formulas=rows_link, number_format="0;;", width=7.0),
        BandColumn(
            RANKING,
            [
                ABSENT if not there else share - TIE * (n + 1)
                for n, (there, share) in enumerate(zip(here, shares_of(evaluation, lines)[chosen], strict=True))
            ],
            formulas=[
                f"IF({link(n)}=0,{number_text(ABSENT)},{COLUMN['share of u²']}{first + n}-{n + 1}*{number_text(TIE)})"
                for n in range(len(lines))
            ],
            number_format="0.0000",
            width=9.0,
        ),
    )
    title = "Behind the budget: all input quantities of the run; those that the chosen result lacks stay empty"
    return Band("input quantities", TOP, LEFT, columns, title)
