"""Findings on a field that an amendment wrote name the amendment: the file that they name still holds the original."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from ubudget.files.amendment_fields import Write
from ubudget.files.csv_text import CsvTable
from ubudget.files.editing import Document
from ubudget.files.fault_words import place_words
from ubudget.records.amendments import place_of
from ubudget.records.finding import Finding
from ubudget.records.records import Role


def told_by_amendment(
    findings: Iterable[Finding],
    writes: Iterable[tuple[int, Write]],
    documents: Mapping[Role, Document],
    files: Mapping[Role, str],
) -> Iterator[Finding]:
    """The findings; `writes` are those in force, each with the number of its amendment."""
    written = [(number, write) for number, write in writes if write.role in documents]
    for finding in findings:
        numbers = [
            number
            for number, write in written
            if finding.file == files.get(write.role) and _is_about(finding.place, write, documents[write.role])
        ]
        if numbers:
            finding = replace(finding, place=f"{finding.place}, as {place_of(numbers[-1])} has it")
        yield finding


def _is_about(place: str, write: Write, document: Document) -> bool:
    if not isinstance(document, CsvTable):
        words = place_words(write.place, document)
        return place == words or place.startswith(f"{words}, ")
    row, heading = int(write.place[0]), document.headings[int(write.place[1])]
    return place.startswith(f"row {row + 1} (") and place.endswith((f", {heading.key}", f", {heading.text}"))
