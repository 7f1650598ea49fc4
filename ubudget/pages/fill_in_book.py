"""The plan of a fill-in workbook: one table below another where they are empty, a sheet each where they are used.

The first column of every sheet holds marks: `headings` beside the headings, whose table is named in the row above,
and `example` beside rows that show how it is done and are not read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from ubudget.pages.book import Band, Book, Choice, Highlight, LooseCell, Sheet
from ubudget.pages.fill_in_blocks import EXAMPLE, GRIDS, Block, Content, block_of, grid_block
from ubudget.pages.fill_in_guide import guide_sheet
from ubudget.pages.fill_in_tables import Table, tables_of_records
from ubudget.pages.placement import quoted
from ubudget.quantity.spelling import column_letters
from ubudget.records.records import Role
from ubudget.records.shape import Scalar

_DOCUMENTS: tuple[Role, ...] = ("run", "method", "register")
_LONGEST_LIST = 250
"""Characters of a drop-down list that names its entries; the format allows 255."""
_FURTHER: dict[Role, str] = {role: f"more for the {role}" for role in _DOCUMENTS}
_NOTE_WIDTH = 6
_PAGE_WIDTH = 190
"""Width of the columns that stay readable on one landscape page."""


def plan_fill_in(content: Content, title: str, header: str, program: str, modified: datetime) -> Book:
    """The workbook; the same content gives the same plan."""
    sheets: dict[str, tuple[Role, list[Block]]] = {}
    for role in _DOCUMENTS:
        if role not in content.roles:
            continue
        spare: list[Block] = []
        for table in (table for table in tables_of_records() if table.role == role):
            block = block_of(table, content)
            if block.used:
                sheets[table.name] = (role, [block])
            else:
                spare.append(block)
            if role == "run" and table.form == "entries":
                sheets |= {name: ("run", [grid_block(name, content)]) for name in GRIDS if name in content.grids}
        if spare:
            sheets[_FURTHER[role]] = (role, spare)
    homes = _homes(sheets)
    planned = [_sheet(name, role, blocks, homes) for name, (role, blocks) in sheets.items()]
    index = [(name, role, _summary(blocks)) for name, (role, blocks) in sheets.items()]
    return Book((guide_sheet(title, index, content.cautions), *planned), title, header, program, modified)


def plan_one_table(table: Table, content: Content, title: str, header: str, program: str, modified: datetime) -> Book:
    """The workbook of a record that is one table of entries."""
    block = block_of(table, content)
    sheet = _sheet(table.name, table.role, [block], _homes({table.name: (table.role, [block])}), (table,))
    guide = guide_sheet(title, [(table.name, table.role, block.words)], content.cautions, alone=True)
    return Book((guide, sheet), title, header, program, modified)


def _summary(blocks: Sequence[Block]) -> str:
    """What stands on a sheet: the words of its one table, or the names of several."""
    if len(blocks) > 1:
        return f"tables not used so far: {', '.join(block.name for block in blocks)}"
    return blocks[0].words


def _homes(sheets: Mapping[str, tuple[Role, Sequence[Block]]]) -> dict[str, tuple[str, int, int]]:
    """Sheet, row of the headings and row behind the last one of every table."""
    homes: dict[str, tuple[str, int, int]] = {}
    for sheet, (_, blocks) in sheets.items():
        top = 3
        for block in blocks:
            end = top + Band.HEADING_ROWS + len(block.columns[0].values)
            homes[block.name] = (sheet, top, end)
            top = end + 4
    return homes


def _sheet(
    name: str,
    role: Role,
    blocks: Sequence[Block],
    homes: Mapping[str, tuple[str, int, int]],
    tables: Sequence[Table] = (),
) -> Sheet:
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
        choices += _choices(block, band, homes, tables or tables_of_records())
        if end > band.first_row:
            last = column_letters(len(block.columns))
            place = f"$A${band.first_row}:${last}${end - 1}"
            highlights.append(Highlight(place, f'$A{band.first_row}="{EXAMPLE}"', "faint"))
    single = len(blocks) == 1
    width = max(sum(column.width for column in block.columns) for block in blocks)
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
        repeat_columns=0 if entries else 2,
        pages_across=max(1, -(-int(width) // _PAGE_WIDTH)),
    )


def _choices(
    block: Block, band: Band, homes: Mapping[str, tuple[str, int, int]], tables: Sequence[Table]
) -> Iterator[Choice]:
    end = band.last_row
    if block.columns[1].heading == "entry":
        yield from _entry_choices(block, band, tables)
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


def _entry_choices(block: Block, band: Band, tables: Sequence[Table]) -> Iterator[Choice]:
    """Lists of the record at the root stand in single cells."""
    lists = {
        column.heading: column.shape.choices
        for table in tables
        if table.name == block.name
        for column in table.columns
        if isinstance(column.shape, Scalar) and column.shape.choices
    }
    for row, entry in enumerate(block.columns[1].values, band.first_row):
        choices = lists.get(str(entry))
        if choices:
            yield Choice(f"$C${row}", f'"{",".join(map(str, choices))}"')
