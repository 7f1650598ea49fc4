"""The plan of a fill-in workbook: one table below another where they are empty, a sheet each where they are used.

The first column of every sheet holds marks: `headings` beside the headings, whose table is named in the row above,
and `example` beside rows that show how it is done and are not read.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ubudget.pages.book import Band, BandColumn, Book, Choice, Highlight, LooseCell, Sheet, Style, Value
from ubudget.pages.fill_in_cells import KIND_WORDS, TEXT_FORMAT, Shown, format_of, joined, number_shown, shown
from ubudget.pages.fill_in_guide import GUIDE, guide_sheet
from ubudget.pages.fill_in_rows import Row
from ubudget.pages.fill_in_tables import Column, Path, Table, tables_of_records
from ubudget.pages.fill_in_words import FIELD_WORDS, GRID_TITLES, GRID_WORDS, POINTS_TO
from ubudget.pages.placement import quoted
from ubudget.quantity.spelling import column_letters
from ubudget.records.records import Role
from ubudget.records.shape import Scalar, Several

HEADINGS, EXAMPLE = "headings", "example"
"""Marks of the first column."""
GRIDS: tuple[Role, ...] = ("samples", "solutions", "readings")
_FREE_ROWS, _FREE_GRID_ROWS, _FREE_STACKED_ROWS = 12, 40, 4
_LONGEST_LIST = 250
"""Characters of a drop-down list that names its entries; the format allows 255."""
_FURTHER = {"run": "more for the run", "method": "more for the method", "register": "more for the register"}
_NOTE_WIDTH = 6


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
class _Block:
    """A table laid out, before it has a place."""

    name: str
    words: str
    columns: tuple[BandColumn, ...]
    lists: dict[int, tuple[Sequence[str] | str, bool]]
    """0-based column → entries, or the table whose names it offers; whether nothing else is accepted."""
    names: int | None = None
    """Column that names the rows."""
    used: bool = True


def plan_fill_in(content: Content, title: str, header: str, program: str, modified: datetime) -> Book:
    """The workbook; the same content gives the same plan."""
    sheets: dict[str, tuple[Role, list[_Block]]] = {}
    for role in ("run", "method", "register"):
        if role not in content.roles:
            continue
        spare: list[_Block] = []
        for table in (table for table in tables_of_records() if table.role == role):
            block = _block(table, content)
            if block.used:
                sheets[table.name] = (role, [block])
            else:
                spare.append(block)
            if role == "run" and table.form == "entries":
                sheets |= {name: ("run", [_grid_block(name, content)]) for name in GRIDS if name in content.grids}
        if spare:
            sheets[_FURTHER[role]] = (role, spare)
    homes = _homes(sheets)
    planned = [_sheet(name, role, blocks, homes) for name, (role, blocks) in sheets.items()]
    index = [(name, role, [block.name for block in blocks]) for name, (role, blocks) in sheets.items()]
    return Book((guide_sheet(title, index, content.cautions), *planned), title, header, program, modified)


def _block(table: Table, content: Content) -> _Block:
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
        words = "name of this row" if is_name else f"as on the sheet {table.above}"
        if table.above and not is_name and at == 0:
            lists[len(columns)] = (_top(table).name, False)
        columns.append(_column(heading, shown_keys, free, "text, needed", words, bool(example)))
    names = len(columns) - 1 if table.form == "keys" else None
    for column in _spread(table, listed, content):
        cells = [shown(column.shape, row.values.get(column.path)) for row in listed]
        if column.path == (table.own,):
            names = len(columns)
        _offer(lists, len(columns), column)
        columns.append(
            _column(column.heading, cells, free, _kind(column), _words(column), bool(example), format_of(column.shape))
        )
    return _Block(table.name, table.words, tuple(columns), lists, names, bool(rows))


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


def _entries(table: Table, values: Mapping[Path, object]) -> _Block:
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
            words.append(_words(column))
    columns = (
        _marks([], len(names)),
        BandColumn("entry", names, "label", width=22.0),
        _column("value", cells, 0, "", "", False, width=52.0),
        BandColumn("accepted", kinds, "text", width=24.0),
        BandColumn("what it is", words, "text", width=58.0),
    )
    return _Block(table.name, table.words, columns, {})


def _names_file(table: Table, path: Path) -> bool:
    """Whether a field of the run only names another file, which a workbook holds itself."""
    return table.role == "run" and len(path) == 2 and path[1] in ("method", "register", *GRIDS)


def _grid_block(name: Role, content: Content) -> _Block:
    grid = content.grids[name]
    columns = [_marks([], len(grid.rows) + _FREE_GRID_ROWS)]
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
        free_format = "General" if number else TEXT_FORMAT
        columns.append(
            _column(heading, cells, _FREE_GRID_ROWS, "number" if number else "text", words, False, free_format)
        )
    return _Block(name, GRID_TITLES[name], tuple(columns), {})


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
    least = max(13.0, 1.15 * max(len(word) for word in heading.split()) + 2)
    return max(least, 15.0 if longest <= 14 else 24.0 if longest <= 26 else 38.0)


def _kind(column: Column) -> str:
    shape = column.shape
    if isinstance(shape, Several):
        words = f"list of {'numbers' if shape.of.kind in ('number', 'amount') else 'texts'}"
    else:
        words = "one of a list" if shape.choices else KIND_WORDS[shape.kind]
    return f"{words}, needed" if column.required else words


def _words(column: Column) -> str:
    """Help on a column: what it is, what is accepted, what an empty cell means."""
    said = [column.words or FIELD_WORDS.get(column.path[-1] if column.path else "", "")]
    shape = column.shape
    if isinstance(shape, Several):
        said.append("separated by semicolons" if column.path[:1] not in (("method",), ("run",)) else "one row for each")
    elif shape.choices and len(shape.choices) <= 6:
        said.append("accepted: " + ", ".join(map(str, shape.choices)))
    if column.default is not None and column.default is not False:
        said.append(f"empty: {column.default}")
    return ". ".join(part.rstrip(".") for part in said if part)


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


def _homes(sheets: Mapping[str, tuple[Role, Sequence[_Block]]]) -> dict[str, tuple[str, int, int]]:
    """Sheet, row of the headings and row behind the last one of every table."""
    homes: dict[str, tuple[str, int, int]] = {}
    for sheet, (_, blocks) in sheets.items():
        top = 3
        for block in blocks:
            end = top + Band.HEADING_ROWS + len(block.columns[0].values)
            homes[block.name] = (sheet, top, end)
            top = end + 4
    return homes


def _sheet(name: str, role: Role, blocks: Sequence[_Block], homes: Mapping[str, tuple[str, int, int]]) -> Sheet:
    bands: list[Band] = []
    cells: list[LooseCell] = []
    choices: list[Choice] = []
    highlights: list[Highlight] = []
    for block in blocks:
        _, top, end = homes[block.name]
        band = Band(block.name, top, 1, block.columns)
        bands.append(band)
        cells.append(LooseCell(top - 2, 1, block.name, "title"))
        if block.words:
            cells.append(LooseCell(top - 1, 2, block.words, "note", across=min(_NOTE_WIDTH, len(block.columns) - 1)))
        choices += _choices(block, band, homes)
        if end > band.first_row:
            last = column_letters(len(block.columns))
            place = f"$A${band.first_row}:${last}${end - 1}"
            highlights.append(Highlight(place, f'$A{band.first_row}="{EXAMPLE}"', "faint"))
    single = len(blocks) == 1
    first = bands[0].first_row
    entries = blocks[0].columns[1].heading == "entry"
    return Sheet(
        name,
        tuple(bands),
        tuple(cells),
        choices=tuple(choices),
        highlights=tuple(highlights),
        freeze=(f"A{first}" if entries else f"C{first}") if single else None,
        repeat_rows=(3, first - 1) if single else None,
        protected=False,
        tab=role if role in ("run", "method", "register") else "",
        pages_across=max(1, -(-int(sum(column.width for column in blocks[0].columns)) // 190)) if single else 2,
    )


def _choices(block: _Block, band: Band, homes: Mapping[str, tuple[str, int, int]]) -> Iterator[Choice]:
    end = band.last_row
    if block.columns[1].heading == "entry":
        yield from _entry_choices(block, band)
        return
    for at, (entries, only) in block.lists.items():
        letter = column_letters(at + 1)
        source = _source(entries, homes)
        if source and end >= band.first_row:
            yield Choice(f"${letter}${band.first_row}:${letter}${end}", source, only=only)


def _source(entries: Sequence[str] | str, homes: Mapping[str, tuple[str, int, int]]) -> str:
    if isinstance(entries, str):
        if entries not in homes:
            return ""
        sheet, top, end = homes[entries]
        return f"{quoted(sheet)}!$B${top + Band.HEADING_ROWS}:$B${end - 1}"
    text = ",".join(entries)
    return f'"{text}"' if len(text) <= _LONGEST_LIST and not any("," in entry for entry in entries) else ""


def _entry_choices(block: _Block, band: Band) -> Iterator[Choice]:
    """Lists of the record at the root stand in single cells."""
    lists = {
        column.heading: column.shape.choices
        for table in tables_of_records()
        if table.name == block.name
        for column in table.columns
        if isinstance(column.shape, Scalar) and column.shape.choices
    }
    for row, entry in enumerate(block.columns[1].values, band.first_row):
        choices = lists.get(str(entry))
        if choices:
            yield Choice(f"$C${row}", f'"{",".join(map(str, choices))}"')


