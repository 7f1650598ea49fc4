"""From a run folder, a run file or a method file to records, with every fault of every file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter

from ubudget.files.amended_run import amended_run
from ubudget.files.amendment_places import told_by_amendment
from ubudget.files.csv_text import CsvTable, parse_csv
from ubudget.files.editing import Document, apply_edits
from ubudget.files.fault_words import validate_document
from ubudget.files.foreign_files import NotRead, bounded_bytes, faulty_name
from ubudget.files.tables import portions_from, readings_from, solutions_from
from ubudget.files.toml_text import parse_toml
from ubudget.records.crosscheck import crosscheck
from ubudget.records.crosscheck_method import method_findings
from ubudget.records.finding import Finding, stops
from ubudget.records.method import Method
from ubudget.records.records import Edit, Records, Role, SourceText
from ubudget.records.register import Register
from ubudget.records.run import Portion, Reading, Run, RunFile, Solution

RecordType = TypeVar("RecordType")

LARGEST_TABLE = 20_000_000
"""Bytes; a run of 6,000 results needs about one million."""
LARGEST_RECORD = 2_000_000
"""Bytes; the largest run file has the 6,000 amendments that nobody makes."""

USUAL_NAMES: dict[Role, str] = {
    "method": "method.toml",
    "register": "register.toml",
    "samples": "samples.csv",
    "solutions": "solutions.csv",
    "readings": "readings.csv",
}
_TABLES: tuple[Role, ...] = ("samples", "solutions", "readings")


def read_records(path: Path, until: int | None = None) -> tuple[Records | None, list[Finding]]:
    """Records of a run folder (which has a run.toml, or a method.toml alone), a run file, or a method file alone.

    `until`: how many of its exclusions and amendments count, as `records_from_texts` has it.

    Every fault of every file is a finding; `None` where one of them stops the work. Raises nothing for bad
    input."""
    file = _first_file(path) if _is_folder(path) else path
    first, findings = read_text(file, "run")
    if first is None:
        return None, findings
    document = _quietly_parsed(first.text, first.name)
    if "method" in document and "run" not in document:
        return records_from_texts([SourceText("method", first.name, first.text)])
    texts, unreadable = [first], set[Role]()
    for role, name in _named_files(document, file.parent).items():
        text, faults = read_text(file.parent / name, role, name)
        findings.extend(faults)
        if text is None:
            unreadable.add(role)
        else:
            texts.append(text)
    return _records(texts, (), findings, frozenset(unreadable), until)


def _first_file(folder: Path) -> Path:
    """The run file of a folder; the method file where it stands there alone."""
    run, method = folder / "run.toml", folder / "method.toml"
    return method if not run.exists() and method.is_file() else run


def records_from_texts(
    texts: Sequence[SourceText], edits: Sequence[Edit] = (), until: int | None = None
) -> tuple[Records | None, list[Finding]]:
    """The same from texts read before, as on the record sheet of a workbook, with the edits made since.

    `until`: how many exclusions and amendments count, those of `exclude_reading` first, each in the order of the run
    file; 0 gives the run as measured, `None` all of them."""
    return _records(texts, edits, [], frozenset(), until)


def _records(
    texts: Sequence[SourceText],
    edits: Sequence[Edit],
    findings: list[Finding],
    unreadable: frozenset[Role],
    until: int | None,
) -> tuple[Records | None, list[Finding]]:
    files: dict[Role, str] = {text.role: text.name for text in texts}
    unencodable = _unencodable(texts)
    findings = [*findings, *unencodable]
    if unencodable:
        return None, findings
    documents, faults = _parsed(texts)
    findings += faults
    trail = amended_run(documents, files, until)
    findings += trail.findings
    documents, faults = apply_edits(trail.documents, edits, files)
    findings += faults

    method = _validated(_method_adapter(), documents.get("method"), files.get("method", ""), findings)
    register = _validated(_register_adapter(), documents.get("register"), files.get("register", ""), findings)
    file = _validated(_run_adapter(), documents.get("run"), files.get("run", ""), findings)
    portions, solutions, readings = _tables(documents, files, findings)
    run = None if file is None else Run(file, portions, solutions, readings)
    findings += _missing(file, files, unreadable)
    if "run" not in files and "method" not in files:
        findings.append(_neither("records"))
    if method is None:
        return None, in_order(told_by_amendment(findings, trail.writes, documents, files))
    if "run" in files and run is None:
        findings += method_findings(method, files["method"])
        return None, in_order(told_by_amendment(findings, trail.writes, documents, files))
    name = method.document.id if run is None else run.file.run.id
    records = Records(
        name,
        method,
        register,
        run,
        tuple(texts),
        tuple(edits),
        amendments=trail.amendments,
        as_measured=until == 0,
    )
    # A file whose faults are told already is not compared: what could not be read would be
    # missed a second time.
    told = {finding.file for finding in stops(findings)}
    if told <= {files[role] for role in _TABLES if role in files and not _is_empty(run, role)}:
        findings += [finding for finding in crosscheck(records) if not _follows(finding, told, files)]
    else:
        findings += method_findings(method, files["method"])
    findings = in_order(told_by_amendment(findings, trail.writes, documents, files))
    return (None if stops(findings) else replace(records, findings=tuple(findings))), findings


def _follows(finding: Finding, told: set[str], files: dict[Role, str]) -> bool:
    """Whether a finding may only be the consequence of faults told already."""
    of_reading = finding.file == files.get("run") and finding.place.startswith("exclude_reading")
    return finding.file in told or (of_reading and files.get("readings") in told)


def _is_empty(run: Run | None, role: Role) -> bool:
    """Whether nothing of a table could be read."""
    return run is None or not {"samples": run.portions, "solutions": run.solutions, "readings": run.readings}[role]


def _parsed(texts: Iterable[SourceText]) -> tuple[dict[Role, Document], list[Finding]]:
    documents: dict[Role, Document] = {}
    findings: list[Finding] = []
    for text in texts:
        parse = parse_csv if text.role in _TABLES else parse_toml
        document, faults = parse(text.text, text.name)
        findings += faults
        if document is not None:
            documents[text.role] = document
    run = documents.get("run")
    if isinstance(run, dict) and "run" not in run:
        findings.append(_neither(next(text.name for text in texts if text.role == "run")))
        del documents["run"]
    return documents, findings


def _validated(
    adapter: TypeAdapter[RecordType], document: Document | None, file: str, findings: list[Finding]
) -> RecordType | None:
    return validate_document(adapter, document, file, findings) if isinstance(document, dict) else None


def _tables(
    documents: dict[Role, Document], files: dict[Role, str], findings: list[Finding]
) -> tuple[tuple[Portion, ...], tuple[Solution, ...], tuple[Reading, ...]]:
    """The rows of the tables; one that is absent or unreadable has none."""
    portions: tuple[Portion, ...] = ()
    solutions: tuple[Solution, ...] = ()
    readings: tuple[Reading, ...] = ()
    faults: list[Finding] = []
    for role in _TABLES:
        table = documents.get(role)
        if not isinstance(table, CsvTable):
            continue
        if role == "samples":
            portions, faults = portions_from(table, files[role])
        elif role == "solutions":
            solutions, faults = solutions_from(table, files[role])
        else:
            readings, faults = readings_from(table, files[role])
        findings += faults
    return portions, solutions, readings


def _named_files(document: dict[str, Any], folder: Path) -> dict[Role, str]:
    """Role and name of every file that the run names; usual names that exist where it cannot be parsed."""
    if not document:
        return {role: name for role, name in USUAL_NAMES.items() if (folder / name).is_file()}
    sheet = document.get("run")
    named = sheet if isinstance(sheet, dict) else {}
    return {role: named[role] for role in USUAL_NAMES if isinstance(named.get(role), str) and named[role]}


def _quietly_parsed(text: str, file: str) -> dict[str, Any]:
    """The document, empty where it has faults, which are told later with those of the other files."""
    return parse_toml(text, file)[0] or {}


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def read_text(path: Path, role: Role, named: str = "") -> tuple[SourceText | None, list[Finding]]:
    """The text of a file, UTF-8 with or without byte order mark, lines ended by a line feed alone."""
    name = path.name or str(path)

    def refused(found: str, accepted: str, remedy: str, place: str = "whole file") -> tuple[None, list[Finding]]:
        return None, [Finding("stop", _printable(named or name), place, found, accepted, remedy)]

    fault = faulty_name(named, path, role) if named else None
    if fault is not None:
        return refused(*fault)
    most = LARGEST_TABLE if role in _TABLES else LARGEST_RECORD
    try:
        if path.is_dir():
            return refused("a folder", "a file", "name the file inside the folder")
        if not path.exists():
            remedy = "correct the name in the run file" if named else _remedy_for_missing(path)
            return refused("no such file", "a file that exists", remedy)
        content = bounded_bytes(path, most)
    except NotRead as error:
        accepted = f"a plain file of at most {most / 1e6:.0f} MB"
        return refused(str(error), accepted, "name the right file, or split the run")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "a name that the system refuses"
        return refused(f"a file that cannot be read ({reason})", "a file that may be read", "ask who owns it")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        return refused(_encoding_found(content), "text in UTF-8", "save the file as UTF-8", f"line {line}")
    return SourceText(role, name, text.replace("\r\n", "\n").replace("\r", "\n")), []


def _encoding_found(content: bytes) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "text in UTF-16"
    return "a workbook or archive" if content[:2] == b"PK" else "bytes that are not UTF-8"


def _remedy_for_missing(path: Path) -> str:
    if path.name == "run.toml" and _is_folder(path.parent):
        return "give a folder that holds run.toml or method.toml, a run file, or a method file"
    return "correct the path"


def _unencodable(texts: Iterable[SourceText]) -> list[Finding]:
    return [
        Finding("stop", text.name, "whole file", "half a character", "text in UTF-8", "save the file as UTF-8")
        for text in texts
        if any("\ud800" <= character <= "\udfff" for character in text.text)
    ]


def _missing(file: RunFile | None, files: dict[Role, str], unreadable: frozenset[Role]) -> list[Finding]:
    """Files that the run names and the texts lack, beyond those already found unreadable."""
    if file is None:
        return []
    findings = []
    for role in USUAL_NAMES:
        name = str(getattr(file.run, role))
        if role not in files and role not in unreadable and (name or role == "method"):
            found = f"the text of {name} is missing" if name else "no method file"
            findings.append(Finding("stop", files["run"], f"run, {role}", found, "a file that exists", "name the file"))
    return findings


def _neither(file: str) -> Finding:
    return Finding(
        "stop",
        file,
        "whole file",
        "neither a table [run] nor a table [method]",
        "a run file with [run], or a method file with [method]",
        "give a run folder, its run file, or a method file",
    )


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """Without repetition, what stops first."""
    rank = {"stop": 0, "attend": 1, "note": 2}
    return sorted(dict.fromkeys(findings), key=lambda finding: rank[finding.severity])


def _printable(text: str) -> str:
    return "".join(character if character.isprintable() else " " for character in text)[:120]


@cache
def _method_adapter() -> TypeAdapter[Method]:
    return TypeAdapter(Method)


@cache
def _register_adapter() -> TypeAdapter[Register]:
    return TypeAdapter(Register)


@cache
def _run_adapter() -> TypeAdapter[RunFile]:
    return TypeAdapter(RunFile)
