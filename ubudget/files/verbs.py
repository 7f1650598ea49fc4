"""The verbs of the front door: read, evaluate, write. Findings that stop the work are raised, all of them at once."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.evaluate import evaluate as evaluate_records
from ubudget.evaluation.traceability import Chain, chains
from ubudget.files.fill_in_reading import read_fill_in
from ubudget.files.letterhead import PLAIN, Letterhead
from ubudget.files.letterhead_reading import read_letterhead
from ubudget.files.reading import read_records, records_from_texts
from ubudget.files.workbook_reading import is_budget_workbook, read_workbook
from ubudget.files.workbook_writer import write_book
from ubudget.pages.plan import plan_book
from ubudget.pages.size import size_findings
from ubudget.records.records import Records


def read_run(path: str | os.PathLike[str], *, as_measured: bool = False) -> Records:
    """Records of a run folder, a run file, a method file alone, a fill-in workbook, or a budget workbook of ours as its
    open cells stand; what a person must look at is in `findings`.

    `as_measured` leaves aside what was excluded and amended since, edits of a budget workbook among it.

    Raises `UnusableInput` with every finding where one of them stops the work."""
    place = Path(path)
    if place.suffix.lower() == ".xlsx" and place.is_file():
        records, findings = read_workbook(place) if is_budget_workbook(place) else read_fill_in(place)
        if records is not None and as_measured:
            records, findings = records_from_texts(records.texts, until=0)
    else:
        records, findings = read_records(place, 0 if as_measured else None)
    if records is None:
        raise UnusableInput(findings)
    return records


def evaluate(run: Records) -> Evaluation:
    """The evaluation of records: `results`, one for each sample, analyte and line, with u, ν, k, U and budget.

    Law of propagation of uncertainty, JCGM 100:2008, equations 10 and 16. Findings on a workbook name
    its sheets. Raises `UnusableInput`."""
    evaluation, findings = evaluate_records(run)
    told = findings if run.told is None else run.told(findings)
    if evaluation is None:
        raise UnusableInput(told)
    return replace(evaluation, findings=tuple(told))


def trace(evaluation: Evaluation) -> tuple[Chain, ...]:
    """The traceability chain of every result: the items it rests on, and what stands above them to the end.

    What is wrong with them is in the evaluation's `findings` (ISO/IEC 17025:2017, 6.5)."""
    return chains(evaluation)


def write_workbook(
    evaluation: Evaluation,
    path: str | os.PathLike[str],
    force: bool = False,
    letterhead: str | os.PathLike[str] | None = None,
) -> None:
    """Writes the editable workbook, an `.xlsx` file with live formulas; the same evaluation gives the same bytes.

    `letterhead`: a workbook of the laboratory, whose first sheet gives printed lines, logo, font and paper; no cell
    depends on it. Raises `OutputExists` where the file is there already and `force` is false, `NotWritable`,
    `UnusableInput` for a letterhead that cannot be used, and where one workbook cannot hold the run, and `UbudgetError`
    for a run as measured, whose records hold the amendments."""
    looks = PLAIN if letterhead is None else read_letterhead(Path(letterhead))
    write_workbook_telling(evaluation, Path(path), force, lambda what, part: None, looks)


def write_workbook_telling(
    evaluation: Evaluation, path: Path, force: bool, told: Callable[[str, float], None], looks: Letterhead
) -> None:
    """The same for those who want to hear what is being done, and which part of it is done."""
    if evaluation.records.as_measured:
        raise UbudgetError(
            f"{evaluation.records.name}: found a run as measured; accepted: a run with its amendments, as its "
            "records have them; read it without as_measured"
        )
    faults = size_findings(evaluation, path)
    if faults:
        raise UnusableInput(faults)
    told("planning the workbook", 0.0)
    book = plan_book(evaluation)
    write_book(book, path, force=force, letterhead=looks, done=lambda part: told(f"writing {path.name}", part))
