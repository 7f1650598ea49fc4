"""Reference materials beside the method: the same basis and the same kind of measurand.

A value on dry mass, or of what an acid extracts, says nothing of a method that reports as received, or the total. Texts
are compared as written, and where they differ, by the words that name a basis or a kind of measurand.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from ubudget.records.crosscheck_items import material_called
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.recovery import Recovery

_MEASURANDS = {
    "total": "total",
    "extractable": "extractable",
    "extracted": "extractable",
    "leachable": "leachable",
    "leached": "leachable",
    "dissolved": "dissolved",
    "soluble": "soluble",
    "available": "available",
    "exchangeable": "exchangeable",
    "inorganic": "inorganic",
    "organic": "organic",
}
_BASES = {
    "dry": "dry",
    "dried": "dry",
    "received": "as received",
    "wet": "as received",
    "fresh": "as received",
    "ash": "ash",
    "ignited": "ignited",
    "filtered": "filtered",
    "unfiltered": "unfiltered",
}


def material_findings(records: Records) -> list[Finding]:
    return list(_materials(records))


def _materials(records: Records) -> Iterator[Finding]:
    document = records.method.document
    for item, where in _used(records).items():
        material = material_called(records, item)
        if material is None:
            continue
        for key, there, here, words in (
            ("basis", material.basis, document.basis, _BASES),
            ("measurand", material.measurand, document.measurand, _MEASURANDS),
        ):
            if _differ(there, here, words, plain=key == "basis"):
                yield Finding(
                    "attend",
                    records.file("register"),
                    f"reference_material {item}, {key}",
                    f'the {key} "{there}", while the method reports "{here}" ({where})',
                    f"a reference material whose {key} is that of the method",
                    "convert its value, use another material, or correct the words",
                )


def _used(records: Records) -> dict[str, str]:
    """Materials that speak for the method's trueness, and where they are named."""
    used = {
        study.item: f"symbol {name}"
        for name, symbol in records.method.symbols.items()
        if isinstance(symbol, Recovery)
        for study in symbol.reference_materials
        if study.item
    }
    for portion in records.run.portions if records.run else ():
        if portion.reference_material:
            used.setdefault(portion.reference_material, f"sample {portion.sample}")
    return used


def _differ(there: str, here: str, words: dict[str, str], plain: bool) -> bool:
    """Whether two texts name different things; a text that is not given is not compared.

    Without such words on both sides, a `plain` text counts as different when it is written differently."""
    first, second = (" ".join(text.casefold().split()) for text in (there, here))
    if not first or not second or first == second:
        return False
    named, wanted = ({words[word] for word in re.findall(r"[a-z]+", text) if word in words} for text in (first, second))
    if named and wanted:
        return named != wanted
    return plain
