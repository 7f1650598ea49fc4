"""A mapping suggested for an export: what its text tells, and what a person must decide.

What is not told by the file is left open, so that an import by the unfinished mapping is refused."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ubudget.errors import UnusableInput
from ubudget.files.atomic import replace_file
from ubudget.files.export_lines import is_unit, line_of
from ubudget.files.export_numbers import decimal_in
from ubudget.files.export_table import plain
from ubudget.files.export_text import Row, decoded, read_export, separators_in
from ubudget.files.import_sources import MAPPING_NAME, RunFolder, bytes_of, read_folder
from ubudget.files.importing import known_of
from ubudget.files.toml_text import LONGEST_TEXT
from ubudget.files.toml_writing import toml_text
from ubudget.records.import_mapping import Columns, Mapping, Marks

NAMES: dict[str, tuple[str, ...]] = {
    "solution": ("solution", "solution label", "label", "sample", "sample label", "sample name", "sample id", "name"),
    "type": ("type", "sample type", "kind"),
    "analyte": ("element", "analyte", "symbol"),
    "line": ("line", "wavelength", "mass", "nm"),
    "replicate": ("replicate", "rep", "repeat", "reading", "replicate no"),
    "mean": ("mean", "average"),
    "s": ("sd", "s", "std dev", "standard deviation", "stdev"),
    "n": ("n", "number of readings", "count"),
    "value": ("value", "result", "intensity", "concentration", "conc", "signal"),
    "unit": ("unit", "units"),
    "flag": ("flag", "flags", "mark", "status"),
    "rerun": ("rerun",),
    "statistic": ("statistic", "statistics"),
    "position": ("position", "pos", "no", "nr"),
    "nominal": ("nominal", "nominal concentration", "target"),
}
"""Headings that say what stands below them, small letters, without unit (common practice, no source)."""
MOST_LABELS = 20
"""Unknown labels that a suggestion lists."""
_REPLICATE = re.compile(r"(?:r|rep|replicate|reading)\.? ?([1-9][0-9]?)")
_APPLIED = "dilution, weight and volume, blank, calibration blank, internal standard, drift, recovery"


@dataclass
class Suggestion:
    document: dict[str, Any] = field(default_factory=dict)
    open: list[str] = field(default_factory=list)
    """What a person must decide."""


def suggested(export: Path, into: Path) -> Suggestion:
    """The suggestion for an export into a run folder. Raises `UnusableInput` where it cannot be read as a table."""
    run = read_folder(into)
    content, made = bytes_of(export), Suggestion()
    made.document = {"kind": "import mapping"}
    made.open.append(f"already_applied: what the device applied, [] for nothing; accepted: {_APPLIED}")
    text, findings = decoded(content, export.name, None)
    if text is None and b"\x00" not in content:
        text, findings = decoded(content, export.name, "windows-1252")
        made.document["encoding"] = "windows-1252"
        made.open.append("encoding: the bytes are not UTF-8, windows-1252 is an assumption")
    if text is None:
        raise UnusableInput(findings)
    signs = separators_in(text.text)
    if not signs:
        made.open.append("separator: no sign parts the cells of most lines")
        return made
    if len(signs) > 1:
        made.open.append(f"separator: {' or '.join(signs)}, the first is an assumption")
    made.document["separator"] = signs[0]
    source, findings = read_export(content, export.name, _reading_only(made.document))
    if source is None:
        raise UnusableInput(findings)
    at = max(range(len(source.rows)), key=lambda number: (_likeness(source.rows[number], run), -number))
    heading = source.rows[at]
    if _likeness(heading, run) < 2:
        made.open.append("columns: no line looks like headings; name columns by position, with heading_row")
        return made
    made.document["heading_row"] = heading.number
    below = [row for row in source.rows[at + 1 :] if len(row.cells) > 1]
    _columns(made, heading, below, run)
    return made


def write_suggestion(made: Suggestion, into: Path, mapping: Path | None, *, force: bool) -> Path:
    """Writes the mapping file. Raises `OutputExists`, `NotWritable`."""
    folder = into.parent if into.suffix == ".toml" else into
    path = folder / MAPPING_NAME if mapping is None else mapping
    head = "# Suggested by ubudget from one export. To be read, completed and checked by a person.\n"
    notes = "".join(f"# open: {line}\n" for line in made.open)
    replace_file(path, f"{head}{notes}\n{toml_text(made.document)}".encode(), force=force)
    return path


def _reading_only(document: dict[str, Any]) -> Mapping:
    """A mapping that is good for cutting the file into cells, and for nothing else."""
    return Mapping(
        kind="import mapping",
        layout="long",
        quantity="intensity",
        columns=Columns(solution=1, analyte_line=1, value=1),
        n=1,
        encoding=document.get("encoding"),
        separator=document["separator"],
        already_applied=(),
    )


def _bare(heading: str) -> str:
    """A heading without unit, dots and capitals."""
    return re.sub(r"[(\[].*?[)\]]", "", plain(heading)[:LONGEST_TEXT]).replace(".", "").strip().lower()


def _role(heading: str) -> str:
    return next((role for role, names in NAMES.items() if _bare(heading) in names), "")


def _is_line(text: str, run: RunFolder) -> bool:
    read = line_of(text, _reading_only({"separator": ";"}), run.method.analytes)
    return read.line is not None or "a line that" in read.fault


def _likeness(row: Row, run: RunFolder) -> int:
    """How many cells of a row look like headings."""
    return sum(
        bool(_role(cell)) or bool(_REPLICATE.fullmatch(_bare(cell))) or _is_line(cell, run)
        for cell in row.cells
        if cell
    )


def _columns(made: Suggestion, heading: Row, below: Sequence[Row], run: RunFolder) -> None:
    columns: dict[str, Any] = {}
    for cell in heading.cells:
        role = _role(cell)
        if role and role in columns:
            made.open.append(f"columns.{role}: {columns[role]} or {cell}, the first is an assumption")
        elif role:
            columns[role] = cell
    replicates = [cell for cell in heading.cells if _REPLICATE.fullmatch(_bare(cell))]
    lines = [cell for cell in heading.cells if cell and not _role(cell) and _is_line(cell, run)]
    made.document["layout"] = "wide" if lines else "long"
    if lines:
        for role in ("analyte", "line", "value", "mean", "s", "n"):
            columns.pop(role, None)
        values = lines
        if "replicate" not in columns:
            made.open.append("n: the readings of each solution, or behind each value")
    else:
        if replicates:
            columns = {role: place for role, place in columns.items() if role not in ("value", "mean", "s", "n")}
            columns["replicates"] = replicates
        elif "mean" in columns:
            columns.pop("value", None)
            if "n" not in columns:
                made.open.append("n: the readings behind each mean")
        elif "value" in columns and "replicate" not in columns:
            made.open.append("n: the readings of each solution")
        _one_string(columns, heading, below, run)
        values = [*replicates, *(columns[role] for role in ("value", "mean") if role in columns)]
    made.open += [f"columns.{role}: not found" for role in ("solution",) if role not in columns]
    made.open += ["columns: no column of values found"] if not values else []
    made.document["columns"] = columns
    _quantity(made, heading, values)
    _signs(made, heading, below, values)
    _units(made, heading, below, columns, values)
    known = known_of(run).labels
    unknown = [label for label in _distinct(heading, below, columns.get("solution")) if label not in known]
    for label in unknown[:MOST_LABELS]:
        made.open.append(f'labels: "{label}" is not of the run; name it in labels or set_aside')
    if len(unknown) > MOST_LABELS:
        made.open.append(f"labels: {len(unknown) - MOST_LABELS} more are not of the run")
    for text in _distinct(heading, below, columns.get("statistic")):
        made.open.append(f'statistics: "{text}" = "mean", "s", "n" or "set aside"')
    for text in _distinct(heading, below, columns.get("type")):
        made.open.append(f'types: "{text}" = "sample", "blank", "standard", "check" or "set aside"')


def _one_string(columns: dict[str, Any], heading: Row, below: Sequence[Row], run: RunFolder) -> None:
    """Element and line in one column, where its cells read so and no column of lines stands beside it."""
    for role in ("analyte", "line"):
        texts = _distinct(heading, below, columns.get(role))
        if texts and all(re.search(r"[A-Z].*[0-9]", text[:LONGEST_TEXT]) and _is_line(text, run) for text in texts):
            columns["analyte_line"] = columns.pop(role)
            columns.pop("analyte", None)
            columns.pop("line", None)
            return


def _distinct(heading: Row, below: Sequence[Row], column: str | None) -> list[str]:
    if column is None:
        return []
    at = heading.cells.index(column)
    cells = (row.cells[at] for row in below if at < len(row.cells) and row.cells != heading.cells)
    return list(dict.fromkeys(cell for cell in cells if cell))


def _quantity(made: Suggestion, heading: Row, values: Sequence[str]) -> None:
    text = " ".join(map(_bare, values))
    found = [name for name, words in _QUANTITIES.items() if any(word in text for word in words)]
    if len(found) == 1:
        made.document["quantity"] = found[0]
    else:
        made.open.append('quantity: "intensity" or "concentration"')


_QUANTITIES = {"intensity": ("intensity", "signal"), "concentration": ("conc",)}


def _signs(made: Suggestion, heading: Row, below: Sequence[Row], values: Sequence[str]) -> None:
    cells = [cell for column in values for cell in _distinct(heading, below, column)]
    sign, fault = decimal_in(cells, Marks())
    if sign is None:
        made.open.append(f"decimal: {fault}")
    elif any(sign in cell for cell in cells):
        made.document["decimal"] = sign


def _units(
    made: Suggestion, heading: Row, below: Sequence[Row], columns: dict[str, Any], values: Sequence[str]
) -> None:
    found = list(_distinct(heading, below, columns.get("unit")))
    found += [match.group(1) for cell in values if (match := re.search(r"[(\[]([^()\[\]]+)[)\]]$", cell))]
    for unit in dict.fromkeys(found):
        if re.fullmatch(r"pp[mbtq]|.*%", unit, re.IGNORECASE):
            made.open.append(f'units: {unit} = "mg/kg" or "mg/L" …, as the device means it')
        elif not is_unit(unit, _reading_only({"separator": ";"})):
            made.open.append(f'units: "{unit}" = "1/s", "mg/L" …, in a spelling of ours')
    if not found:
        made.open.append("unit: the unit of the values")
