"""Sheets that are mostly words: status, method, register of equipment and materials."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from ubudget.bench.precision import case_words
from ubudget.evaluation.certificates import Register
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.book import Band, BandColumn, LooseCell, Style, Value
from ubudget.pages.coverage_words import rule_on_sheet
from ubudget.pages.layout import METHOD, STATUS, headline
from ubudget.pages.record_sheet import fingerprint
from ubudget.quantity.spelling import readable_text
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.register import Certificate, Equipment, ReferenceMaterial

WIDE = 6


def pairs(first_row: int, entries: Sequence[tuple[str, Value]], style: Style = "text") -> list[LooseCell]:
    """Name and content below each other, from `first_row` on; empty contents are left out."""
    cells = []
    row = first_row
    for name, content in entries:
        if content in (None, ""):
            continue
        cells.append(LooseCell(row, 1, name, "label"))
        cells.append(LooseCell(row, 2, content, "date" if isinstance(content, dt.date) else style, across=WIDE))
        row += 1
    return cells


def last_row_of(cells: Sequence[LooseCell], otherwise: int) -> int:
    return max((cell.row for cell in cells), default=otherwise)


def status_cells(
    evaluation: Evaluation,
    program: str,
    excluded: str | None,
    changed: str,
    flagged: str,
    further: Sequence[tuple[str, int, str]] = (),
) -> list[LooseCell]:
    """Document, revision, counts that stay live, and three fields that only people fill."""
    records = evaluation.records
    document = records.method.document
    run = records.run.file.run if records.run else None
    counts = {"stop": 0, "attend": 0, "note": 0}
    for finding in evaluation.findings:
        counts[finding.severity] += 1
    cells = headline(STATUS, "Open cells are framed and shaded; they may be edited. All others are locked.")
    cells += pairs(
        4,
        [
            ("method", f"{document.id}, {document.title}"),
            ("version and status", f"{document.version}, {document.status}"),
            ("effective", document.effective),
            ("next review", document.review),
            ("author, approver", ", ".join(part for part in (document.author, document.approver) if part)),
            ("run", run.id if run else "method file alone"),
            ("date of the run", run.date if run else None),
            ("analyst", run.analyst if run else None),
            ("stored values", f"were calculated by {program}; a program that recalculates the workbook replaces them"),
            ("fingerprint of the records", fingerprint(records.texts)),
        ],
    )
    row = last_row_of(cells, 4) + 2
    live: list[tuple[str, int, str]] = [
        (
            "reported results with findings that need a decision",
            sum(1 for result in evaluation.results if result.flags),
            flagged,
        ),
        ("open cells changed since this workbook was made", 0, changed),
    ]
    if excluded is not None:
        left_out = len(records.run.file.exclusions) if records.run else 0
        live.append(("readings left out", left_out, excluded))
    live += further
    for name, value, formula in live:
        cells.append(LooseCell(row, 1, name, "label"))
        cells.append(LooseCell(row, 2, value, "result", formula, number_format="0"))
        row += 1
    for name, severity in (("findings that need a decision", "attend"), ("notes", "note")):
        cells.append(LooseCell(row, 1, f"{name}, when this workbook was made", "label"))
        cells.append(LooseCell(row, 2, counts[severity], "number", number_format="0"))
        row += 1
    for person in ("prepared by, date", "checked by, date", "authorised by, date"):
        row += 1
        cells.append(LooseCell(row, 1, person, "label"))
        cells.append(LooseCell(row, 2, None, "sign", open=True, across=WIDE))
    return cells


def findings_band(findings: Sequence[Finding], top: int) -> Band | None:
    if not findings:
        return None
    columns = tuple(
        BandColumn(heading, [getattr(finding, heading) for finding in findings], "text", width=width)
        for heading, width in (
            ("severity", 10.0),
            ("file", 16.0),
            ("place", 24.0),
            ("found", 34.0),
            ("accepted", 34.0),
            ("remedy", 34.0),
        )
    )
    return Band("findings", top, 1, columns, "Findings when this workbook was made")


def method_cells(evaluation: Evaluation) -> list[LooseCell]:
    """Measurand, equation in full, rules, cautions and references."""
    method = evaluation.records.method
    document = method.document
    equations = evaluation.assembly.equations
    coverage = method.coverage
    rule = rule_on_sheet(coverage)
    digits = "two significant digits" if method.rounding.digits == 2 else "one significant digit, 5 % rule"
    entries: list[tuple[str, Value]] = [
        ("method", f"{document.id}, version {document.version}, {document.status}"),
        ("title", document.title),
        ("measurand", document.measurand),
        ("basis", document.basis),
        ("defined by", document.defined_by),
        ("unit", document.unit),
        ("result equation", f"{equations.result.name} = {readable_text(equations.result.expression)}"),
    ]
    entries += [
        (f"{part.name} =", f"{readable_text(part.expression)} [{part.unit or '1'}]") for part in equations.intermediates
    ]
    entries += [
        (symbol, f"{operation.quantity} ({operation.operation})") for symbol, operation in method.symbols.items()
    ]
    if method.several_lines:
        apart = f"lines apart: {method.several_lines.disagreement}"
        entries.append(("several lines", f"{method.several_lines.rule}; {apart}"))
    entries += [
        (f"derived: {derived.name}", f"{derived.measurand}: {derived.equation} [{derived.unit or '1'}]")
        for derived in method.derived
    ]
    entries += [
        ("coverage", rule),
        ("rounding of U", digits + "; the value to the same place"),
        (
            "target uncertainty",
            document.target_uncertainty.text if document.target_uncertainty else None,
        ),
        *((f"target, {case_words(one)}", f"{one.key} = {one.amount.text}") for one in method.targets),
        ("not included in U", document.not_included),
    ]
    entries += [(f"effect: {effect}", mark) for effect, mark in method.effects.items()]
    entries += [("caution", text) for text in document.cautions]
    entries += [("reference", text) for text in document.references]
    return [*headline(METHOD), *pairs(3, entries)]


def register_bands(records: Records, top: int) -> list[Band]:
    """All items of the register with their certificates, as text."""
    register = records.register
    if register is None:
        return []
    bands = []
    for name, title, items in (
        (
            "equipment register",
            f"Equipment: {register.title}, revision {register.revision}",
            register.equipment,
        ),
        ("material register", "Reference materials", register.reference_materials),
    ):
        rows = [(item, certificate) for item in items for certificate in (item.certificates or (None,))]
        if rows:
            bands.append(Band(name, top, 1, _register_columns(rows, Register(records)), title))
            top = bands[-1].last_row + 4
    return bands


def _register_columns(
    rows: Sequence[tuple[Equipment | ReferenceMaterial, Certificate | None]],
    register: Register,
) -> tuple[BandColumn, ...]:
    def lot(item: Equipment | ReferenceMaterial) -> str:
        if isinstance(item, ReferenceMaterial):
            return f"lot {item.lot}" + (f", expires {item.expiry}" if item.expiry else "")
        return item.use

    def values(certificate: Certificate | None) -> str:
        if certificate is None:
            return "no certificate"
        return "; ".join(
            f"{prop.analyte}{f'at {prop.at.text}:' if prop.at else ''} {prop.value.text}, U = {prop.U.text}, "
            f"{'k not stated' if prop.k is None else f'k = {prop.k:g}'}".strip()
            for prop in certificate.properties
        )

    def counts(item: Equipment | ReferenceMaterial, certificate: Certificate | None) -> str:
        used = item.id in register.uses and certificate is not None
        return "yes" if used and register.evidence(item.id).certificate is certificate else ""

    certificates = [certificate for _, certificate in rows]
    return (
        BandColumn("item", [item.id for item, _ in rows], "label", width=14.0),
        BandColumn("description", [item.description for item, _ in rows], "text", width=30.0),
        BandColumn("kind", [item.kind for item, _ in rows], "label", width=14.0),
        BandColumn("use, lot", [lot(item) for item, _ in rows], "text", width=15.0),
        BandColumn("certificate", [c.number if c else None for c in certificates], "text", width=15.0),
        BandColumn("issuer", [c.issuer if c else None for c in certificates], "text", width=18.0),
        BandColumn("accreditation", [c.accreditation if c else None for c in certificates], "text", width=14.0),
        BandColumn("route", [c.route if c else None for c in certificates], "text", width=14.0),
        BandColumn("issued", [c.issued if c else None for c in certificates], "date", width=12.0),
        BandColumn("due", [c.due if c else None for c in certificates], "date", width=12.0),
        BandColumn("counts here", [counts(item, c) for item, c in rows], "text", width=9.0),
        BandColumn("certified", [values(c) for c in certificates], "text", width=28.0),
        BandColumn("traceable to", [c.traceable_to if c else None for c in certificates], "text", width=24.0),
    )
