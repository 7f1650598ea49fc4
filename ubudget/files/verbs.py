"""The verbs of the front door: read, evaluate, write. Findings that stop the work are raised, all of them at once."""

from __future__ import annotations

import os
from pathlib import Path

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.evaluate import evaluate as evaluate_records
from ubudget.evaluation.traceability import Chain, chains
from ubudget.files.fill_in_reading import read_fill_in
from ubudget.files.reading import read_records, records_from_texts
from ubudget.files.workbook_reading import is_budget_workbook, read_workbook
from ubudget.files.workbook_writer import write_book
from ubudget.pages.plan import plan_book
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

    Law of propagation of uncertainty, JCGM 100:2008, equations 10 and 16. Raises `UnusableInput`."""
    evaluation, findings = evaluate_records(run)
    if evaluation is None:
        raise UnusableInput(findings)
    return evaluation


def trace(evaluation: Evaluation) -> tuple[Chain, ...]:
    """The traceability chain of every result: the items it rests on, and what stands above them to the end.

    What is wrong with them is in the evaluation's `findings` (ISO/IEC 17025:2017, 6.5)."""
    return chains(evaluation)


def write_workbook(evaluation: Evaluation, path: str | os.PathLike[str], force: bool = False) -> None:
    """Writes the editable workbook, an `.xlsx` file with live formulas; the same evaluation gives the same bytes.

    Raises `OutputExists` where the file is there already and `force` is false, `NotWritable`, and `UbudgetError` for a
    run as measured, whose records hold the amendments."""
    if evaluation.records.as_measured:
        raise UbudgetError(
            f"{evaluation.records.name}: found a run as measured; accepted: a run with its amendments, as its "
            "records have them; read it without as_measured"
        )
    write_book(plan_book(evaluation), Path(path), force=force)
