"""Documents taken apart into the rows of a fill-in workbook, and put together again from them.

Nothing is judged here but where a row belongs: validation of the document says the rest, as for any other file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from ubudget.pages.fill_in_tables import NUMBER, Path, Table, tables_of_records
from ubudget.records.records import Role
from ubudget.records.shape import Several

DocumentPath = tuple[str | int, ...]


@dataclass(frozen=True)
class Row:
    """One row of a table: what names it, and its values by path."""

    keys: tuple[str, ...]
    values: dict[Path, Any]


@dataclass(frozen=True)
class Spot:
    """A row of a table, or one of its values."""

    table: str
    row: int
    """0-based among the rows of the table."""
    column: Path | None = None
    key: int | None = None
    """Which of the columns that name rows."""


@dataclass(frozen=True)
class Assembled:
    """Documents made of rows."""

    documents: dict[Role, dict[str, Any]] = field(default_factory=dict)
    spots: dict[tuple[Role, DocumentPath], Spot] = field(default_factory=dict)
    """Where each entry of a document came from."""
    strays: list[Spot] = field(default_factory=list)
    """Rows that point to a row that does not exist."""
    repeated: list[Spot] = field(default_factory=list)
    """Rows under a name that an earlier row has."""


def rows_of(documents: dict[Role, dict[str, Any]]) -> dict[str, list[Row]]:
    """Rows of every table by its name, in the order of the documents."""
    rows: dict[str, list[Row]] = {}
    records: dict[str, list[tuple[tuple[str, ...], Any]]] = {}
    for table in tables_of_records():
        document = documents.get(table.role)
        above = records.get(table.above, []) if table.above else [((), document)] if document is not None else []
        rows[table.name] = []
        records[table.name] = []
        for keys, record in above:
            for named, row_keys, inner in _inner(table, keys, record):
                values = dict(_values(table, inner))
                records[table.name].append((named, inner))
                if values or table.form in ("rows", "keys"):
                    rows[table.name].append(Row(row_keys, values))
    return rows


def _inner(table: Table, keys: tuple[str, ...], record: Any) -> Iterator[tuple[tuple[str, ...], tuple[str, ...], Any]]:
    """Records of a table within one record above: keys that name it for tables below, keys of its row, itself."""
    if table.form in ("entries", "details"):
        if table.form == "entries" or record.get(table.tag) == table.member:
            yield keys, keys, record
        return
    inner = dig(record, table.path)
    if table.form == "keys":
        for key, value in (inner or {}).items():
            yield (*keys, key), (*keys, key), value
        return
    for number, value in enumerate(inner or [], start=1):
        if table.own:
            yield (*keys, str(value.get(table.own, ""))), keys, value
        else:
            named = (*keys, str(number)) if table.keys and table.keys[-1].endswith(NUMBER) else keys
            yield named, named, value


def _values(table: Table, record: Any) -> Iterator[tuple[Path, Any]]:
    for column in table.columns:
        value = dig(record, column.path)
        if column.keyed:
            for key, inner in (value or {}).items():
                yield (*column.path, key), inner
        elif value is not None:
            yield column.path, value


def dig(record: Any, path: Path) -> Any:
    """What stands at a path of keys, `None` where nothing does."""
    for step in path:
        if not isinstance(record, dict):
            return None
        record = record.get(step)
    return record


def documents_of(rows: dict[str, list[Row]]) -> Assembled:
    """The documents of the rows. A row that belongs nowhere is told and left out."""
    made = Assembled()
    places: dict[tuple[str, tuple[str, ...]], DocumentPath] = {}
    for table in tables_of_records():
        for number, row in enumerate(rows.get(table.name, [])):
            document = made.documents.setdefault(table.role, {})
            named = table.form == "keys" or bool(table.keys and table.keys[-1].endswith(NUMBER))
            up = row.keys[:-1] if named else row.keys
            above = places.get((table.above, up)) if table.above else ()
            if above is None:
                made.strays.append(Spot(table.name, number, key=max(len(up) - 1, 0)))
                continue
            place = _room(table, row, document, above)
            if place is None:
                made.repeated.append(Spot(table.name, number, key=len(row.keys) - 1))
                continue
            _fill(made, table, number, row, place)
            keys = (*row.keys, str(row.values.get((table.own,), ""))) if table.own else row.keys
            places.setdefault((table.name, keys), place)
        _details_without_row(table, places)
    return made


def _details_without_row(table: Table, places: dict[tuple[str, tuple[str, ...]], DocumentPath]) -> None:
    """What stands below details may point to a symbol that needs no details."""
    if table.form == "details":
        for (name, keys), place in list(places.items()):
            if name == table.above:
                places.setdefault((table.name, keys), place)


def _room(table: Table, row: Row, document: dict[str, Any], above: DocumentPath) -> DocumentPath | None:
    """Makes room for a row and says where; `None` where its name is taken."""
    if table.form in ("entries", "details"):
        return above
    holder: Any = document
    for step in above:
        holder = holder[step]
    for step in table.path[:-1]:
        holder = holder.setdefault(step, {})
    last = table.path[-1]
    place: DocumentPath = (*above, *table.path)
    if table.form == "rows":
        holder.setdefault(last, []).append({})
        return (*place, len(holder[last]) - 1)
    entries = holder.setdefault(last, {})
    if row.keys[-1] in entries:
        return None
    (column, *_) = table.columns
    entries[row.keys[-1]] = {} if column.path else [] if isinstance(column.shape, Several) else ""
    return (*place, row.keys[-1])


def _fill(made: Assembled, table: Table, number: int, row: Row, place: DocumentPath) -> None:
    document = made.documents[table.role]
    made.spots.setdefault((table.role, place), Spot(table.name, number))
    for path, value in row.values.items():
        whole: Sequence[str | int] = (*place, *path)
        holder: Any = document
        for at, step in enumerate(whole[:-1]):
            if isinstance(holder, dict) and step not in holder:
                holder[step] = {}
                made.spots.setdefault((table.role, tuple(whole[: at + 1])), Spot(table.name, number))
            holder = holder[step]
        holder[whole[-1]] = value
        made.spots[table.role, tuple(whole)] = Spot(table.name, number, path)
