"""Values of an export as readings of the project: numbers, units, marks, measurements made again."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from ubudget.files.export_lines import unit_factor
from ubudget.files.export_numbers import Fate, Signs, in_other_unit, told_by
from ubudget.files.export_values import Gathered, SetAside, Value
from ubudget.files.fault_words import shown
from ubudget.records.finding import Finding
from ubudget.records.import_mapping import Mapping

WHY: dict[Fate, str] = {
    "missing": "no reading",
    "saturated": "saturated",
    "below a limit": "below a limit, no number",
    "above a limit": "above a limit, no number",
}
Slot = tuple[str, int | None]
LineKey = tuple[str, str, str]
"""Solution, analyte, line."""


@dataclass(frozen=True)
class Number:
    """A value that is a number, in the unit of the run."""

    text: str
    excluded: bool
    row: int


@dataclass(frozen=True)
class LeftOut:
    """A reading that the export marks as excluded; `replicate` counts in the readings as written."""

    solution: str
    analyte: str
    line: str
    replicate: int
    turn: int
    """Which of several measurements of the solution, from 1 on."""
    repeated: bool
    """Whether the solution is read again and again."""
    row: int


@dataclass(frozen=True)
class ReadingRow:
    """One row of readings.csv, numbers as text."""

    solution: str
    analyte: str
    line: str
    position: str
    values: tuple[str, ...]
    """Single readings, or mean, s and n."""


@dataclass
class Visit:
    """One measurement of a solution on a line."""

    key: LineKey
    position: str
    rerun: bool
    row: int
    started: int = 0
    """Which stretch of rows of one solution; readings without number stand together."""
    slots: dict[Slot, Number | None] = field(default_factory=dict)
    """`None` where the value was set aside."""


@dataclass
class Readings:
    rows: list[ReadingRow] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    nominals: dict[tuple[str, str], str] = field(default_factory=dict)
    """Solution and analyte → concentration with unit, of standards that the export states."""
    units: dict[str, str] = field(default_factory=dict)
    """Line → words on its unit."""
    kept_rows: set[int] = field(default_factory=set)
    values_taken: int = 0
    aside: list[SetAside] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)


@dataclass(frozen=True)
class Repeats:
    """Solutions that are measured again and again, each measurement counting."""

    same: frozenset[str]
    """Under the same label, as the drift check."""
    numbered: frozenset[str]
    """The second one as `CHK #2`."""


class Reader:
    """Turns what was gathered from one export into readings."""

    def __init__(self, mapping: Mapping, signs: Signs, file: str, wanted: str, repeats: Repeats) -> None:
        self.mapping, self.signs, self.file, self.wanted, self.repeats = mapping, signs, file, wanted, repeats
        self.result = Readings()
        self.factors: dict[str, Fraction | None] = {}
        self.told: set[tuple[str, str]] = set()

    def read(self, gathered: Gathered) -> Readings:
        visits: dict[LineKey, list[Visit]] = {}
        last = ""
        started = 0
        for value in gathered.values:
            started += value.solution != last
            last = value.solution
            self._enter(value, visits.setdefault((value.solution, value.analyte, value.line), []), started)
        kept: list[Visit] = []
        for key, made in visits.items():
            kept += self._counting(key, made)
        kept.sort(key=lambda visit: visit.row)
        turns: dict[LineKey, int] = {}
        for visit in kept:
            turns[visit.key] = turns.get(visit.key, 0) + 1
            self._write(visit, turns[visit.key])
        self._nominals(gathered.nominals)
        written = {(row.solution, row.analyte, row.line) for row in self.result.rows}
        empty = [" ".join(filter(None, key)) for key, made in visits.items() if made and key not in written]
        if empty and not self.result.findings:
            found = f"no reading that could be taken of {len(empty)} solutions and lines (first: {empty[0]})"
            accepted, remedy = "a number", "look at what was set aside, and measure again"
            self.result.findings.append(Finding("attend", self.file, "values", found, accepted, remedy))
        return self.result

    def stop(self, place: str, found: str, accepted: str, remedy: str) -> None:
        if (found, accepted) not in self.told:
            self.told.add((found, accepted))
            self.result.findings.append(Finding("stop", self.file, place, found, accepted, remedy))

    # -- values ------------------------------------------------------------------------------------------------------

    def _enter(self, value: Value, visits: list[Visit], started: int) -> None:
        number = self._number(value)
        if number is _FAULTY or not self._placed(value):
            return
        current = visits[-1] if visits else None
        slot: Slot = (value.part, value.replicate)
        unnumbered = value.part == "value" and value.replicate is None
        if unnumbered:
            # Without a number, readings are counted as they come, as many as the mapping says.
            current = None if current is None or current.started != started else current
            count = 0 if current is None else len(current.slots)
            slot = ("value", count % (self.mapping.n or 1) + 1)
        if current is None or slot in current.slots or value.position != current.position:
            key = (value.solution, value.analyte, value.line)
            current = Visit(key, value.position, value.rerun, value.row, started)
            visits.append(current)
            slot = ("value", 1) if unnumbered else slot
        current.slots[slot] = number
        current.rerun = current.rerun or value.rerun

    def _placed(self, value: Value) -> bool:
        """Whether the place in the order of reading is a whole number, where the export states places."""
        if self.mapping.columns.position is None or re.fullmatch(r"[1-9][0-9]{0,5}", value.position):
            return True
        place = f"line {value.row} ({value.words}), position"
        remedy = "correct the column, or take position out of the mapping: the order of the file counts then"
        self.stop(place, shown(value.position), "a whole number from 1 on", remedy)
        return False

    def _number(self, value: Value) -> Number | None:
        """The number, `None` where it is set aside, `_FAULTY` where it is neither."""
        marks = self.mapping.marks
        place = f"line {value.row} ({value.words})"
        told = told_by(value.text, marks, self.signs)
        fate = told.fate
        if value.flag in marks.saturated and value.flag:
            fate = "saturated"
        elif value.flag in marks.excluded and fate == "number":
            fate = "excluded"
        elif value.flag not in (*marks.fine, *marks.excluded, *marks.saturated):
            accepted = "a flag among fine, excluded and saturated of [marks]"
            self.stop(place, f"the flag {shown(value.flag)}", accepted, "add it to [marks] of the mapping")
            return _FAULTY
        if fate == "unknown":
            accepted = "a number, or a text that [marks] of the mapping knows"
            remedy = "add the text to [marks], or correct the mapping"
            if told.fault.startswith("a decimal"):
                accepted = f'one decimal sign in the whole file, here "{self.signs.decimal}"'
                remedy = "export again with one decimal sign"
            self.stop(place, f"{shown(value.text)}: {told.fault}", accepted, remedy)
            return _FAULTY
        if fate in WHY:
            found = f", {value.text[:40]}" if value.text else ""
            self.result.aside.append(SetAside(value.row, value.words, f"{value.part}: {WHY[fate]}{found}"))
            return None
        text = told.number
        if value.part not in ("n", "rsd"):
            factor = self._factor(value, place)
            if factor is None:
                return _FAULTY
            text = in_other_unit(text, factor)
        elif value.part == "n" and (not text.isdigit() or int(text) < 1):
            self.stop(place, f"n = {text}", "a whole number from 1 on", "correct the export")
            return _FAULTY
        return Number(text, fate == "excluded", value.row)

    def _factor(self, value: Value, place: str) -> Fraction | None:
        if value.unit not in self.factors:
            factor, meant, accepted, remedy = unit_factor(value.unit, self.mapping, self.wanted)
            self.factors[value.unit] = factor
            if factor is None:
                self.stop(f"{place}, unit", meant, accepted, remedy)
        factor = self.factors[value.unit]
        if factor is not None:
            meant = self.mapping.units.get(value.unit, value.unit)
            words = f"{value.unit}" if meant == value.unit else f"{value.unit}, meaning {meant}"
            words += f", written in {self.wanted or '1'}" if meant != self.wanted else ""
            line = f"{value.analyte} {value.line}".strip()
            self.result.units.setdefault(line, words)
        return factor

    # -- measurements made again ---------------------------------------------------------------------------------------

    def _counting(self, key: LineKey, visits: Sequence[Visit]) -> Iterator[Visit]:
        """The measurements that count: all of a solution read again and again, else one."""
        if len(visits) < 2 or key[0] in self.repeats.same:
            yield from visits
            return
        if key[0] in self.repeats.numbered:
            for turn, visit in enumerate(visits, start=1):
                yield visit if turn == 1 else replace(visit, key=(f"{key[0]} #{turn}", *key[1:]))
            return
        words = " ".join(part for part in key if part)
        if not all(visit.rerun for visit in visits[1:]) or self.mapping.rerun is None:
            again = next((visit for visit in visits[1:] if not visit.rerun), visits[1])
            found = f"{shown(key[0])} a second time (first in line {visits[0].row}), without a mark of a rerun"
            accepted = "each solution once, or a second measurement marked as one"
            remedy = "rename it in the export, or state rerun in the mapping: its mark, and which one counts"
            self.stop(f"line {again.row} ({words})", found, accepted, remedy)
            return
        chosen = visits[-1] if self.mapping.rerun.keep == "last" else visits[0]
        for visit in visits:
            if visit is not chosen:
                why = f"measured again in line {visits[-1].row}; {self.mapping.rerun.keep} counts"
                self.result.aside.append(SetAside(visit.row, words, why))
        yield chosen

    # -- rows --------------------------------------------------------------------------------------------------------

    def _write(self, visit: Visit, turn: int) -> None:
        if self.mapping.as_means:
            self._write_mean(visit)
            return
        words = " ".join(part for part in visit.key if part)
        wanted = self.mapping.n if self.mapping.columns.replicate is None and not self.mapping.columns.replicates else 0
        numbered = any(line.replicate is not None for line in self.mapping.lines)
        if wanted and not numbered and len(visit.slots) != wanted and not self.result.findings:
            found = f"{len(visit.slots)} readings of {words}"
            self.stop(f"line {visit.row} ({words})", found, f"{wanted} readings, as n says", "correct export or n")
            return
        numbers = [number for _, number in sorted(visit.slots.items(), key=lambda item: item[0][1] or 0)]
        kept = [number for number in numbers if number is not None]
        if not kept:
            return
        self.result.rows.append(ReadingRow(*visit.key, visit.position, tuple(number.text for number in kept)))
        self.result.kept_rows |= {number.row for number in kept}
        self.result.values_taken += len(kept)
        self.result.left_out += [
            LeftOut(*visit.key, replicate, turn, visit.key[0] in self.repeats.same, number.row)
            for replicate, number in enumerate(kept, start=1)
            if number.excluded
        ]

    def _write_mean(self, visit: Visit) -> None:
        """A mean with its s and n; one that is excluded or lacks s is set aside, as nothing can be left out of it."""
        words = " ".join(part for part in visit.key if part)
        pick: Callable[[str], Number | None] = lambda part: visit.slots.get((part, None))  # noqa: E731 - one short reader
        mean, s, rsd, n = pick("mean"), pick("s"), pick("rsd"), pick("n")
        if mean is None:
            return
        if s is None and rsd is not None:
            s = replace(rsd, text=f"{abs(float(mean.text)) * float(rsd.text) / 100:.15g}")
        if any(number is not None and number.excluded for number in (mean, s, n)):
            self.result.aside.append(SetAside(visit.row, words, "a mean excluded by the operator in the export"))
            return
        count = n.text if n is not None else str(self.mapping.n) if self.mapping.n is not None else ""
        if not count or (s is None and count != "1"):
            self.result.aside.append(SetAside(visit.row, words, f"a mean without {'s' if count else 'n'}"))
            return
        if s is not None and s.text.startswith("-"):
            self.stop(f"line {visit.row} ({words})", f"s = {s.text}", "zero or above", "correct the export")
            return
        values = (mean.text, "" if s is None else s.text, count)
        self.result.rows.append(ReadingRow(*visit.key, visit.position, values))
        numbers = [number for number in (mean, s, n) if number is not None]
        self.result.kept_rows |= {number.row for number in numbers}
        self.result.values_taken += len(numbers)

    def _nominals(self, nominals: Sequence[Value]) -> None:
        for value in nominals:
            told = told_by(value.text, self.mapping.marks, self.signs)
            if told.fate in WHY:
                continue
            place = f"line {value.row} ({value.words}), nominal"
            unit = self.mapping.units.get(value.unit, value.unit)
            factor, found, accepted, remedy = unit_factor(value.unit, self.mapping, unit)
            if told.fate != "number" or factor is None:
                found = found if factor is None else f"{shown(value.text)}: {told.fault or 'excluded'}"
                self.stop(place, found, accepted or "a concentration", remedy or "correct the export")
                continue
            key, stated = (value.solution, value.analyte), f"{told.number} {unit}"
            if self.result.nominals.setdefault(key, stated) != stated:
                found = f"{stated}, where another row states {self.result.nominals[key]}"
                self.stop(place, found, "one concentration of a standard", "correct the export")


_FAULTY = Number("", False, -1)
"""Stands for a value that is a finding."""
