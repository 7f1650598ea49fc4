"""Shares of the chosen result by group, ranked for the chart; and what the two choices of the budget sheet offer."""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.evaluation.evaluate import Evaluation, covariance_group
from ubudget.pages.book import Band, BandColumn, Value
from ubudget.pages.budget_rows import COLUMN, ORDER, TOP
from ubudget.pages.formats import SHARE
from ubudget.quantity.spelling import column_letters

LEFT = len(ORDER) + 3
CHOICES_LEFT = LEFT + 7
TIE = 1e-12
"""Keeps groups of equal share apart when they are ranked."""


def groups_of(evaluation: Evaluation) -> list[str]:
    """Names of the groups in the order of the budget."""
    slots = evaluation.slots
    names = [slot.group for slot in slots]
    names += [covariance_group(slots[c.a].group, slots[c.b].group) for c in evaluation.propagated.covariances]
    return list(dict.fromkeys(names))


def groups_band(evaluation: Evaluation, chosen: int, behind: Band) -> Band:
    groups = groups_of(evaluation)
    rows = evaluation.budget(chosen)
    shares = [sum(row.share for row in rows if row.group == group) for group in groups]
    spread = [share + TIE * (number + 1) for number, share in enumerate(shares)]
    order = sorted(range(len(groups)), key=lambda number: -spread[number])
    first = TOP + Band.HEADING_ROWS
    last = first + len(groups) - 1
    name, share, ranking, place = (column_letters(LEFT + number) for number in range(4))
    group_area = f"${COLUMN['group']}${behind.first_row}:${COLUMN['group']}${behind.last_row}"
    share_area = f"${COLUMN['share of u²']}${behind.first_row}:${COLUMN['share of u²']}${behind.last_row}"
    positions = range(len(groups))

    def area(letter: str) -> str:
        return f"${letter}${first}:${letter}${last}"

    columns = (
        BandColumn("group", groups, "label", width=14.0),
        BandColumn(
            "share of u²",
            shares,
            formulas=[f"SUMIF({group_area},{name}{first + n},{share_area})" for n in positions],
            number_format=SHARE,
            width=9.0,
        ),
        BandColumn(
            "for ranking",
            spread,
            formulas=[f"{share}{first + n}+{n + 1}*1E-12" for n in positions],
            number_format="0.0000",
            width=9.0,
        ),
        BandColumn(
            "place",
            [order[n] + 1 for n in positions],
            formulas=[f"MATCH(LARGE({area(ranking)},{n + 1}),{area(ranking)},0)" for n in positions],
            number_format="0",
            width=6.0,
        ),
        BandColumn(
            "group, ranked",
            [groups[order[n]] for n in positions],
            "text",
            formulas=[f"INDEX({area(name)},{place}{first + n})" for n in positions],
            width=14.0,
        ),
        BandColumn(
            "share, ranked",
            [shares[order[n]] for n in positions],
            formulas=[f"INDEX({area(share)},{place}{first + n})" for n in positions],
            number_format=SHARE,
            width=9.0,
        ),
    )
    return Band("groups", TOP, LEFT, columns, "Shares by group")


def choices_band(samples: Sequence[str], lines: Sequence[str]) -> Band:
    size = max(len(samples), len(lines))

    def filled(values: Sequence[str]) -> list[Value]:
        return [*values, *([None] * (size - len(values)))]

    columns = (
        BandColumn("samples", filled(samples), "label", width=16.0),
        BandColumn("measured quantities", filled(lines), "label", width=18.0),
    )
    return Band("choices", TOP, CHOICES_LEFT, columns, "Choices")
