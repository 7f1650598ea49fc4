"""The three tables of a run as records: samples, further dilutions, readings; all faults of all rows."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Iterator, Sequence

from ubudget.files.cell_numbers import cell_number as cell_number
from ubudget.files.cell_numbers import number_in as number_in
from ubudget.files.csv_text import CsvTable, Heading, names_in, parse_heading, row_place
from ubudget.files.dilution_cells import SOLUTION_AMOUNTS, steps_of_row
from ubudget.files.fault_words import shown
from ubudget.records.amount import Amount
from ubudget.records.finding import Finding
from ubudget.records.run import Portion, Reading, Solution

PORTION_KINDS = ("sample", "blank", "reference material")
_PORTION_COLUMNS = ("sample", "portion", "kind", "solution", "matrix", "material")
_SOLUTION_COLUMNS = ("solution", "from", "dilution", "reports", "balance")
_READING_COLUMNS = ("solution", "analyte", "line", "position", "block", "rerun", "mean", "s", "n")
_REPLICATE = re.compile(r"r([1-9][0-9]{0,3})")


def portions_from(table: CsvTable, file: str) -> tuple[tuple[Portion, ...], list[Finding]]:
    """The samples table: one portion a row."""
    findings = list(_lacking(table, ("sample",), file))
    portions: list[Portion] = []
    if findings:
        return (), findings
    times = Counter(table.cell(row, "sample") for row in range(len(table.rows)))
    for row in range(len(table.rows)):
        sample = table.cell(row, "sample")
        place = row_place(row, sample)
        if not sample:
            findings.append(_empty(file, f"{place}, sample", "the sample's label"))
        number = table.cell(row, "portion") or "1"
        portion = _whole(number)
        if portion is None:
            findings.append(_not_a_count(file, f"{place}, portion", number))
        kind = table.cell(row, "kind") or "sample"
        if kind not in PORTION_KINDS:
            findings.append(
                Finding("stop", file, f"{place}, kind", shown(kind), ", ".join(PORTION_KINDS), "correct the kind")
            )
            kind = "sample"
        columns, faults = _columns(table, row, file, place)
        findings.extend(faults)
        label = f"{sample}/{portion}" if times[sample] > 1 else sample
        portions.append(
            Portion(
                row=row,
                sample=sample,
                portion=portion or 1,
                kind="blank" if kind == "blank" else "sample" if kind == "sample" else "reference material",
                solution=table.cell(row, "solution") or label,
                matrix=table.cell(row, "matrix"),
                reference_material=table.cell(row, "material"),
                columns=columns,
            )
        )
    numbered = [(portion.sample, portion.portion) for portion in portions]
    for row, first in _repeated(numbered):
        findings.append(
            Finding(
                "stop",
                file,
                row_place(row, portions[row].sample),
                f"sample {portions[row].sample}, portion {portions[row].portion} a second time "
                f"(first in row {first + 1})",
                "each portion of a sample once",
                "number the portions of a sample in the column portion, or correct the label",
            )
        )
    return tuple(portions), findings


def solutions_from(table: CsvTable, file: str) -> tuple[tuple[Solution, ...], list[Finding]]:
    """The table of further dilutions."""
    findings = list(_lacking(table, ("solution", "from", "dilution"), file))
    masses = tuple(heading.text for heading in table.headings if heading.key in SOLUTION_AMOUNTS)
    findings.extend(_unknown_columns(table, (*_SOLUTION_COLUMNS, *masses), file))
    solutions: list[Solution] = []
    if findings:
        return (), findings
    for row in range(len(table.rows)):
        label = table.cell(row, "solution")
        place = row_place(row, label)
        for key, accepted in (
            ("solution", "the solution's label"),
            ("from", "the label of the solution diluted"),
        ):
            if not table.cell(row, key):
                findings.append(_empty(file, f"{place}, {key}", accepted))
        steps, faults = steps_of_row(table, row, file, place)
        findings.extend(faults)
        reports = names_in(table.cell(row, "reports"))
        solutions.append(Solution(row, label, table.cell(row, "from"), steps, reports))
    return tuple(solutions), findings


def readings_from(table: CsvTable, file: str) -> tuple[tuple[Reading, ...], list[Finding]]:
    """The readings: replicates r1, r2, ..., or mean, s and n."""
    findings = list(_lacking(table, ("solution", "analyte", "line"), file))
    replicates = [heading.key for heading in table.headings if _REPLICATE.fullmatch(heading.key)]
    findings.extend(_unknown_columns(table, (*_READING_COLUMNS, *replicates), file))
    findings.extend(_reading_layout(table, replicates, file))
    if findings:
        return (), findings
    readings: list[Reading] = []
    for row in range(len(table.rows)):
        solution, analyte, line = (table.cell(row, key) for key in ("solution", "analyte", "line"))
        place = row_place(row, " ".join(part for part in (solution, analyte, line) if part))
        if not solution:
            findings.append(_empty(file, f"{place}, solution", "the solution's label"))
        if not analyte:
            findings.append(_empty(file, f"{place}, analyte", "the analyte"))
        position = None
        if table.position("position") is not None:
            position = _whole(table.cell(row, "position"))
            if position is None:
                findings.append(_not_a_count(file, f"{place}, position", table.cell(row, "position")))
        values, faults = _replicate_values(table, row, replicates, file, place)
        findings.extend(faults)
        mean, s, n, faults = (None, None, None, []) if replicates else _summary(table, row, file, place)
        findings.extend(faults)
        block, rerun = (table.cell(row, key) for key in ("block", "rerun"))
        readings.append(Reading(row, solution, analyte, line, values, mean, s, n, position, block, rerun))
    return tuple(readings), findings


def _columns(table: CsvTable, row: int, file: str, place: str) -> tuple[dict[str, Amount | str], list[Finding]]:
    """The laboratory's own columns of one row of the samples table, empty cells left out."""
    columns: dict[str, Amount | str] = {}
    findings: list[Finding] = []
    for heading, cell in zip(table.headings, table.rows[row], strict=True):
        if heading.key in _PORTION_COLUMNS or not cell:
            continue
        if heading.unit is None:
            columns[heading.key] = cell
            continue
        value = cell_number(cell, heading, file, place, findings)
        if value is not None:
            columns[heading.key] = Amount(value, heading.unit, f"{cell} {heading.unit}".strip())
    return columns, findings


def _reading_layout(table: CsvTable, replicates: Sequence[str], file: str) -> Iterator[Finding]:
    accepted = "replicate columns r1, r2, ..., or the columns mean, s and n"
    summary = [key for key in ("mean", "s", "n") if table.position(key) is not None]
    if replicates and summary:
        found = f"replicate columns beside {', '.join(summary)}"
        yield Finding("stop", file, "headings", found, accepted, "keep one of the two")
    elif not replicates and len(summary) < 3:
        found = f"only {', '.join(summary)}" if summary else "no column of readings"
        yield Finding("stop", file, "headings", found, accepted, "add the columns that are missing")
    numbers = sorted(int(key[1:]) for key in replicates)
    missing = sorted(set(range(1, len(numbers) + 1)) - set(numbers))
    if missing:
        found = f"{', '.join(f'r{number}' for number in numbers)}"
        yield Finding("stop", file, "headings", found, accepted, f"add the replicate column r{missing[0]}")


def _replicate_values(
    table: CsvTable, row: int, replicates: Sequence[str], file: str, place: str
) -> tuple[tuple[float, ...], list[Finding]]:
    findings: list[Finding] = []
    values: list[float] = []
    gap = ""
    for key in sorted(replicates, key=lambda name: int(name[1:])):
        cell = table.cell(row, key)
        if not cell:
            gap = gap or key
            continue
        if gap:
            # The number of a replicate says which reading is left out: a gap would shift it.
            accepted = "replicates from r1 on without a gap; empty cells after the last one"
            findings.append(
                Finding("stop", file, f"{place}, {gap}", f"an empty cell before {key}", accepted, "close the gap")
            )
            gap = ""
        value = cell_number(cell, Heading(key, key, None), file, place, findings)
        if value is not None:
            values.append(value)
    if replicates and not values and not findings:
        remedy = "add it or delete the row"
        findings.append(Finding("stop", file, place, "no reading in this row", "one reading or more", remedy))
    return tuple(values), findings


def _summary(
    table: CsvTable, row: int, file: str, place: str
) -> tuple[float | None, float | None, int | None, list[Finding]]:
    findings: list[Finding] = []
    count_text = table.cell(row, "n")
    n = _whole(count_text)
    if n is None:
        findings.append(_not_a_count(file, f"{place}, n", count_text))
    numbers: dict[str, float | None] = {"mean": None, "s": None}
    for key in numbers:
        cell = table.cell(row, key)
        if cell:
            numbers[key] = cell_number(cell, Heading(key, key, None), file, place, findings)
        elif not (key == "s" and n == 1):
            findings.append(_empty(file, f"{place}, {key}", "a number"))
    s = numbers["s"]
    if s is not None and s < 0:
        findings.append(
            Finding("stop", file, f"{place}, s", f"{s:g}", "zero or a number above zero", "correct the value")
        )
    return numbers["mean"], s, n, findings


def _whole(text: str) -> int | None:
    return int(text) if re.fullmatch(r"[1-9][0-9]{0,5}", text) else None


def _not_a_count(file: str, place: str, text: str) -> Finding:
    return Finding("stop", file, place, shown(text), "a whole number from 1 on", "correct the number")


def _empty(file: str, place: str, accepted: str) -> Finding:
    return Finding("stop", file, place, "an empty cell", accepted, "fill in the cell or delete the row")


def _lacking(table: CsvTable, required: Sequence[str], file: str) -> Iterator[Finding]:
    present = [heading.key for heading in table.headings]
    for key in required:
        if key not in present:
            found = f"no column {key}; the headings are {', '.join(name[:30] for name in present[:12])}"
            yield Finding(
                "stop", file, "headings", found, f"the columns {', '.join(required)}", f"add the column {key}"
            )


def _unknown_columns(table: CsvTable, accepted: Sequence[str], file: str) -> Iterator[Finding]:
    for number, heading in enumerate(table.headings, start=1):
        if heading.key and heading.text not in accepted:
            nearest = difflib.get_close_matches(heading.text, accepted, n=1)
            remedy = f"did you mean {nearest[0]}?" if nearest else "delete the column or correct its heading"
            found = f"the unknown heading {shown(heading.text)}"
            yield Finding("stop", file, f"heading {number}", found, ", ".join(accepted), remedy)


def usual_columns(role: str) -> tuple[str, ...]:
    """Headings that the table of a role begins with when it has no rows yet."""
    columns = {"samples": (*_PORTION_COLUMNS, "tare [g]", "gross [g]"), "solutions": _SOLUTION_COLUMNS}
    return columns.get(role, (*_READING_COLUMNS[:3], "r1", "r2", "r3"))


def is_number_column(role: str, heading: str) -> bool:
    """Whether the cells below a heading hold numbers: it says a unit, or the table knows it."""
    counts = {"samples": ("portion",), "readings": ("position", "mean", "s", "n")}
    known = heading in counts.get(role, ()) or (role == "readings" and _REPLICATE.fullmatch(heading) is not None)
    return known or parse_heading(heading).unit is not None


def _repeated(keys: Sequence[object]) -> Iterator[tuple[int, int]]:
    """(row, first row) of every key that occurred before."""
    first: dict[object, int] = {}
    for row, key in enumerate(keys):
        if key in first:
            yield row, first[key]
        first.setdefault(key, row)
