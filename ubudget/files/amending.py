"""Amendments applied to the raw documents, in their order, before anything is validated: documents in, documents out.

The given documents stay as they are. What an amendment writes is kept apart from them, and the amended documents are
made from the originals and the writes in force: an amendment that is undone leaves nothing behind.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from ubudget.files.amendment_fields import ABSENT, Spot, Write, relabelled, target_of
from ubudget.files.amendment_readings import Fault, Single, matching_rows, raw_key, reading_rows, singles_of, values_of
from ubudget.files.amendment_words import check_labels, reading_keys, solution_of, what_of
from ubudget.files.csv_text import CsvTable
from ubudget.files.editing import Document
from ubudget.files.fault_words import shown
from ubudget.records.amendments import Amended, Amendment, ReadingKey, place_of
from ubudget.records.finding import Finding
from ubudget.records.records import Role

Documents = dict[Role, Document]


@dataclass
class Applied:
    """One amendment, what it does, and whether it is in force."""

    number: int
    amendment: Amendment
    what: str
    writes: tuple[Write, ...] = ()
    singles: tuple[Single, ...] = ()
    leaves_out: bool = False
    active: bool = True
    target: Applied | None = None
    """What an undo undoes."""
    values: tuple[float, ...] = ()
    tested: int | None = None

    @property
    def spots(self) -> set[Spot]:
        if self.target is not None:
            return self.target.spots
        return {write.spot for write in self.writes} | {("include", single) for single in self.singles}

    def set_active(self, active: bool) -> None:
        self.active = active
        if self.target is not None:
            self.target.set_active(not active)


@dataclass
class Trail:
    """The amendments of one run, as far as they were applied."""

    base: Documents
    schemas: Mapping[Role, dict[str, Any]]
    entries: list[dict[str, Any]]
    """Readings that the run file leaves out itself."""
    applied: list[Applied] = field(default_factory=list)
    faults: list[tuple[int, str, Fault]] = field(default_factory=list)
    named: list[Single | None] = field(init=False)
    """The single reading that each of the entries names."""
    made: tuple[list[Write], Documents] = field(init=False)
    """Writes in force when the documents were last asked for, and the documents."""

    def __post_init__(self) -> None:
        self.made = ([], self.base)
        readings = self.base.get("readings")
        table = readings if isinstance(readings, CsvTable) else None
        self.named = [None if table is None else raw_key(table, entry) for entry in self.entries]

    def documents(self) -> Documents:
        """The originals with the writes in force."""
        writes = [write for done in self.applied if done.active for write in done.writes]
        before, made = self.made
        if len(before) > len(writes) or any(one is not other for one, other in zip(before, writes, strict=False)):
            before, made = [], self.base
        made = dict(made)
        for write in writes[len(before) :]:
            made[write.role] = _written(made[write.role], write)
        # Amendments are many, and each asks for the documents before it.
        self.made = (writes, made)
        return dict(made)

    def marks(self) -> dict[Single, Applied | dict[str, Any]]:
        """Single readings that are left out, each with what leaves it out."""
        marks: dict[Single, Applied | dict[str, Any]] = {}
        for entry, single in zip(self.entries, self.named, strict=True):
            if single is not None:
                marks.setdefault(single, entry)
        for done in (done for done in self.applied if done.active):
            for single in done.singles:
                if done.leaves_out:
                    marks[single] = done
                else:
                    marks.pop(single, None)
        return marks


@dataclass(frozen=True)
class AmendedDocuments:
    documents: Documents
    amendments: tuple[Amended, ...] = ()
    writes: tuple[tuple[int, Write], ...] = ()
    """Writes in force, each with the number of its amendment."""
    findings: tuple[Finding, ...] = ()


def amended(
    documents: Documents, amendments: tuple[Amendment, ...], file: str, schemas: Mapping[Role, dict[str, Any]]
) -> AmendedDocuments:
    """The documents as the amendments leave them, what each amendment does, and what is wrong with them.

    `schemas` are the JSON schemas of run and method, which know the keys of each table."""
    run = documents.get("run")
    entries = run.get("exclude_reading", []) if isinstance(run, dict) else []
    plain = isinstance(entries, list) and all(isinstance(entry, dict) for entry in entries)
    trail = Trail(documents, schemas, entries if plain else [])
    broken: set[str] = set()
    for number, amendment in enumerate(amendments, start=1):
        done = Applied(number, amendment, what_of(amendment, {a.number: a.what for a in trail.applied}))
        fault = _apply(trail, done)
        if fault is None:
            trail.applied.append(done)
        elif done.what not in broken:
            # A fault in the first amendment of a field would only be told again by those after it.
            trail.faults.append((number, done.what, fault))
            broken.add(done.what)
    findings = tuple(
        Finding("stop", file, place_of(number, what), fault.found, fault.accepted, fault.remedy)
        for number, what, fault in trail.faults
    )
    made = trail.documents()
    marks = trail.marks()
    if plain and isinstance(made.get("run"), dict) and isinstance(made.get("readings"), CsvTable):
        made["run"] = _with_marks(made, trail, marks)
    writes = tuple((done.number, write) for done in trail.applied if done.active for write in done.writes)
    return AmendedDocuments(made, tuple(_told(done, made) for done in trail.applied), writes, findings)


def _apply(trail: Trail, done: Applied) -> Fault | None:
    """Fills in what the amendment does; gives what is wrong with it."""
    act = done.amendment.act
    if act == "undo":
        fault = _undo(trail, done)
    elif act == "change":
        fault = _change(trail, done)
    elif act == "relabel":
        found = relabelled(trail.documents(), done.amendment.was.strip(), done.amendment.to.strip())
        fault = found if isinstance(found, Fault) else None
        done.writes = () if isinstance(found, Fault) else found
    else:
        fault = _mark(trail, done)
    fault = fault or _out_of_order(trail, done)
    if fault is None and done.target is not None:
        done.set_active(True)
    return fault


def _change(trail: Trail, done: Applied) -> Fault | None:
    amendment = done.amendment
    target = target_of(trail.documents(), amendment, trail.schemas)
    if isinstance(target, Fault):
        return target
    if not target.holds(amendment.was):
        before = _last_on(trail, {(target.role, target.place)})
        by = f", as amendment {before.number} left it" if before is not None else ""
        found = f"from = {shown(amendment.was)}, where the record holds {shown(target.text)}{by}"
        return Fault(found, f"from = {shown(target.text)}", "look which is right, and correct from")
    try:
        value = target.written(amendment.to)
    except ValueError as error:
        return Fault(f"to = {shown(amendment.to)}", str(error), "correct to")
    if target.holds(amendment.to):
        return Fault(f"to = {shown(amendment.to)}, which is what stands there", "another value", "correct to")
    done.writes = (Write(target.role, target.place, value),)
    return None


def _mark(trail: Trail, done: Applied) -> Fault | None:
    """Readings left out or restored."""
    amendment, readings = done.amendment, trail.documents().get("readings")
    if not isinstance(readings, CsvTable):
        return Fault("a run without readings", "a reading of the table readings", "correct the amendment")
    names = (amendment.solution, amendment.analyte, amendment.line, amendment.position, amendment.block)
    whole = amendment.act == "exclude solution" or (amendment.act == "restore" and amendment.replicate is None)
    if amendment.act == "exclude":
        if amendment.replicate is None:
            accepted = 'the replicate, or act = "exclude solution" for the whole'
            return Fault("an exclusion without replicate", accepted, "add replicate")
        if amendment.rule is None:
            accepted = '"assigned cause", "rule of the method", "Grubbs", "Dixon" or "Cochran"'
            return Fault("an exclusion without rule", accepted, "add the rule")
    rows = matching_rows(readings, *names) if whole else reading_rows(readings, *names)
    if isinstance(rows, Fault):
        return rows
    singles, fault = singles_of(readings, rows, amendment.replicate, done.what)
    if fault is not None:
        return fault
    marks = trail.marks()
    out = amendment.act != "restore"
    done.singles = tuple(single for single in singles if (single in marks) != out)
    done.leaves_out = out
    if not done.singles:
        stands = "left out already" if out else "not left out"
        accepted = "a reading that counts" if out else "a reading that is left out"
        return Fault(f"{done.what}, which is {stands}", accepted, "delete or correct the amendment")
    if amendment.act == "exclude":
        row = singles[0][0]
        counting = {n: value for n, value in values_of(readings, row).items() if (row, n) not in marks}
        done.values = tuple(counting.values())
        done.tested = list(counting).index(singles[0][1])
    return None


def _undo(trail: Trail, done: Applied) -> Fault | None:
    number = done.amendment.undoes
    target = next((earlier for earlier in trail.applied if earlier.number == number), None)
    if target is None:
        found = "an undo that names no amendment" if number is None else f"an undo of amendment {number}"
        return Fault(found, f"the number of an amendment before it, 1 to {done.number - 1}", "correct undoes")
    if not target.active:
        return Fault(f"an undo of amendment {number}, which is undone already", "one in force", "correct undoes")
    done.target = target
    later = _last_on(trail, target.spots)
    if later is not None and later.number > target.number:
        found = f"an undo of amendment {number}, upon which amendment {later.number} rests"
        done.target = None
        return Fault(found, "the last amendment of a field", f"undo amendment {later.number} first")
    return None


def _last_on(trail: Trail, spots: set[Spot]) -> Applied | None:
    """The last amendment in force of a place; undoing is none of its own."""
    touching = [d for d in trail.applied if d.active and d.target is None and d.spots & spots]
    return touching[-1] if touching else None


def _out_of_order(trail: Trail, done: Applied) -> Fault | None:
    """Amendments of one field follow each other in time."""
    for earlier in reversed(trail.applied):
        if earlier.spots & done.spots and _before(done.amendment, earlier.amendment):
            then, now = (_moment(a.amendment) for a in (earlier, done))
            found = f"{now}, before amendment {earlier.number} of the same field on {then}"
            return Fault(found, "amendments of one field in the order of time", "correct the date or the order")
    return None


def _before(one: Amendment, other: Amendment) -> bool:
    if one.when != other.when:
        return one.when < other.when
    # HH:MM and HH:MM:SS compare as texts.
    return bool(one.time and other.time) and one.time < other.time


def _moment(amendment: Amendment) -> str:
    return f"{amendment.when.isoformat()} {amendment.time}".strip()


def _written(document: Document, write: Write) -> Document:
    if isinstance(document, CsvTable):
        row, at = int(write.place[0]), int(write.place[1])
        cells = (*document.rows[row][:at], write.value, *document.rows[row][at + 1 :])
        return replace(document, rows=(*document.rows[:row], cells, *document.rows[row + 1 :]))
    # Only what lies on the way is another than before.
    made = copy.copy(document)
    holder: Any = made
    for step in write.place[:-1]:
        holder[step] = copy.copy(holder[step])
        holder = holder[step]
    if write.value is ABSENT:
        holder.pop(write.place[-1], None)
    else:
        holder[write.place[-1]] = copy.deepcopy(write.value)
    return made


def _with_marks(made: Documents, trail: Trail, marks: Mapping[Single, Applied | dict[str, Any]]) -> dict[str, Any]:
    """The run with an entry for each reading left out; entries that name no reading stay, to be told later."""
    readings = made["readings"]
    assert isinstance(readings, CsvTable)
    kept = []
    for entry, single in zip(trail.entries, trail.named, strict=True):
        if single is None:
            kept.append(entry)
        elif single in marks and isinstance(marks[single], dict):
            kept.append(entry | _labels(readings, single[0]))
    checks = check_labels(made.get("method"))
    for single, done in marks.items():
        if isinstance(done, Applied):
            ((solution, analyte, line, replicate, position, block),) = reading_keys(readings, (single,), checks)
            labels = {"solution": solution, "analyte": analyte, "line": line, "replicate": replicate}
            amendment = done.amendment
            told = {"reason": amendment.reason, "who": amendment.who, "when": amendment.when}
            apart = {"position": position, "block": block or None}
            kept.append(labels | told | {key: value for key, value in apart.items() if value is not None})
    run = made["run"]
    assert isinstance(run, dict)
    return {**run, "exclude_reading": kept} if kept or "exclude_reading" in run else run


def _labels(readings: CsvTable, row: int) -> dict[str, Any]:
    return {key: readings.cell(row, key) for key in ("solution", "analyte", "line")}


def _told(done: Applied, made: Documents) -> Amended:
    """What was applied, with the labels that its readings and rows bear in the end."""
    tables = [write for write in done.writes if isinstance(made[write.role], CsvTable)]
    solutions = {solution_of(made, write.role, int(write.place[0])) for write in tables}
    if done.amendment.act == "relabel":
        solutions |= {str(write.value) for write in done.writes if write not in tables}
    rows = {int(write.place[0]) for write in tables if write.role == "readings"} | {row for row, _ in done.singles}
    keys: tuple[ReadingKey, ...] = ()
    lines: set[tuple[str, str]] = set()
    readings = made.get("readings")
    if isinstance(readings, CsvTable):
        keys = reading_keys(readings, done.singles, check_labels(made.get("method")))
        if done.amendment.act != "relabel":
            lines = {(readings.cell(row, "analyte"), readings.cell(row, "line")) for row in rows}
    return Amended(
        done.number,
        done.amendment,
        done.what,
        not done.active,
        keys,
        tuple(sorted(solutions | {key[0] for key in keys})),
        tuple(sorted(lines)),
        done.values,
        done.tested,
    )
