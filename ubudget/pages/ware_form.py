"""The record of a calibration of ware as a fill-in workbook: one table, a row for each entry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from ubudget.pages.book import Book
from ubudget.pages.fill_in_blocks import Content
from ubudget.pages.fill_in_book import plan_one_table
from ubudget.pages.fill_in_rows import Row, dig
from ubudget.pages.fill_in_tables import Path, Table, entries_table
from ubudget.records.ware_calibration import KIND, WareCalibration

_CAUTIONS = (
    "Ware that is dried hot, or cleaned with acids, is handled with the usual precautions; the rules of your own "
    "laboratory hold.",
)


def _table() -> Table:
    table = entries_table(KIND, "method", WareCalibration, "The ware, the conditions, and the weighings of water.")
    # Its kind is said by the table's name; single readings of a condition are not taken.
    columns = [column for column in table.columns if column.path != ("kind",) and column.path[-1] not in _READINGS]
    return replace(
        table,
        columns=tuple(
            replace(
                column,
                required=column.required or column.path[-1] == "value",
                words=_ABOUT.get(column.path, column.words),
            )
            for column in columns
        ),
    )


_READINGS = {"readings", "pooled_s", "pooled_dof"}
_ABOUT: dict[Path, str] = {
    ("item",): "id of the ware, as in the register",
    ("ware",): "kind of ware",
    ("accuracy_class",): "class of the ware, which gives its limits",
    ("standard",): "the standard whose limits hold, where it is not that of the kind of ware",
    ("capacity",): "what the ware is adjusted to",
    ("material",): "what the ware is made of, e.g. borosilicate 3.3; gives its expansion",
    ("date",): "day of the weighings",
    ("who",): "who calibrated",
    ("weighings",): "mass of water of each filling or delivery, loaded less empty, with its unit",
    ("division",): "smallest division of graduated ware",
    ("remarks",): "what else should be known",
}
WARE_TABLE = _table()


def row_of(document: Mapping[str, Any]) -> Row:
    """The entries of a record."""
    values = {column.path: value for column in WARE_TABLE.columns if (value := dig(document, column.path)) is not None}
    return Row((), values)


def document_of(values: Mapping[Path, Any]) -> dict[str, Any]:
    """The record of the entries, in the order of the table."""
    document: dict[str, Any] = {"kind": KIND}
    for column in WARE_TABLE.columns:
        if column.path in values:
            holder = document
            for step in column.path[:-1]:
                holder = holder.setdefault(step, {})
            holder[column.path[-1]] = values[column.path]
    return document


def plan_ware_form(document: Mapping[str, Any], program: str, modified: datetime) -> Book:
    """The workbook of a record."""
    content = Content({WARE_TABLE.name: [row_of(document)]}, frozenset({"method"}), {}, {}, _CAUTIONS)
    item = str(document.get("item", ""))
    return plan_one_table(WARE_TABLE, content, f"Calibration of ware {item}".strip(), item, program, modified)


def paths_of(values: Mapping[Path, Any]) -> Sequence[tuple[Path, int | None]]:
    """Every entry, and every part of an entry that is a list, by its position."""
    return [
        place
        for path, value in values.items()
        for place in ((path, None), *(((path, at) for at in range(len(value))) if isinstance(value, list) else ()))
    ]
