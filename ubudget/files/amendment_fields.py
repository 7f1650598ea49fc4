"""Fields that an amendment changes: where they stand in the raw documents, what stands there, what is written."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ubudget.files.amendment_readings import Fault, reading_rows
from ubudget.files.csv_text import CsvTable, Heading
from ubudget.files.editing import Document
from ubudget.files.fault_words import accepted_keys, shown
from ubudget.records.amendments import Amendment
from ubudget.records.amount import Amount, parse_amount
from ubudget.records.records import Role
from ubudget.records.unit_comparison import in_unit

Spot = tuple[str, tuple[str | int, ...]]
"""Record and place of one field: keys and 0-based positions, or data row and column of a table."""

ABSENT = object()
"""Stands where the record says nothing."""

_KEY = re.compile(r'"([^"]*)"|([^."]+)')
_NAMES = ("label", "id", "solution", "number", "name", "item")
_OWN_TABLES = ("amendment", "exclude_reading", "change")
_FILE_NAMES = ("method", "register", "samples", "solutions", "readings")
_LABELS: dict[Role, tuple[str, ...]] = {
    "samples": ("sample", "solution"),
    "solutions": ("solution", "from"),
    "readings": ("solution",),
}


@dataclass(frozen=True)
class Write:
    """A field given another content; `ABSENT` takes it out."""

    role: Role
    place: tuple[str | int, ...]
    value: Any

    @property
    def spot(self) -> Spot:
        return self.role, self.place


@dataclass(frozen=True)
class Target:
    """The field of a change, as it stands."""

    role: Role
    place: tuple[str | int, ...]
    stands: Any
    """Text of a cell, content of a key, `ABSENT`."""
    unit: str | None = None
    """Unit of the column, `None` where its heading has none."""

    @property
    def text(self) -> str:
        """What stands there, as `from` says it."""
        written = written_text(self.stands)
        return f"{written} {self.unit}" if written and self.unit not in (None, "", "1") else written

    def holds(self, was: str) -> bool:
        """Whether `from` says what stands there: the same text, or of quantities the same number in whatever unit.

        Labels are texts: 007 is not 7."""
        was, stands = was.strip(), written_text(self.stands)
        if was == stands or was == self.text:
            return True
        said, found = _amount(was), _amount(f"{stands} {self.unit or ''}".strip())
        if said is None or found is None:
            return False
        if not found.unit and self.unit is None and isinstance(self.stands, str):
            return False
        unit = said.unit or found.unit
        return in_unit(said.value, unit, found.unit) == found.value if unit != found.unit else said.value == found.value

    def written(self, to: str) -> Any:
        """The new content, of the kind of the old one. Raises `ValueError` with what is accepted."""
        to = to.strip()
        if isinstance(self.place[0], int):
            return self._cell(to)
        return ABSENT if not to else _typed(self.stands, to)

    def _cell(self, to: str) -> str:
        amount = _amount(to) if self.unit is not None else None
        if self.unit is None or not to or amount is None or not amount.unit:
            return to
        if amount.unit == self.unit:
            return to.removesuffix(amount.unit).strip()
        value = in_unit(amount.value, amount.unit, self.unit or "1")
        if value is None:
            raise ValueError(f"a number in {self.unit or '1'}")
        return f"{value:.15g}"


def target_of(
    documents: Mapping[Role, Document], amendment: Amendment, schemas: Mapping[Role, dict[str, Any]]
) -> Target | Fault:
    """The field that a change names."""
    record = amendment.record
    if record is None or not amendment.field:
        return Fault("a change without record or field", "both", "name the record and its field")
    document = documents.get(record)
    if document is None:
        return Fault(f"a change of {record}, which this run does not have", "a record of the run", "correct the record")
    if not isinstance(document, CsvTable):
        return _key_target(record, document, amendment.field, schemas[record])
    if record == "readings":
        names = (amendment.solution, amendment.analyte, amendment.line, amendment.position, amendment.block)
        rows = reading_rows(document, *names)
    else:
        rows = _named_rows(document, record, amendment.entry)
    if isinstance(rows, Fault):
        return rows
    at = next((n for n, h in enumerate(document.headings) if amendment.field in (h.key, h.text)), None)
    if at is None:
        headings = ", ".join(heading.key for heading in document.headings)
        return Fault(f"no column {shown(amendment.field)} in {record}", headings, "correct the field")
    heading: Heading = document.headings[at]
    return Target(record, (rows[0], at), document.rows[rows[0]][at], heading.unit)


def _named_rows(table: CsvTable, role: Role, entry: str) -> list[int] | Fault:
    """The one row that an entry names."""
    column = "sample" if role == "samples" else "solution"
    names = [table.cell(row, column) for row in range(len(table.rows))]
    rows = [row for row, name in enumerate(names) if name == entry and entry]
    if role == "samples" and not rows:
        rows = [
            row
            for row, name in enumerate(names)
            if entry in (f"{name}/{table.cell(row, 'portion') or '1'}", table.cell(row, "solution")) and entry
        ]
    if len(rows) == 1:
        return rows
    if not rows:
        return Fault(f"no row {shown(entry)} in {role}", f"a {column} of the table {role}", "correct the entry")
    portions = ", ".join(f"{entry}/{table.cell(row, 'portion') or '1'}" for row in rows)
    return Fault(f"{shown(entry)}, which has {len(rows)} rows", portions, "name one of them")


def _key_target(role: Role, document: dict[str, Any], field: str, schema: dict[str, Any]) -> Target | Fault:
    steps = [quoted or bare for quoted, bare in _KEY.findall(field)]
    if steps[:1] and (steps[0] in _OWN_TABLES or (role == "run" and steps[0] == "run" and steps[1:2] in _FILES)):
        return Fault(f"a change of {field}", "a field of what was measured", "append an amendment of its own act")
    place: list[str | int] = []
    holder: Any = document
    for step in steps[:-1]:
        found = _position(holder, step)
        if found is None:
            return _unknown(role, field)
        place.append(found)
        holder = holder[found]
    last = _position(holder, steps[-1]) if steps else None
    if last is None:
        if not isinstance(holder, dict) or not steps or steps[-1] not in accepted_keys(schema, tuple(place), document):
            return _unknown(role, field)
        return Target(role, (*place, steps[-1]), ABSENT)
    if isinstance(holder[last], dict) or _is_records(holder[last]):
        return Fault(f"{field}, which is a table", "a single field of it", "name the field, with dots between keys")
    return Target(role, (*place, last), holder[last])


_FILES = [[name] for name in _FILE_NAMES]


def _position(holder: Any, step: str) -> str | int | None:
    """Key of a table, or place of the entry of a list that bears a name."""
    if isinstance(holder, dict):
        return step if step in holder else None
    if isinstance(holder, list):
        for position, entry in enumerate(holder):
            if isinstance(entry, dict) and step in [str(entry[name]) for name in _NAMES if name in entry]:
                return position
    return None


def _is_records(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(entry, (dict, list)) for entry in value)


def _unknown(role: Role, field: str) -> Fault:
    accepted = "keys with dots between them, entries of a list by their label, e.g. standard.S3.concentration.Cu"
    return Fault(f"no field {shown(field)} in {role}", accepted, "correct the field")


def written_text(value: Any) -> str:
    """The content of a field as the record writes it; a list with semicolons."""
    if value is ABSENT:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, list):
        return "; ".join(written_text(entry) for entry in value)
    return value if isinstance(value, str) else repr(value)


def _typed(old: Any, to: str) -> Any:
    """Text as the kind of value that stood there."""
    if isinstance(old, str):
        return to
    if isinstance(old, list):
        entries = [part.strip() for part in to.split(";") if part.strip()]
        return [_typed(old[0], entry) for entry in entries] if old else entries
    if to in ("true", "false"):
        return to == "true"
    if isinstance(old, dt.date) or (old is ABSENT and re.fullmatch(r"\d{4}-\d{2}-\d{2}", to)):
        try:
            return dt.date.fromisoformat(to)
        except ValueError:
            raise ValueError("a date, year-month-day, e.g. 2025-03-04") from None
    amount = _amount(to)
    if amount is None or amount.unit:
        return to  # validation says what is accepted
    return int(amount.value) if re.fullmatch(r"[+-]?[0-9]+", to) and not isinstance(old, float) else amount.value


def _amount(text: str) -> Amount | None:
    try:
        return parse_amount(text)
    except ValueError:
        return None


def relabelled(documents: Mapping[Role, Document], was: str, to: str) -> tuple[Write, ...] | Fault:
    """Every place of the run that bears a label, with the new one. A portion's solution that takes its label from the
    sample follows it."""
    if not was or not to:
        return Fault("a label without from or to", "both", "say which label, and what it is now")
    labels = list(_labels(documents))
    if any(label == to for _, label in labels):
        return Fault(f"the label {shown(to)}, which another has", "a label that is free", "choose another label")
    new = {was: to}
    samples = documents.get("samples")
    if isinstance(samples, CsvTable):
        rows = [row for row in range(len(samples.rows)) if samples.cell(row, "sample") == was]
        if len(rows) > 1:
            numbers = [samples.cell(row, "portion") or "1" for row in rows if not samples.cell(row, "solution")]
            new |= {f"{was}/{number}": f"{to}/{number}" for number in numbers}
    writes = tuple(Write(role, place, new[label]) for (role, place), label in labels if label in new)
    if not writes:
        return Fault(f"the label {shown(was)}, which nothing bears", "a label of this run", "correct from")
    return writes


def _labels(documents: Mapping[Role, Document]) -> Iterator[tuple[tuple[Role, tuple[str | int, ...]], str]]:
    """Every place of a label of samples, solutions, standards and additions."""
    for role, columns in _LABELS.items():
        table = documents.get(role)
        if isinstance(table, CsvTable):
            places = [at for at, heading in enumerate(table.headings) if heading.key in columns]
            yield from (((role, (row, at)), cells[at]) for row, cells in enumerate(table.rows) for at in places)
    run = documents.get("run")
    for table_name, keys in (("standard", ("label", "from")), ("addition", ("solution", "added_to", "standard"))):
        entries = run.get(table_name, []) if isinstance(run, dict) else []
        for position, entry in enumerate(entries if isinstance(entries, list) else []):
            for key in keys:
                if isinstance(entry, dict) and isinstance(entry.get(key), str):
                    yield ("run", (table_name, position, key)), entry[key]
