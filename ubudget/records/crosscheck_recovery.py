"""Recovery: treatments that name symbols, materials of the register, and a study for what is to be tested."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.crosscheck_items import MATERIALS, material_called
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.recovery import COVERED, DEFINED, Recovery, ReferenceMaterialStudy


def recovery_findings(records: Records) -> list[Finding]:
    file = records.file("method")
    return [
        finding
        for name, symbol in records.method.symbols.items()
        if isinstance(symbol, Recovery)
        for finding in (*_treatments(records, file, name, symbol), *_materials(records, file, name, symbol))
    ]


def _treatments(records: Records, file: str, name: str, symbol: Recovery) -> Iterator[Finding]:
    studied = bool(symbol.reference_materials or symbol.spikes)
    for treatment in symbol.treatments:
        place = f"symbol {name}, treatment"
        words = treatment.treatment.strip()
        covered = COVERED.fullmatch(words)
        if covered and covered.group(1) not in records.method.symbols:
            found = f"covered by the unknown symbol {covered.group(1)}"
            accepted = f"the symbols of the method: {', '.join(records.method.symbols)}"
            yield Finding("stop", file, place, found, accepted, "correct the treatment")
        elif not covered and not DEFINED.fullmatch(words) and not studied:
            yield Finding(
                "stop",
                file,
                place,
                f'"{words}" without a study of recovery',
                "a table reference_material or spike",
                "add the study",
            )


def _materials(records: Records, file: str, name: str, symbol: Recovery) -> Iterator[Finding]:
    for number, study in enumerate(symbol.reference_materials, start=1):
        place = f"symbol {name}, reference_material {number}"
        if not study.item:
            continue
        material = material_called(records, study.item)
        if material is None or material.kind not in MATERIALS:
            found = f"{study.item}, which is no matrix reference material of the register"
            accepted = "a matrix reference material of the register"
            yield Finding("stop", file, f"{place}, item", found, accepted, "correct the item, or add it")
        elif study.certified is None and not _certified(records, study):
            yield Finding(
                "stop",
                file,
                f"{place}, item",
                f"{study.item}, which has no certified value for {study.analyte or 'a study without analyte'}",
                "a property with this analyte in its newest certificate of the day",
                "add the property, or write certified, U and k here",
            )


def _certified(records: Records, study: ReferenceMaterialStudy) -> bool:
    """Whether the newest certificate on the day of the run has a value for the study's analyte."""
    material = material_called(records, study.item)
    day = records.run.file.run.date if records.run else None
    certificates = material.certificates if material else ()
    issued = [certificate for certificate in certificates if day is None or certificate.issued <= day]
    newest = max(issued, key=lambda certificate: certificate.issued, default=None)
    return newest is not None and any(prop.analyte in ("", study.analyte) for prop in newest.properties)
