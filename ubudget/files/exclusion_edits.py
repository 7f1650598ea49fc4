"""Readings that a person leaves out, or takes back, in the cells of a workbook: mark, reason, who and when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from typing import Any, cast

from ubudget.records.finding import Finding
from ubudget.records.records import Edit, Role

NO_REASON = "no reason given in the workbook"
_TRAIL = ("include", "reason", "who", "when")
_MISSING = {"reason": "a reason", "who": "the name of who did it", "when": "the date"}

_ReadingKey = tuple[str, str, str, int, int | None, str]
"""Solution, analyte, line, replicate; position where a solution was read several times; calibration block."""


def is_trail(edit: Edit) -> bool:
    """Whether an edit belongs to the trail of excluded readings, which no field of the record shows as such."""
    return edit.document == "run" and bool(edit.path) and edit.path[0] in _TRAIL


def apply_trail(run: dict[str, Any], edits: Iterable[Edit], file: str) -> list[Finding]:
    """Excluded readings in the raw run: marks first, then what stands beside them, in whatever order the cells come."""
    trail = [edit for edit in edits if is_trail(edit)]
    findings = [
        misfit(edit, "a reading that the edit does not name", {"run": file})
        for edit in trail
        if _reading_of(edit) is None
    ]
    named = [edit for edit in trail if _reading_of(edit) is not None]
    entries = run.get("exclude_reading", [])
    if not named or not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        return findings
    made = []
    for edit in (edit for edit in named if edit.path[0] == "include"):
        key = _reading_of(edit)
        if edit.value == 1:
            entries = [entry for entry in entries if _key(entry) != key]
        elif edit.value != 0:
            findings.append(_bad_mark(edit, file))
        elif key is not None and not any(_key(entry) == key for entry in entries):
            made.append(_exclusion(key))
            entries = [*entries, made[-1]]
    for edit in (edit for edit in named if edit.path[0] != "include"):
        excluded = [entry for entry in entries if _key(entry) == _reading_of(edit)]
        for entry in excluded:
            _write(entry, str(edit.path[0]), str(edit.value).strip())
        if not excluded and str(edit.value).strip():
            findings.append(_alone(edit, file))
    run["exclude_reading"] = entries
    for entry in entries:
        if any(entry is new for new in made) or entry.get("reason") == NO_REASON:
            findings.extend(_incomplete(entry, file))
    return findings


def _write(entry: dict[str, Any], field: str, text: str) -> None:
    if field == "reason":
        entry["reason"] = text or NO_REASON
    elif field == "who":
        entry["who"] = text
    elif not text:
        entry.pop("when", None)
    else:
        try:
            entry["when"] = dt.date.fromisoformat(text)
        except ValueError:
            entry["when"] = text  # validation says what a date looks like


def _incomplete(entry: dict[str, Any], file: str) -> Iterator[Finding]:
    """What a reading left out in the workbook lacks: the trail needs reason, name and date (ISO/IEC 17025, 7.5.2)."""
    missing = [field for field in _MISSING if not entry.get(field) or entry.get(field) == NO_REASON]
    if missing:
        yield Finding(
            "attend",
            file,
            f"exclude_reading {_named(_key(entry))}",
            f"a reading left out without {' and '.join(_MISSING[field] for field in missing)}",
            "reason, name and date for every reading left out",
            "write them beside the mark",
        )


def _reading_of(edit: Edit) -> _ReadingKey | None:
    names, numbers = edit.path[1:4], edit.path[4:]
    block = str(numbers[-1]) if numbers and isinstance(numbers[-1], str) else ""
    numbers = numbers[:-1] if block else numbers
    if not all(isinstance(name, str) for name in names) or not all(isinstance(number, int) for number in numbers):
        return None
    if len(names) != 3 or len(numbers) not in (1, 2):
        return None
    return cast(_ReadingKey, (*(*names, *numbers, None)[:5], block))


def _key(entry: dict[str, Any]) -> tuple[Any, ...]:
    return (
        entry.get("solution"),
        entry.get("analyte"),
        entry.get("line", ""),
        entry.get("replicate"),
        entry.get("position"),
        entry.get("block", ""),
    )


def _exclusion(key: _ReadingKey) -> dict[str, Any]:
    solution, analyte, line, replicate, position, block = key
    entry = {
        "solution": solution,
        "analyte": analyte,
        "line": line,
        "replicate": replicate,
        "reason": NO_REASON,
    }
    apart = {"position": position, "block": block or None}
    return entry | {name: value for name, value in apart.items() if value is not None}


def _named(key: tuple[Any, ...]) -> str:
    solution, analyte, line, replicate, *apart = key
    where = "".join(f" in block {part}" if isinstance(part, str) else f" at position {part}" for part in apart if part)
    return " ".join(str(part) for part in (solution, analyte, line) if part) + f" replicate {replicate}{where}"


def _alone(edit: Edit, file: str) -> Finding:
    return Finding(
        "attend",
        file,
        f"exclude_reading {_named(edit.path[1:])}",
        "a reason, name or date beside a reading that is included",
        "these with the include mark 0",
        "set the mark to 0 or delete them",
    )


def _bad_mark(edit: Edit, file: str) -> Finding:
    place = f"include mark of {_named(edit.path[1:])}"
    found = f"{edit.value:.15g}" if isinstance(edit.value, float) else str(edit.value)[:60]
    return Finding("stop", file, place, found, "1 (included) or 0 (left out)", "correct the mark")


def misfit(edit: Edit, fault: str, files: dict[Role, str]) -> Finding:
    place = ", ".join(str(step + 1 if isinstance(step, int) else step) for step in edit.path) or "no place"
    return Finding(
        "stop",
        files.get(edit.document, edit.document),
        place,
        f"an edit of {fault}",
        "edits of fields that the record has",
        "make the workbook anew from the records",
    )
