"""The report of a check in the terminal: the verdict, then what was found, in groups."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence

from ubudget.pages.cells_as_read import CellValue
from ubudget.pages.check_report import FORMULA, LOCKED, STORED, Difference, Report

WIDTH = 80
SHOWN = 12
"""Lines of a group that are shown without `--all`."""
_LONGEST = 46
"""Signs of a formula or text that are shown."""
SAID_BY_GROUP = (FORMULA, LOCKED, STORED)
_KINDS = {
    "input": "inputs edited",
    "filled": "cells filled in",
    "choice": "choices of what a sheet shows",
    "signature": "fields filled by hand",
    "other": "other open cells changed",
}


def report_lines(report: Report, name: str, *, everything: bool = False) -> Iterator[str]:
    """Lines of at most 80 signs; long groups are shortened, unless `everything` is wanted."""
    yield from _wrapped(f"{name}: {verdict(report)}", "")
    for line in report.descent:
        yield from _wrapped(line, "  ")
    for title, entries in _groups(report):
        yield ""
        yield f"{title}: {len(entries)}"
        shown = entries if everything else entries[:SHOWN]
        for entry in shown:
            yield from _entry(entry)
        if len(shown) < len(entries):
            yield f"  … and {len(entries) - len(shown)} more ({_by_sheet(entries[len(shown) :])}); --all shows them"
    if report.not_compared:
        yield ""
        yield "not compared:"
        for line in report.not_compared:
            yield from _wrapped(line, "  ")
    yield ""
    yield from _wrapped(f"written by {report.program}; fingerprints of its records and of its plan:", "")
    yield f"records  {report.records_fingerprint}"
    if report.plan_fingerprint:
        yield f"plan     {report.plan_fingerprint}"


def verdict(report: Report) -> str:
    """The report in a sentence or two."""
    if report.altered_cells and not report.plan_fingerprint:
        said = "NOT INTACT. The original records were altered."
    elif not report.intact:
        said = f"NOT INTACT. {_counts(report)}."
    elif report.edited_inputs:
        said = f"intact; {_edited(report)}. Formulas and locked cells are as issued."
    elif report.not_compared:
        said = "intact as far as it could be compared."
    else:
        said = "intact. Nothing was changed since it was issued."
    if not report.intact and report.edited_inputs:
        said += f" {_edited(report).capitalize()}."
    if report.not_calculated:
        said += " Stored values are absent or older than an edit: recalculate, save, check again."
    elif report.edited_inputs and report.intact and not report.not_compared:
        said += " Stored values are those of the inputs as they stand."
    if report.descent:
        said += " It does NOT descend from what was named."
    return said


def _counts(report: Report) -> str:
    parts = (
        (report.broken_formulas, "formula broken", "formulas broken"),
        (report.altered_cells, "locked cell altered", "locked cells altered"),
        (report.structure, "change around the cells", "changes around the cells"),
        (report.disagreements, "stored value that disagrees", "stored values that disagree"),
    )
    return ", ".join(f"{len(found)} {one if len(found) == 1 else more}" for found, one, more in parts if found)


def _edited(report: Report) -> str:
    count = len(report.edited_inputs)
    return f"{count} open cell{'' if count == 1 else 's'} changed"


def _groups(report: Report) -> Iterator[tuple[str, Sequence[Difference]]]:
    groups: list[tuple[str, Sequence[Difference]]] = [
        ("formulas broken", report.broken_formulas),
        ("locked texts and numbers altered", report.altered_cells),
        ("rows, sheets, protection and what else stands around the cells", report.structure),
    ]
    for kind, title in _KINDS.items():
        groups.append((title, [entry for entry in report.edited_inputs if entry.field.kind == kind]))
    behind = ", as may follow from the above" if report.broken_formulas or report.structure else ""
    groups.append((f"stored values that are not the library's{behind}", report.disagreements))
    return ((title, entries) for title, entries in groups if entries)


def _entry(entry: Difference) -> Iterator[str]:
    place = f"{entry.sheet}!{entry.cell}" if entry.cell else entry.sheet or "file"
    if entry.expected is None and entry.found is None:
        yield from _wrapped(f"{place}  {entry.what}", "  ")
        return
    yield from _wrapped(f"{place}  {_shown(entry.expected)} → {_shown(entry.found)}", "  ")
    if entry.what not in SAID_BY_GROUP:
        yield from _wrapped(entry.what, "      ")


def _shown(value: CellValue) -> str:
    if value is None:
        return "(empty)"
    if isinstance(value, float):
        return f"{value:.15g}"
    clean = "".join(letter if letter.isprintable() else " " for letter in value)
    return clean if len(clean) <= _LONGEST else f"{clean[: _LONGEST - 1]}…"


def _by_sheet(entries: Sequence[Difference]) -> str:
    counts = Counter(entry.sheet or "file" for entry in entries)
    return ", ".join(f"{sheet} {count}" for sheet, count in counts.most_common(2)) + (", …" if len(counts) > 2 else "")


def _wrapped(text: str, indent: str) -> Iterator[str]:
    clean = "".join(letter if letter.isprintable() else " " for letter in text)
    yield from textwrap.wrap(
        clean, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}    ", break_on_hyphens=False
    )
