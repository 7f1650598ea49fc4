"""Every value of an export with its solution, analyte and line: what long and wide forms have in common."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from ubudget.files.export_lines import Read, apart, is_unit, line_of
from ubudget.files.export_table import DataRow, ExportTable, plain, wanted_headings
from ubudget.files.export_values import Gathered, Known, Part, SetAside, Value
from ubudget.files.fault_words import shown
from ubudget.records.finding import Finding
from ubudget.records.import_mapping import Kind, LineText, Mapping, Place

_DATE = re.compile(
    r"[0-9]{1,4}[-./ ]+(?:[0-9]{1,2}|[^\W\d_]{3,9}\.?)(?:[-./ ]+[0-9]{2,4})?|[^\W\d_]{3,9}\.?[-./ ]+[0-9]{2,4}"
    r"|[0-9](?:[.,][0-9]+)?[eE]\+?[0-9]+"
)
"""What spreadsheets make of labels such as `1-2`, `MAR1` or `1E5`."""


class Walk:
    """One walk over the rows of an export."""

    def __init__(self, table: ExportTable, mapping: Mapping, known: Known, file: str) -> None:
        self.table, self.mapping, self.known, self.file = table, mapping, known, file
        self.at = {plain(name): number for number, name in enumerate(table.headings)}
        self.found = Gathered()
        self.told: set[tuple[str, str]] = set()
        self.declared = {plain(line.text) for line in mapping.lines}
        self.lines: dict[tuple[str, str], Read] = {}
        self.views: dict[tuple[str, str], str] = {}
        self.last = ("", "")
        """Label and type of the row above."""

    def gather(self) -> Gathered:
        wide = list(self._wide_columns()) if self.mapping.layout == "wide" else []
        self.found.columns_aside += [
            f"column {at}, without heading"
            for at, heading in enumerate(self.table.headings, start=1)
            if not heading and at not in self._by_position() and any(row.cells[at - 1] for row in self.table.rows)
        ]
        named = {plain(name) for name in wanted_headings(self.mapping)}
        if not wide and self.mapping.layout == "long":
            by_position = self._by_position()
            self.found.columns_aside += [
                heading
                for at, heading in enumerate(self.table.headings, start=1)
                if heading and plain(heading) not in named and at not in by_position
            ]
        self.found.aside += [SetAside(row.number, row.cells[0], "a line of text") for row in self.table.text_rows]
        for row in self.table.rows:
            solution = self._solution(row)
            if solution is None:
                continue
            if wide:
                self._wide_row(row, solution, wide)
            else:
                self._long_row(row, solution)
        return self.found

    def stop(self, place: str, found: str, accepted: str, remedy: str) -> None:
        """A finding, told once however many rows share it."""
        if (found, accepted) not in self.told:
            self.told.add((found, accepted))
            self.found.findings.append(Finding("stop", self.file, place, found, accepted, remedy))

    def cell(self, row: DataRow, place: Place | None) -> str:
        if place is None:
            return ""
        at = place - 1 if isinstance(place, int) else self.at[plain(place)]
        return row.cells[at] if at < len(row.cells) else ""

    def _by_position(self) -> set[int]:
        columns = self.mapping.columns
        places = (*vars(columns).values(), *columns.replicates)
        return {place for place in places if isinstance(place, int)}

    def unit_of(self, row: DataRow, line: LineText, at: Place) -> str:
        """The unit of a value: declared for its line, or stated in its row, its line's text or above its column. Two
        that differ stop; where none is stated, that of the mapping."""
        if line.unit and plain(line.text) in self.declared:
            return line.unit
        stated = [self.cell(row, self.mapping.columns.unit), line.unit, self.unit_above(at)]
        units = {plain(unit): unit for unit in reversed(stated) if is_unit(unit, self.mapping)}
        if len(units) > 1:
            found, accepted = f"the units {' and '.join(units)} for one value", "one unit"
            self.stop(f"line {row.number}", found, accepted, "correct the export, or state unit in a table [[line]]")
        return next(iter(units.values()), self.mapping.unit or next(filter(None, stated), ""))

    def unit_above(self, place: Place) -> str:
        """The unit in the line below the headings, or in the heading itself."""
        at = place - 1 if isinstance(place, int) else self.at[plain(place)]
        below = self.table.units[at] if at < len(self.table.units) else ""
        heading = self.table.headings[at] if at < len(self.table.headings) else ""
        within = re.fullmatch(r".*[(\[]([^()\[\]]+)[)\]]", heading)
        return below.strip("()[]") or (within.group(1) if within else "")

    # -- which solution ----------------------------------------------------------------------------------------------

    def _solution(self, row: DataRow) -> tuple[str, bool] | None:
        """Label in the run and whether it was measured again; `None` where the row is set aside or faulty."""
        mapping = self.mapping
        text = row.block if mapping.columns.solution is None else self.cell(row, mapping.columns.solution)
        text, of_type = self._from_above(text, self.cell(row, mapping.columns.type))
        place = f"line {row.number}" + (f" ({text[:40]})" if text else "")
        kind = self._kind(of_type, place)
        if kind == "set aside" or text in mapping.set_aside:
            self.found.aside.append(SetAside(row.number, text, "set aside by the mapping"))
            return None
        if not text:
            self.stop(place, "a row without label", "the label of a solution", "name it in the export or the mapping")
            return None
        label, again = text, bool(self.cell(row, mapping.columns.rerun))
        for ending in mapping.rerun.endings if mapping.rerun is not None else ():
            if label not in self.known.labels and label not in mapping.labels and label.endswith(ending):
                label, again = label[: -len(ending)].strip(), True
        label = mapping.labels.get(label, label)
        if label not in self.known.labels:
            if kind in ("standard", None) and self.cell(row, mapping.columns.nominal):
                return label, again
            self._unknown_label(place, label)
            return None
        of_run = self.known.labels[label]
        if kind is not None and "check" not in (kind, of_run) and kind != of_run:
            found = f"{shown(label)} as {kind}, where the run has it as {of_run}"
            self.stop(place, found, "one kind of solution under a label", "correct the run, or [types] and [labels]")
            return None
        return label, again

    def _from_above(self, label: str, of_type: str) -> tuple[str, str]:
        """Label and type of a row, those of the row above where a label stands in its first row alone."""
        if self.mapping.label_once and not label:
            label, of_type = self.last[0], of_type or self.last[1]
        self.last = (label, of_type)
        return label, of_type

    def _kind(self, text: str, place: str) -> Kind | None:
        if self.mapping.columns.type is None:
            return None
        if text not in self.mapping.types:
            accepted = f"the types of the mapping: {', '.join(self.mapping.types) or 'none yet'}"
            self.stop(place, f"the type {shown(text)}", accepted, "add it to [types] of the mapping")
            return None
        return self.mapping.types[text]

    def _unknown_label(self, place: str, label: str) -> None:
        accepted = "a standard, a solution of the samples table, a further dilution or a check of the run"
        remedy = "correct the run, or name it in [labels] or set_aside of the mapping"
        zeros = [known for known in self.known.labels if known.lstrip("0") == label.lstrip("0") and label]
        if _DATE.fullmatch(label):
            found = f"the unknown solution {shown(label)}, which looks like a date or number made of a label"
            remedy = "export again without a spreadsheet between, or name what it was in [labels] of the mapping"
        elif zeros:
            found = f"the unknown solution {shown(label)}, which the run has as {shown(zeros[0])}"
        else:
            found = f"the unknown solution {shown(label)}"
        self.stop(place, found, accepted, remedy)

    # -- the long form -----------------------------------------------------------------------------------------------

    def _long_row(self, row: DataRow, solution: tuple[str, bool]) -> None:
        columns = self.mapping.columns
        if columns.analyte_line is not None:
            key = (self.cell(row, columns.analyte_line), "")
        else:
            key = (self.cell(row, columns.analyte), self.cell(row, columns.line))
        if key not in self.lines:
            self.lines[key] = apart(*key, self.mapping, self.known.analytes)
        read = self.lines[key]
        place = f"line {row.number} ({solution[0]})"
        if read.line is not None and self._another_view(read, place):
            return
        if read.line is None:
            self.stop(place, read.fault, read.accepted, "correct the method, or map the text in a table [[line]]")
            return
        if read.line.part == "set aside":
            what = f"{solution[0]} {read.line.text}"
            self.found.aside.append(SetAside(row.number, what, f"set aside by the mapping: {read.line.reason}"))
            return
        for part, replicate, at in self._long_values(row, place):
            self.found.values.append(
                self._value(
                    row, solution, read.line, part, replicate, self.cell(row, at), self.unit_of(row, read.line, at)
                )
            )
        if columns.nominal is not None and self.cell(row, columns.nominal):
            text = self.cell(row, columns.nominal)
            unit = self.unit_above(columns.nominal) or self.mapping.nominal_unit
            value = self._value(row, solution, read.line, "value", None, text, unit)
            self.found.nominals.append(value)

    def _another_view(self, read: Read, place: str) -> bool:
        """Whether a line was read in another view before: axial and radial readings are not of one series."""
        assert read.line is not None
        first = self.views.setdefault((read.line.analyte, read.line.line), read.view)
        if read.view == first:
            return False
        found = f"{shown(read.line.text)}, a second view of the line that is read {first or 'without one'}"
        remedy = 'set one aside: a table [[line]] with part = "set aside" and a reason'
        self.stop(place, found, "one view of each line", remedy)
        return True

    def _long_values(self, row: DataRow, place: str) -> Iterator[tuple[Part, int | None, Place]]:
        columns = self.mapping.columns
        yield from (("value", number, at) for number, at in enumerate(columns.replicates, start=1))
        parts: list[tuple[Part, Place | None]] = [("mean", columns.mean), ("s", columns.s), ("n", columns.n)]
        parts.append(("rsd", columns.rsd))
        yield from ((part, None, at) for part, at in parts if at is not None)
        if columns.value is not None:
            counted = self._counted(row, place)
            if counted is not None:
                yield (*counted, columns.value)

    def _counted(self, row: DataRow, place: str) -> tuple[Part, int | None] | None:
        """Part and number of the reading that a row holds; `None` where it is set aside or faulty."""
        columns = self.mapping.columns
        if columns.statistic is not None:
            text = self.cell(row, columns.statistic)
            part = self.mapping.statistics.get(text)
            if part is None:
                accepted = f"the words of [statistics]: {', '.join(self.mapping.statistics) or 'none yet'}"
                self.stop(place, f"the statistic {shown(text)}", accepted, "add it to [statistics] of the mapping")
            elif part == "set aside":
                self.found.aside.append(SetAside(row.number, place, f"{text}, set aside by the mapping"))
            else:
                return part, None
            return None
        if columns.replicate is None:
            return "value", None
        text = self.cell(row, columns.replicate)
        if not re.fullmatch(r"[1-9][0-9]{0,3}", text):
            self.stop(place, f"the number of a reading {shown(text)}", "a whole number from 1 on", "correct the column")
            return None
        return "value", int(text)

    # -- the wide form -----------------------------------------------------------------------------------------------

    def _wide_columns(self) -> Iterator[tuple[int, LineText]]:
        """Position and meaning of every column that holds values."""
        named = {plain(name) for name in (*wanted_headings(self.mapping), *self.mapping.columns_set_aside)}
        by_position = self._by_position()
        seen: dict[tuple[str, str, str, int | None], str] = {}
        for at, heading in enumerate(self.table.headings):
            if plain(heading) in named or at + 1 in by_position or not heading:
                self.found.columns_aside += [heading] if heading in self.mapping.columns_set_aside else []
                continue
            read = line_of(heading, self.mapping, self.known.analytes)
            place = f"heading {at + 1}"
            if read.line is None:
                remedy = "map it in a table [[line]], name it in columns_set_aside, or correct the method"
                self.stop(place, read.fault, read.accepted, remedy)
                continue
            if read.line.part == "set aside":
                self.found.columns_aside.append(f"{heading}: {read.line.reason}")
                continue
            key = (read.line.analyte, read.line.line, read.line.part, read.line.replicate)
            if key in seen:
                found = f"{shown(heading)} for the same line as {shown(seen[key])}"
                self.stop(place, found, "one column for each line", 'set one aside: [[line]] with part = "set aside"')
                continue
            seen[key] = heading
            yield at, read.line

    def _wide_row(self, row: DataRow, solution: tuple[str, bool], columns: Iterable[tuple[int, LineText]]) -> None:
        row_part: tuple[Part, int | None] | None = ("value", None)
        if self.mapping.columns.statistic is not None or self.mapping.columns.replicate is not None:
            row_part = self._counted(row, f"line {row.number} ({solution[0]})")
        if row_part is None:
            return
        for at, line in columns:
            part, replicate = row_part
            if line.part != "value" and line.part != "set aside":
                part = line.part
            unit = self.unit_of(row, line, at + 1)
            self.found.values.append(
                self._value(row, solution, line, part, line.replicate or replicate, row.cells[at], unit)
            )

    # -- values ------------------------------------------------------------------------------------------------------

    def _value(
        self,
        row: DataRow,
        solution: tuple[str, bool],
        line: LineText,
        part: Part,
        replicate: int | None,
        text: str,
        unit: str,
    ) -> Value:
        columns = self.mapping.columns
        flag, position = self.cell(row, columns.flag), self.cell(row, columns.position)
        label, again = solution
        return Value(row.number, label, line.analyte, line.line, part, replicate, text, unit, flag, again, position)
