"""An export into a run folder: read, mapped, checked against run and method, and written whole or not at all."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ubudget.errors import OutputExists, UnusableInput
from ubudget.files.atomic import replace_files
from ubudget.files.csv_text import parse_csv
from ubudget.files.export_cells import Walk
from ubudget.files.export_numbers import Signs, decimal_in
from ubudget.files.export_readings import Reader, Readings, Repeats
from ubudget.files.export_table import ExportTable, table_of
from ubudget.files.export_text import ExportText, read_export
from ubudget.files.export_values import Gathered, Known, SetAside
from ubudget.files.import_sources import MAPPING_NAME, RunFolder, bytes_of, mapping_path, read_folder, read_mapping
from ubudget.files.import_texts import import_block, readings_text, with_block
from ubudget.files.reading import in_order, records_from_texts
from ubudget.files.tables import readings_from
from ubudget.files.toml_text import parse_toml
from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_import import twice_findings
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.finding import Finding, stops
from ubudget.records.import_mapping import Kind, Mapping
from ubudget.records.import_record import ImportRecord
from ubudget.records.read_order import calibration_of, check_label
from ubudget.records.records import SourceText

MOST_LISTED = 200
"""Entries set aside that the run file lists: a cell of a workbook holds them."""


@dataclass(frozen=True)
class Import:
    """What an import found and made; nothing is written yet."""

    record: ImportRecord
    byte_order_mark: bool
    thousands: str
    layout: str
    lines: int
    head: int
    headings: int
    columns_aside: tuple[str, ...]
    aside: tuple[SetAside, ...]
    excluded: tuple[str, ...]
    standards: tuple[str, ...]
    """Standards taken over from the export."""
    findings: tuple[Finding, ...]
    readings: str
    """The text of readings.csv."""
    files: dict[Path, str]
    """File → text, to be written together."""
    run_file: Path


def import_export(
    export: str | os.PathLike[str], into: str | os.PathLike[str], mapping: str | os.PathLike[str] | None = None
) -> Import:
    """Reads an export by its mapping and checks it against the run; `write_import` then writes the files.

    Without `mapping`, `mapping.toml` of the run folder, else the one beside the method. Raises `UnusableInput` with
    every finding that stops."""
    run = read_folder(Path(into))
    path = mapping_path(run) if mapping is None else Path(mapping)
    chosen, text = read_mapping(path)
    content = bytes_of(Path(export))
    name = Path(export).name
    source, findings = read_export(content, name, chosen)
    table, faults = (None, []) if source is None else table_of(source, chosen)
    findings += faults
    if source is None or table is None:
        raise UnusableInput(findings)
    findings += list(_fit(chosen, run, path.name))
    gathered = Walk(table, chosen, known_of(run), name).gather()
    findings += gathered.findings
    signs, faults = _signs(chosen, gathered, name)
    findings += faults
    if signs is None:
        raise UnusableInput(in_order(findings))
    same = frozenset({*chosen.repeated, check_label(calibration_of(run.method)) or ""} - {""})
    repeated = Repeats(same, frozenset(check.label for check in run.run.file.checks) - same)
    readings = Reader(chosen, signs, name, wanted_unit(run, chosen), repeated).read(gathered)
    findings += readings.findings
    if not readings.rows and not stops(findings):
        accepted = "one reading or more that can be taken"
        findings.append(Finding("stop", name, "whole file", "no reading", accepted, "correct the mapping"))
    if stops(findings):
        raise UnusableInput(in_order(findings))
    return _made(run, chosen, text, path, source, table, gathered, readings, signs, findings)


def write_import(made: Import, *, force: bool = False) -> list[Path]:
    """Writes readings, run file and mapping together, or none of them; the files written.

    The run file gets the record of the import behind what it holds, and an earlier record goes. Raises
    `OutputExists` where readings.csv or another mapping is there and `force` is false, `NotWritable`."""
    changed = {path: text for path, text in made.files.items() if not _is(path, text)}
    for path in changed:
        if path != made.run_file and path.exists() and not force:
            raise OutputExists(f"{path}: the file exists already; allow replacing it (--force), or move it away")
    replace_files({path: text.encode("utf-8") for path, text in changed.items()}, force=True)
    return list(made.files)


def _is(path: Path, text: str) -> bool:
    return path.is_file() and path.read_bytes() == text.encode("utf-8")


# -- how it fits -------------------------------------------------------------------------------------------------------


def wanted_unit(run: RunFolder, mapping: Mapping) -> str:
    """The unit of readings.csv: that of the concentration, or of the readings."""
    if mapping.quantity == "intensity":
        return run.run.file.run.reading_unit
    symbols = run.method.symbols.values()
    return next((symbol.unit for symbol in symbols if isinstance(symbol, DeviceConcentration)), "")


def _fit(mapping: Mapping, run: RunFolder, name: str) -> list[Finding]:
    """What the mapping declares against what the method does with readings."""
    symbols = run.method.symbols.values()
    device = any(isinstance(symbol, DeviceConcentration) for symbol in symbols)
    found = []
    if mapping.quantity == "concentration" and not device:
        curves = any(isinstance(symbol, Calibration) for symbol in symbols)
        words = "concentrations, where the method calibrates intensities" if curves else "concentrations"
        accepted = 'a method with operation = "device concentration"'
        remedy = "export intensities, or use a method for concentrations"
        found.append(Finding("stop", name, "quantity", words, accepted, remedy))
    if mapping.quantity == "intensity" and device:
        words, accepted = "intensities, where the method takes concentrations of the device", "concentrations"
        found.append(Finding("stop", name, "quantity", words, accepted, "export concentrations"))
    found += twice_findings(mapping.already_applied, run.method, run.run, name, "already_applied")
    return found


def known_of(run: RunFolder) -> Known:
    """Labels and lines that an export may name."""
    labels: dict[str, Kind] = {standard.label: "standard" for standard in run.run.file.standards}
    labels |= {addition.solution: "sample" for addition in run.run.file.additions}
    labels |= {portion.solution: "blank" if portion.kind == "blank" else "sample" for portion in run.run.portions}
    roots = {portion.solution: portion.kind for portion in run.run.portions}
    labels |= {
        solution.label: "blank" if roots.get(solution.source) == "blank" else "sample" for solution in run.run.solutions
    }
    labels |= {check.label: "check" for check in run.run.file.checks}
    check = check_label(calibration_of(run.method))
    labels |= {check: "check"} if check else {}
    return Known(labels, dict(run.method.analytes))


def _signs(mapping: Mapping, gathered: Gathered, file: str) -> tuple[Signs | None, list[Finding]]:
    if mapping.decimal is not None:
        return Signs(mapping.decimal, mapping.thousands), []
    cells = [value.text for value in (*gathered.values, *gathered.nominals) if value.part != "n"]
    sign, fault = decimal_in(cells, mapping.marks)
    if sign is None:
        accepted = "one decimal sign in the whole file"
        remedy = "export again with one sign, or add decimal = … (and thousands = …) to the mapping"
        return None, [Finding("stop", file, "decimal sign", fault, accepted, remedy)]
    return Signs(sign, None), []


# -- what is made ------------------------------------------------------------------------------------------------------


def _made(
    run: RunFolder,
    mapping: Mapping,
    mapping_text: str,
    from_file: Path,
    source: ExportText,
    table: ExportTable,
    gathered: Gathered,
    readings: Readings,
    signs: Signs,
    findings: list[Finding],
) -> Import:
    aside = sorted([*gathered.aside, *readings.aside], key=lambda one: one.row)
    rows = len(table.rows) + len(table.text_rows)
    record = ImportRecord(
        file=source.file,
        sha256=source.sha256,
        mapping=from_file.name,
        mapping_sha256=hashlib.sha256(mapping_text.encode("utf-8")).hexdigest(),
        encoding=source.encoding,
        separator=source.separator,
        decimal=signs.decimal,
        quantity=mapping.quantity,
        units=tuple(f"{line}: {words}" for line, words in readings.units.items()),
        rows=rows,
        rows_taken=len(readings.kept_rows),
        rows_set_aside=rows - len(readings.kept_rows),
        values_taken=readings.values_taken,
        values_set_aside=len(gathered.values) - readings.values_taken,
        set_aside=_shortened([one.words for one in aside]),
        already_applied=mapping.already_applied,
    )
    block, standards, faults = import_block(record, readings, run.run, source.file)
    if faults:
        raise UnusableInput(in_order([*findings, *faults]))
    text = with_block(run.texts["run"].text, block)
    if parse_toml(text, run.run_file)[0] is None:
        accepted = "standards and readings left out as tables [[standard]] and [[exclude_reading]]"
        faults = [Finding("stop", run.run_file, "whole file", "such a list written inline", accepted, "write tables")]
        raise UnusableInput(faults)
    csv_text = readings_text(readings.rows, as_means=mapping.as_means)
    findings += _told(readings, mapping, source.file)
    findings += _checked(run, text, csv_text)
    if stops(findings):
        raise UnusableInput(in_order(findings))
    files = {run.folder / run.run.file.run.readings: csv_text, run.folder / run.run_file: text}
    beside = (run.folder / run.run.file.run.method).parent
    if from_file.parent.resolve() not in (run.folder.resolve(), beside.resolve()):
        files[run.folder / MAPPING_NAME] = mapping_text
    return Import(
        record,
        source.byte_order_mark,
        signs.thousands or "",
        mapping.layout,
        source.lines,
        table.head,
        1 + table.repeated if table.headings else 0,
        tuple(gathered.columns_aside),
        tuple(aside),
        tuple(
            f"line {one.row}: reading {one.replicate} of {one.solution} {one.analyte} {one.line}".strip()
            for one in readings.left_out
        ),
        tuple(standards),
        tuple(in_order(findings)),
        csv_text,
        files,
        run.folder / run.run_file,
    )


def _shortened(texts: list[str]) -> tuple[str, ...]:
    """What the run file lists; the report of the import lists all."""
    if len(texts) <= MOST_LISTED:
        return tuple(texts)
    return (*texts[:MOST_LISTED], f"and {len(texts) - MOST_LISTED} more, in the report that the import prints as JSON")


def _told(readings: Readings, mapping: Mapping, file: str) -> list[Finding]:
    """What a person must look at, though the work was done."""
    found = []
    for words, why in (("saturated", "saturated"), ("below a limit", "below"), ("above a limit", "above")):
        rows = [one for one in readings.aside if why in one.why]
        if rows:
            text = f"values {words}: {len(rows)}, set aside (first: {rows[0].words})"
            remedy = "measure again, or report by a rule of your own: a mean of the readings left leans away from these"
            found.append(Finding("attend", file, "values", text, "numbers", remedy))
    if "rsd" in mapping.parts:
        found.append(
            Finding(
                "note", file, "values", "s calculated from mean and RSD", "s, or the readings", "export s if you can"
            )
        )
    if readings.left_out:
        first = readings.left_out[0]
        text = f"readings marked as excluded: {len(readings.left_out)} (first: line {first.row})"
        remedy = "give the reason, who and when in [[exclude_reading]] of the run file"
        found.append(Finding("attend", file, "values", text, "a reason by a person for each", remedy))
    return found


def _checked(run: RunFolder, run_text: str, readings: str) -> Sequence[Finding]:
    """Findings of the whole run that its new readings bring; those of work that is still open are not told."""
    name = run.run.file.run.readings
    table, faults = parse_csv(readings, name)
    faults += readings_from(table, name)[1] if table is not None else []
    if faults:
        return faults
    texts = [replace(run.texts["run"], text=run_text), *(text for role, text in run.texts.items() if role != "run")]
    _, findings = records_from_texts([*texts, SourceText("readings", name, readings)])
    ours = [finding for finding in findings if finding.file == name or finding.place.startswith("exclude_reading")]
    # The readings are what the device gave; whether they will do is judged when the run is evaluated.
    return [replace(finding, severity="attend") for finding in ours if finding.severity == "stop"]
