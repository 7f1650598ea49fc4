"""A run that is too large for one workbook, taken apart by analyte.

Each part is a run of its own: the same method, register and samples, and the readings that the results of one analyte
rest on. Its workbook can therefore be read back like any other. Interferents that correct the analyte, and the internal
standard, stay with it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from ubudget.errors import UnusableInput
from ubudget.evaluation.coverage import STANDARD
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.atomic import replace_files
from ubudget.files.converting import document_text, with_edits_in_texts
from ubudget.files.csv_text import CsvTable, names_in
from ubudget.files.fill_in_writing import documents_of_texts
from ubudget.files.letterhead import PLAIN, Letterhead
from ubudget.files.reading import records_from_texts
from ubudget.files.workbook_writer import write_book_to
from ubudget.pages.plan import plan_book
from ubudget.pages.size import size_findings
from ubudget.records.finding import Finding
from ubudget.records.read_order import corrected_by
from ubudget.records.records import Records, Role, SourceText

SAME = 1e-12
"""Relative; values and u of a part beside those of the whole run."""
_UNSAFE = re.compile(r"[^\w.+-]+")


@dataclass(frozen=True)
class Part:
    """The results of one analyte, and the workbook that is to hold them."""

    analyte: str
    path: Path
    evaluation: Evaluation


def parts_by_analyte(whole: Evaluation, path: Path) -> Iterator[Part]:
    """One part for each analyte with results; `path` is the name of the workbook to which the analyte is added.

    Raises `UnusableInput` where a part would not have the results of the whole run, or is too large itself."""
    if whole.records.method.coverage.rule == "simulation":
        raise UnusableInput([_simulated(whole.records)])
    records = with_edits_in_texts(whole.records)
    documents, tables = documents_of_texts(records.texts)
    if "readings" not in tables:
        raise UnusableInput([_no_readings(records)])
    for analyte, target in parts_named(whole, path).items():
        contents = _contents(documents["run"], tables, corrected_by(records.method, analyte), records)
        texts = [SourceText(text.role, text.name, contents.get(text.role, text.text)) for text in records.texts]
        part, findings = records_from_texts(texts)
        evaluation, findings = (None, findings) if part is None else evaluate(part)
        if evaluation is None:
            raise UnusableInput(findings)
        faults = [*_different(whole, evaluation, analyte), *size_findings(evaluation, target)]
        if faults:
            raise UnusableInput(faults)
        yield Part(analyte, target, evaluation)


def parts_named(whole: Evaluation, path: Path) -> dict[str, Path]:
    """Analyte → its workbook beside `path`: `run.xlsx` becomes `run-Cu.xlsx`."""
    named: dict[str, Path] = {}
    for analyte in dict.fromkeys(key.analyte for key in whole.keys):
        stem = f"{path.stem}-{_UNSAFE.sub('_', analyte)}"
        taken = {other.name.casefold() for other in named.values()}
        tries = (f"{stem}{turn}{path.suffix}" for turn in ("", *(f"-{number}" for number in range(2, len(taken) + 3))))
        named[analyte] = path.with_name(next(name for name in tries if name.casefold() not in taken))
    return named


def write_parts(
    whole: Evaluation,
    path: Path,
    *,
    force: bool = False,
    told: Callable[[str, float], None],
    letterhead: Letterhead = PLAIN,
) -> list[Path]:
    """Writes one workbook for each analyte, all of them or none; gives their paths.

    Raises as `parts_by_analyte` and `replace_files`."""
    parts = parts_by_analyte(whole, path)
    targets = list(parts_named(whole, path).values())

    def write(stream: BinaryIO) -> None:
        # Parts come in the order of their files, each made when its file is written.
        part = next(parts)
        book, name = plan_book(part.evaluation), part.path.name
        write_book_to(book, stream, lambda done: told(f"writing {name}", done), letterhead)

    replace_files(dict.fromkeys(targets, write), force=force)
    return targets


def _contents(
    run: dict[str, Any], tables: Mapping[Role, CsvTable], analytes: set[str], records: Records
) -> dict[Role, str]:
    """The files that differ: readings of these analytes, solutions that serve them, readings left out of them."""
    names = analytes | {line for analyte in analytes for line in records.method.analytes.get(analyte, ())}
    solutions = tables.get("solutions")
    others = set() if solutions is None else set(_solutions_for_others(solutions, names))
    readings = _with_rows(
        tables["readings"],
        lambda cell: cell("analyte") in analytes and cell("solution") not in others,
    )
    contents: dict[Role, str] = {"readings": document_text(readings)}
    if solutions is not None:
        needed = _needed(solutions, {readings.cell(row, "solution") for row in range(len(readings.rows))})
        contents["solutions"] = document_text(
            _reporting(_with_rows(solutions, lambda cell: cell("solution") in needed), names)
        )
    exclusions = [mark for mark in run.get("exclude_reading", []) if mark["analyte"] in analytes]
    if exclusions != run.get("exclude_reading", []):
        contents["run"] = document_text({**run, "exclude_reading": exclusions})
    return contents


def _with_rows(table: CsvTable, wanted: Callable[[Callable[[str], str]], bool]) -> CsvTable:
    rows = (cells for row, cells in enumerate(table.rows) if wanted(partial(table.cell, row)))
    return CsvTable(table.headings, tuple(rows))


def _solutions_for_others(table: CsvTable, names: set[str]) -> Iterator[str]:
    """Solutions from which only other analytes are reported."""
    for row in range(len(table.rows)):
        reported = set(names_in(table.cell(row, "reports")))
        if reported and not reported & names:
            yield table.cell(row, "solution")


def _needed(table: CsvTable, read: set[str]) -> set[str]:
    """The solutions that were read, and those they were made from."""
    source = {table.cell(row, "solution"): table.cell(row, "from") for row in range(len(table.rows))}
    needed: set[str] = set()
    waiting = list(read)
    while waiting:
        label = waiting.pop()
        if label in source and label not in needed:
            needed.add(label)
            waiting.append(source[label])
    return needed


def _reporting(table: CsvTable, names: set[str]) -> CsvTable:
    """The table without the other names among what is reported."""
    at = table.position("reports")
    if at is None:
        return table
    kept = ("; ".join(name for name in names_in(cells[at]) if name in names) for cells in table.rows)
    rows = ((*cells[:at], mine, *cells[at + 1 :]) for cells, mine in zip(table.rows, kept, strict=True))
    return CsvTable(table.headings, tuple(rows))


def _different(whole: Evaluation, part: Evaluation, analyte: str) -> list[Finding]:
    """What the part calculates otherwise than the whole run; nothing, as long as analytes do not touch."""
    rows = {key: row for row, key in enumerate(part.keys)}
    here = [row for row, key in enumerate(whole.keys) if key.analyte == analyte]
    there = [rows.get(whole.keys[row], -1) for row in here]
    same = -1 not in there and all(
        np.allclose(whole.column(mine)[here], part.column(its)[there], rtol=SAME, atol=0.0, equal_nan=True)
        for mine, its in ((whole.assembly.value, part.assembly.value), (STANDARD, STANDARD))
    )
    if same:
        return []
    return [
        Finding(
            "stop",
            whole.records.file("readings"),
            f"analyte {analyte}",
            "results that differ from those of the whole run when its readings stand alone",
            "analytes that do not rest on each other",
            "divide the run by samples instead, or use evaluate with --csv",
        )
    ]


def _simulated(records: Records) -> Finding:
    return Finding(
        "stop",
        records.file("method"),
        "coverage",
        'rule = "simulation", whose draws are those of the whole run',
        "a rule by which a part of the run has the same k",
        "write one workbook, without --by",
    )


def _no_readings(records: Records) -> Finding:
    return Finding(
        "stop",
        records.file("run" if records.run else "method"),
        "readings",
        "no table of readings",
        "a run with readings of several analytes, which can be divided by analyte",
        "write one workbook, without --by",
    )
