"""Writing a workbook with spare rows for a method: a run of it, the specimen, shows how it is run."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from ubudget.errors import UnusableInput
from ubudget.files.letterhead import PLAIN, Letterhead
from ubudget.files.reading import read_text
from ubudget.files.toml_text import parse_toml
from ubudget.files.verbs import read_run
from ubudget.files.workbook_writer import write_book
from ubudget.pages.spare_plan import plan_spare
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.spare_rows import SpareRows
from ubudget.records.spare_run import blanks_of

DEFAULT_SAMPLES = 40


def write_spare_workbook(
    method: Path,
    out: Path,
    given: Mapping[str, int | None],
    *,
    force: bool = False,
    letterhead: Letterhead = PLAIN,
) -> tuple[str, tuple[Finding, ...]]:
    """Writes the workbook; gives the numbers of rows as text, and what a person must look at in the specimen's records.
    What is not `given` is as in the specimen.

    Raises `UnusableInput` with every finding, `OutputExists`, `NotWritable`."""
    records = read_run(specimen_of(method))
    rows = _rows(records, given)
    if rows.faults:
        raise UnusableInput(
            [
                Finding("stop", "command", fault.partition(":")[0], fault.partition(": ")[2], "a number in that range",
                        "correct the option")
                for fault in rows.faults
            ]
        )  # fmt: skip
    plan, findings = plan_spare(records, rows)
    if plan is None:
        raise UnusableInput(findings)
    write_book(plan.book, out, force=force, letterhead=letterhead)
    return rows.text, records.findings


def specimen_of(method: Path) -> Path:
    """The run beside a method file that names it; other paths stand for themselves."""
    beside = method.parent / "run.toml"
    if method.suffix.lower() != ".toml" or method.name == "run.toml" or not beside.is_file():
        return method
    text, _ = read_text(beside, "run")
    document = None if text is None else parse_toml(text.text, text.name)[0]
    named = (document or {}).get("run", {})
    return beside if isinstance(named, dict) and named.get("method") == method.name else method


def _rows(records: Records, given: Mapping[str, int | None]) -> SpareRows:
    run = records.run
    usual = {
        "samples": DEFAULT_SAMPLES,
        "levels": len(run.file.standards) if run else 2,
        "replicates": max((len(reading.values) for reading in run.readings), default=1) if run else 1,
        "blanks": len(blanks_of(run)) if run else 0,
    }
    return SpareRows(**{name: usual[name] if given.get(name) is None else int(given[name] or 0) for name in usual})
