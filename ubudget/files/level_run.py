"""A run of the same method with one sample for each level, made from the texts of a run that shows how it is done."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.evaluation.level_readings import Array, LineOfSample, lines_of_sample, readings_for, usual_levels
from ubudget.files.amended_run import documents_as_they_stand
from ubudget.files.converting import document_text
from ubudget.files.csv_text import CsvTable
from ubudget.files.reading import records_from_texts
from ubudget.records.records import Role, SourceText
from ubudget.records.run import Portion

LEFT_OUT = ("amendment", "spike", "duplicate")
"""Tables of the run file that speak of its own samples."""
DIGITS = 15
CLOSE, MOST_PASSES = 1e-8, 12


def level_name(number: int) -> str:
    """Name of the sample at a level, 1-based."""
    return f"level {number:02d}"


def specimen_of(evaluation: Evaluation, sample: str | None) -> str:
    """The sample that stands for all: the one asked for, or the first client's sample of one portion that was read
    without further dilution. Raises `UbudgetError`."""
    run = evaluation.records.run
    if run is None:
        raise UbudgetError(
            "found a method that stands alone; accepted: a run, real or nominal, that shows its readings"
        )
    diluted = {solution.source for solution in run.solutions}
    for portion in run.portions:
        alone = sum(other.sample == portion.sample for other in run.portions) == 1
        fits = portion.kind == "sample" and alone and portion.solution not in diluted
        if fits and sample in (None, portion.sample):
            return portion.sample
    found = f"sample {sample}" if sample else "no sample"
    raise UbudgetError(f"{found}: accepted: a client's sample of one portion, read without a further dilution")


def evaluate_levels(
    evaluation: Evaluation, sample: str | None, levels: Sequence[float] | None, number: int
) -> tuple[Evaluation, list[LineOfSample], Array]:
    """The run with one sample for each level, evaluated like any other; its lines, and the levels (levels, lines).

    Raises `UbudgetError`, and `UnusableInput` where the run cannot be evaluated so."""
    specimen = specimen_of(evaluation, sample)
    lines = lines_of_sample(evaluation, specimen)
    wanted = (
        usual_levels(evaluation, lines, number)
        if levels is None
        else np.repeat(np.array(levels, dtype=np.float64)[:, None], len(lines), axis=1)
    )
    aim, found = wanted, None
    for _ in range(MOST_PASSES):
        readings = readings_for(evaluation, lines, aim)
        records, findings = records_from_texts(_texts(evaluation, specimen, lines, readings))
        found, findings = (None, findings) if records is None else evaluate(records)
        if found is None:
            raise UnusableInput(findings)
        missed = wanted - _values(found, lines, len(wanted))
        if not (np.abs(missed) > CLOSE * np.abs(wanted)).any():
            break
        # Readings that are corrected, by an internal standard say, move otherwise than their corrected mean.
        aim = aim + missed
    assert found is not None
    return found, lines, wanted


def _values(found: Evaluation, lines: Sequence[LineOfSample], levels: int) -> Array:
    rows = {(key.sample, key.analyte, key.line): row for row, key in enumerate(found.keys)}
    values = found.column(found.assembly.value)
    return np.array(
        [[values[rows[level_name(at), line.analyte, line.line]] for line in lines] for at in range(1, levels + 1)],
        dtype=np.float64,
    )


def _texts(evaluation: Evaluation, specimen: str, lines: Sequence[LineOfSample], readings: Array) -> list[SourceText]:
    records = evaluation.records
    run = records.run
    assert run is not None
    documents = documents_as_they_stand(records.texts)
    tables = {role: document for role, document in documents.items() if isinstance(document, CsvTable)}
    own = {portion.solution for portion in run.portions if portion.kind != "blank"}
    gone = own | {solution.label for solution in run.solutions if solution.source in own}
    portion = next(portion for portion in run.portions if portion.sample == specimen)
    names = [level_name(at) for at in range(1, len(readings) + 1)]
    contents: dict[Role, str] = {
        "samples": document_text(_samples(tables["samples"], portion, names)),
        "readings": document_text(_readings(tables["readings"], portion.solution, gone, names, lines, readings)),
    }
    solutions = _kept(tables["solutions"], "solution", gone) if "solutions" in tables else None
    if solutions is not None and solutions.rows:
        contents["solutions"] = document_text(solutions)
    method = documents.get("method")
    if isinstance(method, dict) and "derived" in method:
        # Results from results name samples that are not in this run.
        contents["method"] = document_text({key: value for key, value in method.items() if key != "derived"})
    (file,) = (document for role, document in documents.items() if role == "run" and isinstance(document, dict))
    contents["run"] = document_text(_run(file, gone, "solutions" in contents))
    return [
        SourceText(text.role, text.name, contents.get(text.role, text.text))
        for text in records.texts
        if text.role != "solutions" or "solutions" in contents
    ]


def _run(document: dict[str, Any], gone: set[str], diluted: bool) -> dict[str, Any]:
    kept = {key: value for key, value in document.items() if key not in LEFT_OUT}
    if not diluted:
        kept["run"] = {key: value for key, value in kept["run"].items() if key != "solutions"}
    if "exclude_reading" in kept:
        kept["exclude_reading"] = [mark for mark in kept["exclude_reading"] if mark["solution"] not in gone]
    return kept


def _kept(table: CsvTable, key: str, gone: set[str]) -> CsvTable:
    at = table.position(key)
    assert at is not None
    return CsvTable(table.headings, tuple(row for row in table.rows if row[at] not in gone))


def _samples(table: CsvTable, portion: Portion, names: Sequence[str]) -> CsvTable:
    """Blanks as they are, and the specimen's row once for each level."""
    kinds = table.position("kind")
    blanks = [row for row in table.rows if kinds is not None and row[kinds] == "blank"]
    specimen = table.rows[portion.row]
    renamed = {"sample", "solution"}
    levels = [
        tuple(name if heading.key in renamed else cell for heading, cell in zip(table.headings, specimen, strict=True))
        for name in names
    ]
    return CsvTable(table.headings, (*blanks, *levels))


def _readings(
    table: CsvTable,
    solution: str,
    gone: set[str],
    names: Sequence[str],
    lines: Sequence[LineOfSample],
    readings: Array,
) -> CsvTable:
    """Readings of all but samples, and those of the specimen moved to each level; their scatter stays."""
    place = {(line.analyte, line.line): at for at, line in enumerate(lines)}
    replicates = [
        at for at, heading in enumerate(table.headings) if heading.key[:1] == "r" and heading.key[1:].isdigit()
    ]
    mean = table.position("mean")
    position, solutions = table.position("position"), table.position("solution")
    assert solutions is not None
    rows = list(_kept(table, "solution", gone).rows)
    last = max((int(row[position]) for row in table.rows if position is not None and row[position]), default=0)
    for level, name in enumerate(names):
        for number, row in enumerate(table.rows):
            if row[solutions] != solution:
                continue
            cells = list(row)
            cells[solutions] = name
            at = place.get((table.cell(number, "analyte"), table.cell(number, "line")))
            if at is not None:
                _move(cells, replicates, mean, float(readings[level, at]))
            if position is not None and row[position]:
                cells[position] = str(last + 1 + level)
            rows.append(tuple(cells))
    return CsvTable(table.headings, tuple(rows))


def _move(cells: list[str], replicates: Sequence[int], mean: int | None, wanted: float) -> None:
    """Moves the readings of a row so that their mean is the one wanted."""
    if mean is not None:
        cells[mean] = f"{wanted:.{DIGITS}g}"
        return
    read = [at for at in replicates if cells[at]]
    values = [float(cells[at]) for at in read]
    shift = wanted - sum(values) / len(values)
    for at, value in zip(read, values, strict=True):
        cells[at] = f"{value + shift:.{DIGITS}g}"
