"""What a person names on the command line by labels with slashes between them, matched against the readings of a run.

Labels may hold slashes themselves; therefore the whole name is compared, and not taken apart first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.files.amended_run import documents_as_they_stand
from ubudget.files.amendment_readings import bare_readings
from ubudget.files.csv_text import CsvTable
from ubudget.files.reading import read_records


def require_text(run: Path) -> None:
    """Raises `UbudgetError` for anything but a run folder or a run file: amendments are appended to text."""
    if not run.is_dir() and run.suffix.lower() != ".toml":
        raise UbudgetError(
            f"{run}: found no run folder; accepted: a run folder or its run file; convert a workbook into a folder, or "
            "write the amendment into its own table"
        )


Names = dict[str, Any]
_FIELDS = ("solution", "analyte", "line")


def line_named(run: Path, name: str) -> Names:
    """`SOLUTION/ANALYTE/LINE`, `SOLUTION/ANALYTE` where it has one line, or `SOLUTION`.

    A name that nothing bears is taken apart as it stands, and found wanting with the amendment."""
    for labels in _known(run):
        for count in (3, 2, 1):
            if name == "/".join(part for part in labels[:count] if part):
                return {key: label for key, label in zip(_FIELDS, labels[:count], strict=False) if label}
    return {key: part for key, part in zip(_FIELDS, name.split("/", 2), strict=False) if part}


def reading_named(run: Path, name: str) -> Names:
    """`SOLUTION/ANALYTE/LINE/REPLICATE`, or `SOLUTION/ANALYTE/REPLICATE` where the analyte has one line.

    Raises `UbudgetError` where the replicate is missing."""
    labels, _, replicate = name.rpartition("/")
    if not labels or not replicate.isascii() or not replicate.isdigit() or int(replicate) < 1:
        raise UbudgetError(f"{name}: found no replicate; accepted: SOLUTION/ANALYTE/LINE/REPLICATE; add its number")
    named = line_named(run, labels)
    # A line that is left out is filled in, so that the record says which reading is meant.
    lines = {known[2] for known in _known(run) if known[:2] == (named.get("solution"), named.get("analyte"))}
    if "line" not in named and len(lines) == 1 and (line := lines.pop()):
        named["line"] = line
    return named | {"replicate": int(replicate)}


def is_reading(run: Path, name: str) -> bool:
    """Whether a name ends with a replicate, and does not name a whole solution or line."""
    known = {"/".join(part for part in labels[:count] if part) for labels in _known(run) for count in (1, 2, 3)}
    last = name.rpartition("/")[2]
    return name not in known and last.isascii() and last.isdigit()


def _known(run: Path) -> list[tuple[str, str, str]]:
    require_text(run)
    records, findings = read_records(run)
    if records is None:
        raise UnusableInput(findings)
    table = documents_as_they_stand(records.texts).get("readings")
    rows = bare_readings(table) if isinstance(table, CsvTable) else []
    return [(reading.solution, reading.analyte, reading.line) for reading in rows]
