"""What an import reads: the export's bytes, the run folder, the mapping."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from ubudget.errors import UnusableInput
from ubudget.files.csv_text import parse_csv
from ubudget.files.fault_words import validate_document
from ubudget.files.foreign_files import NotRead, bounded_bytes
from ubudget.files.import_texts import without_block
from ubudget.files.reading import LARGEST_TABLE, in_order, read_text
from ubudget.files.tables import portions_from, solutions_from
from ubudget.files.toml_text import parse_toml
from ubudget.records.finding import Finding, stops
from ubudget.records.import_mapping import Mapping
from ubudget.records.method import Method
from ubudget.records.records import Role, SourceText
from ubudget.records.run import Run, RunFile

MAPPING_NAME = "mapping.toml"


@dataclass(frozen=True)
class RunFolder:
    """What an import needs of a run folder."""

    folder: Path
    run_file: str
    texts: dict[Role, SourceText]
    """Without an earlier import's part of the run file."""
    method: Method
    run: Run


def bytes_of(path: Path) -> bytes:
    """Raises `UnusableInput` where there is no such file, or one that is far too large."""
    try:
        if not path.exists():
            raise NotRead("no such file")
        if path.is_dir():
            raise NotRead("a folder")
        return bounded_bytes(path, LARGEST_TABLE)
    except NotRead as found:
        accepted = f"an exported text file of at most {LARGEST_TABLE / 1e6:.0f} MB"
        finding = Finding("stop", path.name or str(path), "whole file", str(found), accepted, "name it")
        raise UnusableInput([finding]) from found


def read_folder(folder: Path) -> RunFolder:
    """The run folder without the part of an earlier import. Raises `UnusableInput`."""
    path = folder if folder.suffix == ".toml" else folder / "run.toml"
    first, findings = read_text(path, "run")
    if first is None:
        raise UnusableInput(findings)
    first = replace(first, text=without_block(first.text))
    texts: dict[Role, SourceText] = {"run": first}
    document, faults = parse_toml(first.text, first.name)
    findings += faults
    file = validate_document(_adapter(RunFile), document, first.name, findings) if document is not None else None
    if file is None:
        raise UnusableInput(findings)
    roles: tuple[Role, ...] = ("method", "register", "samples", "solutions")
    for role in roles:
        name = getattr(file.run, role)
        text, faults = read_text(path.parent / name, role, name) if name else (None, [])
        findings += faults
        if text is not None:
            texts[role] = text
    if not file.run.readings:
        remedy = 'add readings = "readings.csv" to [run]'
        findings.append(Finding("stop", first.name, "run, readings", "no name", "the file of the readings", remedy))
    method = _method(texts.get("method"), findings)
    run = Run(file)
    for role in ("samples", "solutions"):
        if role in texts:
            table, faults = parse_csv(texts[role].text, texts[role].name)
            findings += faults
            if table is not None and role == "samples":
                portions, faults = portions_from(table, texts[role].name)
                run = replace(run, portions=portions)
            elif table is not None:
                solutions, faults = solutions_from(table, texts[role].name)
                run = replace(run, solutions=solutions)
            findings += faults if table is not None else []
    if method is None or stops(findings):
        raise UnusableInput(in_order(findings))
    return RunFolder(path.parent, first.name, texts, method, run)


def _method(text: SourceText | None, findings: list[Finding]) -> Method | None:
    if text is None:
        return None
    document, faults = parse_toml(text.text, text.name)
    findings += faults
    return validate_document(_adapter(Method), document, text.name, findings) if document is not None else None


def mapping_path(run: RunFolder) -> Path:
    beside = (run.folder / run.texts["method"].name).parent / MAPPING_NAME
    named = (run.folder / run.run.file.run.method).parent / MAPPING_NAME
    for path in (run.folder / MAPPING_NAME, named, beside):
        if path.is_file():
            return path
    accepted = f"{MAPPING_NAME} in the run folder or beside the method"
    remedy = "write one, name one by --mapping, or let one be suggested by --suggest"
    raise UnusableInput([Finding("stop", MAPPING_NAME, "whole file", "no mapping", accepted, remedy)])


def read_mapping(path: Path) -> tuple[Mapping, str]:
    """The mapping and its text. Raises `UnusableInput`."""
    text, findings = read_text(path, "method")
    document, faults = (None, []) if text is None else parse_toml(text.text, text.name)
    findings += faults
    mapping = None
    if text is not None and document is not None:
        mapping = validate_document(_adapter(Mapping), document, text.name, findings)
    if mapping is None or text is None or stops(findings):
        raise UnusableInput(findings)
    return mapping, text.text


@cache
def _adapter(record: type) -> TypeAdapter[Any]:
    return TypeAdapter(record)
