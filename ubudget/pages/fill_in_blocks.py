"""The tables of a fill-in workbook laid out column by column, before they have a place on a sheet."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import get_args, get_type_hints

from ubudget.pages.book import BandColumn, Style, Value
from ubudget.pages.fill_in_cells import KIND_WORDS, TEXT_FORMAT, Shown, format_of, number_shown, shown
from ubudget.pages.fill_in_rows import Row
from ubudget.pages.fill_in_tables import Column, Path, Table, tables_of_records
from ubudget.pages.fill_in_words import FIELD_WORDS, GRID_TITLES, GRID_WORDS, POINTS_TO, TABLE_NOTES
from ubudget.records.records import Role
from ubudget.records.run import Portion
from ubudget.records.shape import Scalar, Several

HEADINGS, EXAMPLE = "headings", "example"
"""Marks of the first column."""
GRIDS: tuple[Role, ...] = ("samples", "solutions", "readings")
_YES_NO = re.compile(r"\b(true|false)\b", re.IGNORECASE)
_FREE_ROWS, _FREE_GRID_ROWS, _FREE_STACKED_ROWS = 12, 40, 4


@dataclass(frozen=True)
class Grid:
    """A table of the run with headings of its own."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[bool, ...]
    """Which columns hold numbers."""


@dataclass(frozen=True)
class Content:
    """What a fill-in workbook holds, and what it shows as examples."""

    rows: Mapping[str, Sequence[Row]]
    """Rows of each table by its name; a document that is absent has no tables."""
    roles: frozenset[Role]
    grids: Mapping[Role, Grid]
    examples: Mapping[str, Row]
    cautions: Sequence[str] = ()


@dataclass(frozen=True)
class Block:
    """A table laid out, before it has a place."""

    name: str
    words: str
    columns: tuple[BandColumn, ...]
    lists: dict[int, tuple[Sequence[str] | str, bool]]
    """0-based column → entries, or the table whose names it offers; whether nothing else is accepted."""
    names: int | None = None
    """Column that names the rows."""
    used: bool = True


def block_of(table: Table, content: Content) -> Block:
    rows = list(content.rows.get(table.name, []))
    if table.form == "entries":
        return _entries(table, rows[0].values if rows else {})
    example = content.examples.get(table.name) if not rows else None
    listed: list[Row] = [*([example] if example else []), *rows]
    free = _FREE_ROWS if rows else _FREE_STACKED_ROWS
    columns: list[BandColumn] = [_marks([EXAMPLE] if example else [], len(rows) + free)]
    lists: dict[int, tuple[Sequence[str] | str, bool]] = {}
    for at, heading in enumerate(table.keys):
        shown_keys: list[Shown] = [(row.keys[at], TEXT_FORMAT) for row in listed]
        is_name = table.form == "keys" and at == len(table.keys) - 1
        words = "needed; name of this row" if is_name else f"needed; as in the table {table.above}"
        if table.above and not is_name and at == 0:
            lists[len(columns)] = (_top(table).name, False)
        columns.append(_column(heading, shown_keys, free, "text", words, bool(example)))
    names = len(columns) - 1 if table.form == "keys" else None
    for column in _spread(table, listed, content):
        cells = [shown(column.shape, row.values.get(column.path)) for row in listed]
        if column.path == (table.own,):
            names = len(columns)
        _offer(lists, len(columns), column)
        columns.append(
            _column(column.heading, cells, free, _kind(column), _words(column), bool(example), format_of(column.shape))
        )
    return Block(table.name, TABLE_NOTES.get(table.name, table.words), tuple(columns), lists, names, bool(rows))


def _top(table: Table) -> Table:
    """The table whose rows the first column of a table names."""
    tables = {known.name: known for known in tables_of_records()}
    while table.above:
        table = tables[table.above]
    return table


def _spread(table: Table, rows: Sequence[Row], content: Content) -> Iterator[Column]:
    """The columns, with one for each key of those that the laboratory keys itself."""
    for column in table.columns:
        if not column.keyed:
            yield column
            continue
        length = len(column.path)
        keys = dict.fromkeys(path[-1] for row in rows for path in row.values if path[:length] == column.path)
        for key in keys or dict.fromkeys(row.keys[-1] for row in content.rows.get("analytes", [])):
            yield replace(column, path=(*column.path, key), heading=f"{column.heading}: {key}")


def _entries(table: Table, values: Mapping[Path, object]) -> Block:
    """The record at the root: one row for each field."""
    names: list[str] = []
    cells: list[Shown] = []
    kinds: list[str] = []
    words: list[str] = []
    for column in table.columns:
        value = values.get(column.path)
        if value is None and _names_file(table, column.path):
            continue
        shape = column.shape
        several = value if isinstance(value, list) else []
        parts = [*several, None] if isinstance(shape, Several) else [value]
        for part in parts:
            names.append(column.heading)
            cells.append(shown(shape.of if isinstance(shape, Several) else shape, part))
            kinds.append(_kind(replace(column, shape=shape.of) if isinstance(shape, Several) else column))
            words.append(_words(column, one_row_each=True))
    columns = (
        _marks([], len(names)),
        BandColumn("entry", names, "label", width=22.0),
        _column("value", cells, 0, "", "", False, width=52.0),
        BandColumn("accepted", kinds, "text", width=24.0),
        BandColumn("what it is", words, "text", width=58.0),
    )
    return Block(table.name, table.words, columns, {})


def _names_file(table: Table, path: Path) -> bool:
    """Whether a field of the run only names another file, which a workbook holds itself."""
    return table.role == "run" and len(path) == 2 and path[1] in ("method", "register", *GRIDS)


def grid_block(name: Role, content: Content) -> Block:
    grid = content.grids[name]
    columns = [_marks([], len(grid.rows) + _FREE_GRID_ROWS)]
    lists: dict[int, tuple[Sequence[str] | str, bool]] = {}
    for at, heading in enumerate(grid.headings):
        number = grid.numbers[at]
        cells: list[Shown] = [
            (None, "General" if number else TEXT_FORMAT)
            if not row[at]
            else number_shown(row[at])
            if number
            else (row[at], TEXT_FORMAT)
            for row in grid.rows
        ]
        key = heading.partition("[")[0].strip()
        words = GRID_WORDS.get(key) or _named_by(key, content) or ("replicate reading" if number else "")
        if name == "samples" and key == "kind":
            lists[len(columns)] = (get_args(get_type_hints(Portion)["kind"]), True)
        elif words.startswith("ware column of"):
            lists[len(columns)] = ("equipment", False)
        free_format = "General" if number else TEXT_FORMAT
        columns.append(
            _column(heading, cells, _FREE_GRID_ROWS, "number" if number else "text", words, False, free_format)
        )
    return Block(name, GRID_TITLES[name], tuple(columns), lists)


def _named_by(column: str, content: Content) -> str:
    """What the method says of a column of the samples: `gross column of m, mass of the test portion`."""
    quantities = {row.keys[-1]: row.values.get(("quantity",), "") for row in content.rows.get("symbols", [])}
    for rows in content.rows.values():
        for row in rows:
            for path, value in row.values.items():
                if path and path[-1].endswith("column") and value == column and row.keys:
                    return f"{path[-1].replace('_', ' ')} of {row.keys[0]}, {quantities.get(row.keys[0], '')}"
    return ""


def _marks(first: Sequence[str], others: int) -> BandColumn:
    values: list[Value] = [*first, *([None] * others)]
    return BandColumn(HEADINGS, values, "text", width=9.5)


def _column(
    heading: str,
    cells: Sequence[Shown],
    free: int,
    kind: str,
    words: str,
    example_first: bool,
    free_format: str = TEXT_FORMAT,
    width: float | None = None,
) -> BandColumn:
    values: list[Value] = [*(value for value, _ in cells), *([None] * free)]
    formats = [*(number_format for _, number_format in cells), *([free_format] * free)]
    style: Style = "input" if free_format == "General" else "date" if free_format == "yyyy-mm-dd" else "input_text"
    opened = [not (example_first and at == 0) for at in range(len(values))]
    return BandColumn(
        heading,
        values,
        style,
        kind,
        open=opened,
        number_formats=formats,
        width=width or _width(heading, values),
        remark=words,
    )


def _width(heading: str, values: Iterable[Value]) -> float:
    longest = max((len(str(value)) for value in values if value is not None), default=0)
    least = max(16.0, 1.15 * max(len(word) for word in heading.split()) + 2)
    return max(least, 15.0 if longest <= 14 else 24.0 if longest <= 26 else 38.0)


def _kind(column: Column) -> str:
    shape = column.shape
    if isinstance(shape, Several):
        words = f"list of {'numbers' if shape.of.kind in ('number', 'amount') else 'texts'}"
    else:
        words = "one of a list" if shape.choices else KIND_WORDS[shape.kind]
    return words


def _words(column: Column, *, one_row_each: bool = False) -> str:
    """Help on a column: what it is, what is accepted, what an empty cell means."""
    said = ["needed"] if column.required else []
    said += [column.words or FIELD_WORDS.get(column.path[-1] if column.path else "", "")]
    shape = column.shape
    if isinstance(shape, Several):
        said.append("one row for each" if one_row_each else "separated by semicolons")
    elif shape.choices and len(shape.choices) <= 6:
        said.append("accepted: " + ", ".join(map(str, shape.choices)))
    if column.default is not None and column.default is not False:
        said.append(f"empty: {column.default}")
    text = "; ".join(part.rstrip(".") for part in said if part)
    return _YES_NO.sub(_in_words, text) if isinstance(shape, Scalar) and shape.kind == "yes or no" else text


def _in_words(match: re.Match[str]) -> str:
    """The truth values of docstrings as the cells say them."""
    word = "yes" if match[0].lower() == "true" else "no"
    return word.capitalize() if match[0][0].isupper() else word


def _offer(lists: dict[int, tuple[Sequence[str] | str, bool]], at: int, column: Column) -> None:
    """The drop-down list of a column, where it has one."""
    shape = column.shape
    if isinstance(shape, Several):
        return
    if shape.kind == "yes or no":
        lists[at] = (("yes", "no"), True)
    elif shape.choices:
        lists[at] = (tuple(map(str, shape.choices)), True)
    elif column.path[-1:] and column.path[-1] in POINTS_TO:
        lists[at] = (POINTS_TO[column.path[-1]], False)
