"""The tables of a fill-in workbook, made from the shapes of the records.

Four forms of table: *entries* (one row for each field of the record at the root), *rows* (a list of records, one row
each), *keys* (records or values under names that the laboratory chooses), *details* (what a symbol needs beyond the
columns that all operations share). A table below another names the row it belongs to in its first columns.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Literal

from ubudget.pages.fill_in_words import ENTRIES_WORDS, TABLE_WORDS, heading_words, key_heading
from ubudget.records.method import Method
from ubudget.records.records import Role
from ubudget.records.register import Register
from ubudget.records.run import RunFile
from ubudget.records.shape import (
    Alternatives,
    FieldShape,
    Keyed,
    RecordShape,
    Rows,
    Scalar,
    Several,
    shape_of,
)

Path = tuple[str, ...]
Form = Literal["entries", "rows", "keys", "details"]

_NATURAL_KEYS = ("id", "label", "number", "name")
_WIDEST = 20
"""Columns of a table of details; where there would be more, records within the record get tables of their own."""
NUMBER = "no."
"""Heading of the column that numbers rows which have no name and to which other tables point."""


@dataclass(frozen=True)
class Column:
    path: Path
    """Keys from the record of the row; empty where the row is a value itself."""
    heading: str
    shape: Scalar | Several
    required: bool
    default: Any = None
    words: str = ""
    keyed: bool = False
    """One column for each key that the laboratory chooses: `concentration: Ni`."""
    group: str = ""
    """Heading of the record within the record of the row, empty for its own fields."""
    group_words: str = ""


@dataclass(frozen=True)
class Table:
    name: str
    role: Role
    form: Form
    path: Path
    """Keys from the record above to the list, table or record."""
    above: str
    """Name of the table above, empty for the root of the document."""
    keys: tuple[str, ...]
    """Headings of the columns that name the row above, then the row itself where it has no such field."""
    columns: tuple[Column, ...]
    own: str = ""
    """Field by which tables below name a row."""
    words: str = ""
    tag: str = ""
    member: str = ""
    """Of details: the field that chooses, and the choice they belong to."""
    below: bool = False
    """Whether other tables point to its rows."""

    @property
    def names_rows(self) -> tuple[str, ...]:
        """The columns by which a table below names a row of this one."""
        return (*self.keys, f"{key_heading(self.path[-1:] or (self.name,))} {self.own}") if self.own else self.keys


@cache
def tables_of_records() -> tuple[Table, ...]:
    """Every table of every document, those above before those below."""
    roots: tuple[tuple[Role, type], ...] = (("run", RunFile), ("method", Method), ("register", Register))
    tables: list[Table] = []
    for role, record in roots:
        shape = shape_of(record)
        columns, below = _flattened(shape, at_root=True)
        tables.append(Table(role, role, "entries", (), "", (), columns, words=ENTRIES_WORDS[role]))
        for path, field in below:
            tables += _grown(Table(role, role, "entries", (), "", (), ()), path, field)
    pointed = {table.above for table in tables}
    return tuple(_named_apart(replace(table, below=table.name in pointed) for table in tables))


def entries_table(name: str, role: Role, record: type, words: str) -> Table:
    """The one table of a record of its own, all of whose fields are entries."""
    columns, below = _flattened(shape_of(record), at_root=True)
    if below:
        raise ValueError(f"{name}: no entry for {', '.join('.'.join(path) for path, _ in below)}")
    return Table(name, role, "entries", (), "", (), columns, words=words)


def _named_apart(tables: Iterator[Table]) -> Iterator[Table]:
    seen: set[str] = set()
    for table in tables:
        if table.name in seen:
            raise ValueError(f"two tables of a fill-in workbook bear the name {table.name!r}")
        seen.add(table.name)
        yield table


def _flattened(
    record: RecordShape, prefix: Path = (), group: str = "", *, at_root: bool = False
) -> tuple[tuple[Column, ...], list[tuple[Path, FieldShape]]]:
    """Columns of a record, those of records within it included, and the fields that need tables of their own."""
    columns: list[Column] = []
    below: list[tuple[Path, FieldShape]] = []
    for field in record.fields:
        path = (*prefix, field.key)
        heading = heading_words(path[1:] if at_root and len(path) > 1 and _is_document(path) else path)
        shape = field.shape
        if isinstance(shape, (Scalar, Several)):
            required = field.required and not group
            columns.append(Column(path, heading, shape, required, field.default, field.words, group=group))
        elif isinstance(shape, RecordShape):
            within = group or ("" if at_root and _is_document(path) else heading)
            inner = _flattened(shape, path, within, at_root=at_root)
            words = field.words or shape.words
            columns += [replace(column, group_words=column.group_words or words) for column in inner[0]]
            below += inner[1]
        elif isinstance(shape, Keyed) and isinstance(shape.of, (Scalar, Several)) and not at_root:
            columns.append(Column(path, heading, shape.of, False, None, field.words, keyed=True, group=group))
        elif isinstance(shape, Alternatives):
            columns.append(Column(path, heading, Scalar("any"), field.required, None, field.words, group=group))
        else:
            below.append((path, field))
    return tuple(columns), below


def _is_document(path: Path) -> bool:
    """Whether a path starts with the table that holds a document's own identity: `[method]`, `[run]`."""
    return path[0] in ("method", "run")


def _grown(above: Table, path: Path, field: FieldShape) -> Iterator[Table]:
    """The table of a field, and the tables below it."""
    shape = field.shape
    name = _name(above, path)
    keys = above.names_rows
    parent = "" if above.form == "entries" else above.name
    if isinstance(shape, Rows):
        columns, below = _flattened(shape.of)
        own = next((key for key in _NATURAL_KEYS if any(column.path == (key,) for column in columns)), "")
        numbered = bool(below) and not own
        table = Table(
            name,
            above.role,
            "rows",
            path,
            parent,
            (*keys, f"{key_heading(path[-1:])} {NUMBER}") if numbered else keys,
            columns,
            own if below else "",
            field.words or shape.of.words,
        )
    elif isinstance(shape, Keyed) and isinstance(shape.of, Alternatives):
        yield from _alternatives(above, path, field, shape.of)
        return
    elif isinstance(shape, Keyed):
        of = shape.of
        keys = (*keys, key_heading(path[-1:]))
        if isinstance(of, RecordShape):
            columns, below = _flattened(of)
            words = field.words or of.words
        else:
            assert isinstance(of, (Scalar, Several))
            columns, below = (Column((), heading_words((f"value of {path[-1]}",)), of, True),), []
            words = field.words
        table = Table(name, above.role, "keys", path, parent, keys, columns, "", words)
    else:
        raise ValueError(f"no table for the field {path}")
    yield table
    for inner_path, inner in below:
        yield from _grown(table, inner_path, inner)


def _alternatives(above: Table, path: Path, field: FieldShape, shape: Alternatives) -> Iterator[Table]:
    """One table of what most of the records share, and one for what each of them has besides."""
    keys = (*above.names_rows, key_heading(path[-1:]))
    flat = {member: _flattened(record) for member, record in shape.members.items()}
    shared: dict[Path, list[Column]] = {}
    for columns, _ in flat.values():
        for column in columns:
            shared.setdefault(column.path, []).append(column)
    common = [found for at, found in shared.items() if len(found) * 2 > len(flat) and at != (shape.tag,)]
    tag = Column((shape.tag,), heading_words((shape.tag,)), Scalar("text", tuple(flat)), True)
    overview = Table(
        _name(above, path),
        above.role,
        "keys",
        path,
        "" if above.form == "entries" else above.name,
        keys,
        (tag, *(replace(found[0], required=len(found) == len(flat), words="") for found in common)),
        words=field.words,
        tag=shape.tag,
    )
    yield overview
    told = {column.path for column in overview.columns}
    for member, (columns, below) in flat.items():
        own = tuple(column for column in columns if column.path not in told)
        details = Table(
            member,
            above.role,
            "details",
            (),
            overview.name,
            keys,
            own,
            words=shape.members[member].words,
            tag=shape.tag,
            member=member,
        )
        if own:
            yield from _narrowed(details)
        for inner_path, inner in below:
            yield from _grown(details if own else overview, inner_path, inner)


def _narrowed(details: Table) -> Iterator[Table]:
    """Details in one table, or with tables of their own for the records within the record."""
    groups = dict.fromkeys(column.group for column in details.columns if column.group)
    if len(details.columns) <= _WIDEST:
        groups = {}
    yield replace(details, columns=tuple(column for column in details.columns if column.group not in groups))
    for group in groups:
        columns = tuple(column for column in details.columns if column.group == group)
        yield replace(details, name=f"{details.name} {group}", columns=columns, words=columns[0].group_words)


def _name(above: Table, path: Path) -> str:
    """`equipment`, `equipment certificates`, `material certified values`: the topmost table and the last field."""
    last = TABLE_WORDS.get(path[-1], heading_words(path[-1:]))
    if above.form == "entries":
        return last
    if above.form == "details":
        return f"{above.name} {last}"
    return f"{above.keys[0].rpartition(' ')[0] if above.keys else key_heading(above.path[-1:])} {last}"
