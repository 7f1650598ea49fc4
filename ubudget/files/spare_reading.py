"""A filled workbook with spare rows read back: the files of the run that its filled rows make.

What is fixed (method, register, stock solutions) stands in the specimen's records; samples, standards and readings are
those typed. Rows without label are not there.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ubudget.files.opening import Cells
from ubudget.files.reading import USUAL_NAMES, records_from_texts
from ubudget.files.sheet_xml import text_as_stored
from ubudget.files.toml_writing import toml_text
from ubudget.pages.record_sheet import OpenCell, open_cells
from ubudget.pages.spare_model import READ_DILUTED
from ubudget.pages.spare_plan import FillCell, SparePlan, plan_spare
from ubudget.records.finding import Finding, stops
from ubudget.records.records import Edit, Records, SourceText
from ubudget.records.register import Equipment, ReferenceMaterial
from ubudget.records.spare_rows import spare_rows_from
from ubudget.records.spare_run import ware_of

Edits = tuple[list[Edit], list[Finding]]
_EXCLUDED = ("reason", "who", "when")


def read_filled(
    path: Path, book: Cells, texts: Sequence[SourceText], rows: str, edits_of: Callable[[list[OpenCell]], Edits]
) -> tuple[Records | None, list[Finding]]:
    """Records of a filled workbook; None, with findings, where its cells do not make a run."""
    specimen, findings = records_from_texts(texts)
    if specimen is None:
        return None, findings
    try:
        plan, findings = plan_spare(specimen, spare_rows_from(rows))
    except ValueError as error:
        return None, [
            Finding("stop", path.name, "sheet record", str(error), "numbers of rows", "use an unaltered copy")
        ]
    if plan is None:
        return None, findings
    filled = _Filled(path.name, book, plan, specimen)
    edited, faults = edits_of(open_cells(plan.book.sheets))
    faults = [*filled.faults, *faults]
    if stops(faults):
        return None, faults
    made = _texts(filled, specimen, texts)
    if stops(filled.faults):
        return None, filled.faults
    records, findings = records_from_texts(made, edited)
    told = [replace(each, file=path.name, place=f"{each.file}: {each.place}") for each in findings]
    return (None if records is None else replace(records, findings=tuple(told))), told


class _Filled:
    """What is typed, by part, row and field; faults are told with their cell."""

    def __init__(self, name: str, book: Cells, plan: SparePlan, specimen: Records) -> None:
        self.name, self.plan, self.specimen = name, plan, specimen
        self.faults: list[Finding] = []
        self.cells: dict[tuple[str, int, str], FillCell] = {}
        self.values: dict[tuple[str, int, str], str | float | dt.date] = {}
        self.fields: dict[tuple[str, int], list[str]] = {}
        for cell in (*plan.fills, *plan.overflow):
            if cell.sheet not in book.sheetnames:
                self._fault(cell, "no such sheet", "all sheets as issued", "use an unaltered copy")
                break
            stands = book.at(cell.sheet, cell.address)
            value = _typed(stands)
            if value == "":
                if isinstance(stands, str) and stands:
                    # Formulas take a space for an entry.
                    self._fault(cell, "spaces alone", "an entry, or an empty cell", "empty the cell")
                continue
            if cell in plan.overflow:
                self._fault(
                    cell, f"{str(value)[:40]!r} below the last row", "as many rows as planned", "make more rows"
                )
                continue
            if cell.fill.unit is not None and not isinstance(value, float):
                self._fault(cell, f"the text {str(value)[:40]!r}", "a number", "type a number")
                continue
            key = (cell.fill.part, cell.fill.row, cell.fill.field)
            self.cells[key], self.values[key] = cell, value
            self.fields.setdefault(key[:2], []).append(key[2])
        ids = [item.id for item in ware_of(specimen)]
        self.items = {item.lower(): item for item in reversed(ids)}

    def item(self, text: str) -> str:
        """The id of a piece of ware; a look-up takes small and capital letters alike."""
        return self.items.get(text.lower(), text)

    def _fault(self, cell: FillCell, found: str, accepted: str, remedy: str) -> None:
        self.faults.append(
            Finding("stop", self.name, f"sheet {cell.sheet}, cell {cell.address}", found, accepted, remedy)
        )

    def missing(self, fill: tuple[str, int, str], accepted: str) -> None:
        cell = next(c for c in self.plan.fills if (c.fill.part, c.fill.row, c.fill.field) == fill)
        self._fault(cell, "an empty cell", accepted, "fill it in, or empty the cells that belong to it")

    def wrong(self, fill: tuple[str, int, str], accepted: str) -> None:
        self._fault(self.cells[fill], repr(str(self.values[fill])[:40]), accepted, "correct the cell")

    def text(self, part: str, row: int, name: str) -> str:
        value = self.values.get((part, row, name), "")
        return value.isoformat() if isinstance(value, dt.date) else _plain(value) if isinstance(value, float) else value

    def number(self, part: str, row: int, name: str) -> float | None:
        value = self.values.get((part, row, name))
        return value if isinstance(value, float) else None

    def day(self, part: str, row: int, name: str) -> dt.date | None:
        value = self.values.get((part, row, name))
        if value is None or isinstance(value, dt.date):
            return value
        try:
            return dt.date.fromisoformat(str(value))
        except ValueError:
            self.wrong((part, row, name), "a date, yyyy-mm-dd")
            return None


def _typed(value: object) -> str | float | dt.date:
    """Number, day or text as typed; empty text for nothing."""
    if value is None or isinstance(value, bool):
        return "" if value is None else str(value)
    if isinstance(value, (int, float)):
        return float(f"{float(value):.15g}")
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    return text_as_stored(str(value)).strip()


def _plain(value: float) -> str:
    """A number as the files have it; whole numbers without point, so that a label stays what was typed."""
    return f"{value:.15g}"


@dataclass
class _Tables:
    """The files of the run under way."""

    samples: list[dict[str, str]] = field(default_factory=list)
    solutions: list[dict[str, str]] = field(default_factory=list)
    readings: list[list[str]] = field(default_factory=list)
    exclusions: list[dict[str, Any]] = field(default_factory=list)


def _texts(filled: _Filled, specimen: Records, texts: Sequence[SourceText]) -> list[SourceText]:
    tables = _Tables()
    document = tomllib.loads(next(text.text for text in texts if text.role == "run"))
    document["standard"] = _standards(filled, specimen, document.get("standard", []), tables)
    _portions(filled, tables)
    document["run"] = _heading(filled, specimen, document["run"], bool(tables.solutions))
    for name in ("exclude_reading", "change"):
        document.pop(name, None)
    if tables.exclusions:
        document["exclude_reading"] = tables.exclusions
    made = [SourceText("run", "run.toml", toml_text(document))]
    made += [text for text in texts if text.role in ("method", "register")]
    made.append(SourceText("samples", USUAL_NAMES["samples"], _csv(tables.samples)))
    if tables.solutions:
        made.append(SourceText("solutions", USUAL_NAMES["solutions"], _csv(tables.solutions)))
    replicates = max((len(row) - 3 for row in tables.readings), default=1)
    heads = ["solution", "analyte", "line", *(f"r{number}" for number in range(1, replicates + 1))]
    rows = [dict(zip(heads, row, strict=False)) for row in tables.readings]
    made.append(SourceText("readings", USUAL_NAMES["readings"], _csv(rows, heads)))
    return made


def _csv(rows: Sequence[Mapping[str, str]], heads: Sequence[str] = ()) -> str:
    columns = list(heads) or list(dict.fromkeys(key for row in rows for key in row)) or ["sample"]
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _heading(filled: _Filled, specimen: Records, sheet: dict[str, Any], solutions: bool) -> dict[str, Any]:
    """The table [run] of the day."""
    made = {key: value for key, value in sheet.items() if key not in ("dates", "remarks", "solutions")}
    made["id"] = filled.text("run", 0, "id")
    if not made["id"]:
        filled.missing(("run", 0, "id"), "the run's name")
    day = filled.day("run", 0, "date")
    if day is None and ("run", 0, "date") not in filled.values:
        filled.missing(("run", 0, "date"), "the date of the run, yyyy-mm-dd")
    if day is not None:
        made["date"] = day
        filled.faults += _other_certificates(filled, specimen, day)
    made["analyst"] = filled.text("run", 0, "analyst")
    made |= {"samples": USUAL_NAMES["samples"], "readings": USUAL_NAMES["readings"]}
    return made | ({"solutions": USUAL_NAMES["solutions"]} if solutions else {})


def _other_certificates(filled: _Filled, specimen: Records, day: dt.date) -> Iterator[Finding]:
    """Certificates issued between the day of the specimen and the run: the workbook calculates with older figures."""
    assert specimen.run is not None
    planned = specimen.run.file.run.date
    register = specimen.register
    items: list[Equipment | ReferenceMaterial] = []
    if register is not None:
        items = [*register.equipment, *register.reference_materials]
    for item in items:
        for certificate in item.certificates:
            if min(day, planned) < certificate.issued <= max(day, planned):
                yield Finding(
                    "stop",
                    filled.name,
                    f"date of the run, {day.isoformat()}",
                    f"certificate {certificate.number} of {item.id}, issued {certificate.issued.isoformat()}",
                    f"certificates as on {planned.isoformat()}, for which the workbook was made",
                    "write the workbook anew from a run of a later day",
                )


def _standards(
    filled: _Filled, specimen: Records, given: list[dict[str, Any]], tables: _Tables
) -> list[dict[str, Any]]:
    """Levels with a label and a reading. Prepared standards keep their place, to which edits refer."""
    made = []
    run = filled.plan.evaluation.records.run
    assert run is not None
    for number, planned in enumerate(run.file.standards):
        label = filled.text("level", number, "label")
        fields = filled.fields.get(("level", number), [])
        read = [name for name in fields if name.endswith("|reading")]
        if not label:
            if fields:
                filled.missing(("level", number, "label"), "the level's label")
            continue
        entry = dict(given[number]) if planned.steps else {"label": label}
        if planned.steps:
            made.append(entry | {"label": label})
        else:
            contents = {
                name: f"{_plain(value)} {unit}".strip()
                for name in fields
                if name not in ("label",) and "|" not in name
                for value in [filled.number("level", number, name)]
                for unit in [filled.cells["level", number, name].fill.unit or ""]
                if value is not None
            }
            if not read:
                continue
            made.append(entry | {"concentration": contents})
        _readings(filled, "level", number, "", _always(label), tables)
    return made


def _portions(filled: _Filled, tables: _Tables) -> None:
    structure = filled.plan.evaluation.assembly.structure
    assert structure is not None
    for part, portions in (("blank", structure.blanks), ("portion", structure.portions)):
        for number, planned in enumerate(portions):
            fields = filled.fields.get((part, number), [])
            read = [name for name in filled.fields.get(("reading", number), []) if name.startswith(f"{part}|")]
            label = filled.text(part, number, "sample")
            if not label:
                if fields or read:
                    filled.missing((part, number, "sample"), "the label of the row")
                continue
            row = {"sample": label, "portion": "1", "kind": planned.kind, "solution": label}
            row["matrix"] = filled.text(part, number, "matrix") or planned.matrix
            row["material"] = planned.reference_material
            for name in fields:
                if name not in ("sample", "matrix"):
                    unit = filled.cells[part, number, name].fill.unit
                    text = filled.text(part, number, name)
                    row[name if unit is None else f"{name} [{unit}]"] = filled.item(text) if unit is None else text
            tables.samples.append(row)
            solution_of = _dilution(filled, number if part == "portion" else -1, label, tables)
            _readings(filled, "reading", number, f"{part}|", solution_of, tables)


def _always(label: str) -> Callable[[str], str]:
    return lambda analyte: label


def _dilution(filled: _Filled, number: int, label: str, tables: _Tables) -> Callable[[str], str]:
    """Which solution was read on an analyte: the sample's own, or its further dilution."""
    pipette, flask = filled.text("step", number, "pipette"), filled.text("step", number, "flask")
    if not pipette and not flask:
        return _always(label)
    analytes = list(filled.specimen.method.analytes)
    not_read = {a for a in analytes if filled.number("step", number, f"{READ_DILUTED}{a}") == 0}
    diluted = f"{label}, diluted"
    reports = ";".join(analyte for analyte in analytes if analyte not in not_read) if not_read else ""
    if len(not_read) < len(analytes):
        tables.solutions.append(
            {
                "solution": diluted,
                "from": label,
                "dilution": f"{filled.item(pipette)} > {filled.item(flask)}",
                "reports": reports,
            }
        )
    return lambda analyte: label if analyte in not_read else diluted


def _readings(
    filled: _Filled, part: str, number: int, prefix: str, solution_of: Callable[[str], str], tables: _Tables
) -> None:
    """The readings of one row, without gaps: replicates count as typed, from the first on."""
    found: dict[tuple[str, str], list[tuple[int, str, float]]] = {}
    for name in filled.fields.get((part, number), []):
        value = filled.number(part, number, name)
        if value is not None and name.endswith("|reading") and name.startswith(prefix):
            key = name.removesuffix("|reading")
            analyte, line, replicate = key.removeprefix(prefix).split("|")
            found.setdefault((analyte, line), []).append((int(replicate), key, value))
    for (analyte, line), values in found.items():
        solution = solution_of(analyte)
        values.sort()
        tables.readings.append([solution, analyte, line, *(_plain(value) for _, _, value in values)])
        for place, (_, key, _) in enumerate(values, start=1):
            if reason := filled.text(part, number, f"{key}|reason"):
                mark: dict[str, Any] = {"solution": solution, "analyte": analyte, "line": line, "replicate": place}
                mark |= {"reason": reason, "who": filled.text(part, number, f"{key}|who")}
                day = filled.day(part, number, f"{key}|when")
                tables.exclusions.append(mark | ({"when": day} if day else {}))
