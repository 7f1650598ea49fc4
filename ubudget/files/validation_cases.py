"""Cases of validation on disk: those that come with the program, and those of a laboratory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from pydantic import TypeAdapter

from ubudget.errors import UnusableInput
from ubudget.files.fault_words import validate_document
from ubudget.files.reading import read_text
from ubudget.files.shipped import shipped_folder
from ubudget.files.toml_text import parse_toml
from ubudget.records.expected import Expected
from ubudget.records.finding import Finding, stops

SHIPPED = ("published", "validation")
"""Folders of worked examples that have expected figures."""
ALONE, FOLDER = "expected.toml", "expected"


@dataclass(frozen=True)
class Case:
    """`example`: run folder, run file or method file."""

    name: str
    example: Path
    expected: Expected
    text: str
    """The file of expected figures as it stands."""


def shipped_cases() -> list[Case]:
    """The cases that come with the program. Raises `UnusableInput`; `UbudgetError` where their folder is missing."""
    folder = shipped_folder("worked_examples")
    return cases_in([file for name in SHIPPED for file in _files(folder / name)])


def laboratory_cases(folder: Path) -> list[Case]:
    """The cases of a laboratory: `expected.toml` beside a run or a method, or any file of a folder `expected`.

    Raises `UnusableInput` with every fault of every file, also where there is none."""
    files = list(_files(folder)) if folder.is_dir() else []
    if not files:
        found = f"no file {ALONE} and no folder {FOLDER}" if folder.is_dir() else "no such folder"
        accepted = f"a folder with cases: an example and its {ALONE}"
        raise UnusableInput([Finding("stop", str(folder), "whole folder", found, accepted, "add a case")])
    return cases_in(files)


def cases_in(files: list[Path]) -> list[Case]:
    findings: list[Finding] = []
    cases = [case for file in files if (case := _case(file, findings)) is not None]
    if stops(findings):
        raise UnusableInput(findings)
    return cases


def _files(folder: Path) -> Iterator[Path]:
    """In the order of names, whatever the system's own order."""
    yield from sorted(path for path in folder.rglob("*.toml") if path.name == ALONE or path.parent.name == FOLDER)


def _case(file: Path, findings: list[Finding]) -> Case | None:
    shown = f"{file.parent.name}/{file.name}"
    text, faults = read_text(file, "method", shown)
    findings += faults
    if text is None:
        return None
    document, faults = parse_toml(text.text, shown)
    findings += faults
    if document is None:
        return None
    expected = validate_document(_adapter(), document, shown, findings)
    if expected is None:
        return None
    beside = file.parent.parent if file.parent.name == FOLDER else file.parent
    name = file.stem if file.parent.name == FOLDER else file.resolve().parent.name
    return Case(name, beside / expected.example, expected, text.text)


@cache
def _adapter() -> TypeAdapter[Expected]:
    return TypeAdapter(Expected)
