"""The readers, and for each the shipped files that are damaged for it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import ubudget
from ubudget.errors import UnusableInput
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.control_history import read_history
from ubudget.files.fill_in_writing import fill_in_bytes
from ubudget.files.importing import import_export
from ubudget.files.letterhead_reading import read_letterhead
from ubudget.files.reading import read_records
from ubudget.files.shipped import shipped_folder
from ubudget.files.spare_writing import write_spare_workbook
from ubudget.files.studies import evaluate_study
from ubudget.files.suggesting import suggested
from ubudget.files.validation_cases import cases_in
from ubudget.files.verbs import read_run, write_workbook
from ubudget.files.ware_calibration import calibrate_ware

EXAMPLES = shipped_folder("worked_examples")
TEMPLATES = shipped_folder("workbook_templates")
Read = Callable[[Path], object]
"""Reads the folder in which one file is damaged."""


@dataclass(frozen=True)
class Subject:
    """One reader with the files that it reads, by name; any of `damaged` may be damaged."""

    name: str
    files: dict[str, bytes]
    damaged: tuple[str, ...]
    read: Read

    @property
    def is_workbook(self) -> bool:
        return any(name.endswith(".xlsx") for name in self.files)


def _run(folder: Path) -> object:
    """Records, and where they are usable the evaluation."""
    records, findings = read_records(folder)
    if records is None:
        raise UnusableInput(findings)
    return evaluate(records)


def _folder(name: str, *suffixes: str) -> dict[str, bytes]:
    files = sorted((EXAMPLES / name).iterdir())
    return {path.name: path.read_bytes() for path in files if path.suffix in (suffixes or (".toml", ".csv"))}


def _workbook(name: str, content: bytes) -> Subject:
    return Subject(name, {"book.xlsx": content}, ("book.xlsx",), lambda folder: read_run(folder / "book.xlsx"))


@cache
def subjects(books: Path) -> tuple[Subject, ...]:
    """All readers; workbooks are made in the folder `books`."""
    method = (EXAMPLES / "published" / "quam_a2.toml").read_bytes()
    export = _folder("spring_copper")
    flask = (EXAMPLES / "ware_calibration" / "flask.toml").read_bytes()
    case = {"expected.toml": (EXAMPLES / "published" / "expected" / "quam_a2.toml").read_bytes()}
    charts, study = _folder("control_charts"), _folder("precision_studies")
    rinse = ubudget.read_run(EXAMPLES / "rinse_water")
    budget = books / "budget.xlsx"
    if not budget.exists():
        write_workbook(ubudget.evaluate(ubudget.read_run(EXAMPLES / "published" / "quam_a2.toml")), budget)
    spare = books / "spare.xlsx"
    if not spare.exists():
        shutil.copytree(EXAMPLES / "patterns" / "water-direct", books / "pattern", dirs_exist_ok=True)
        write_spare_workbook(books / "pattern", spare, {"samples": 2, "replicates": 2}, force=True)
    template = (TEMPLATES / "fill-in" / "water-direct.xlsx").read_bytes()
    return (
        Subject("run", sediment := _folder("harbour_sediment"), tuple(sediment), _run),
        Subject("oil run", oil := _folder("gearbox_oil"), tuple(oil), _run),
        Subject("method", {"method.toml": method}, ("method.toml",), _run),
        Subject(
            "import",
            export,
            ("export.csv", "mapping.toml", "run.toml"),
            lambda folder: import_export(folder / "export.csv", folder),
        ),
        Subject("suggest", export, ("export.csv",), lambda folder: suggested(folder / "export.csv", folder)),
        Subject("ware", {"flask.toml": flask}, ("flask.toml",), lambda folder: calibrate_ware(folder / "flask.toml")),
        Subject("charts", charts, tuple(charts), lambda folder: read_history(folder / "charts.toml").charted()),
        *(
            Subject(
                name,
                study,
                (f"{name}.toml", f"{name}.csv"),
                lambda folder, n=name: evaluate_study(folder / f"{n}.toml"),
            )  # type: ignore[misc]
            for name in ("duplicates", "control_material", "proficiency")
        ),
        _workbook("fill-in workbook", fill_in_bytes(rinse)),
        _workbook("template", template),
        _workbook("budget workbook", budget.read_bytes()),
        _workbook("spare-row workbook", spare.read_bytes()),
        Subject(
            "check",
            {"book.xlsx": budget.read_bytes()},
            ("book.xlsx",),
            lambda folder: ubudget.check_workbook(folder / "book.xlsx"),
        ),
        Subject("case of validation", case, ("expected.toml",), lambda folder: cases_in([folder / "expected.toml"])),
        Subject(
            "letterhead",
            {"letter.xlsx": template},
            ("letter.xlsx",),
            lambda folder: read_letterhead(folder / "letter.xlsx"),
        ),
    )
