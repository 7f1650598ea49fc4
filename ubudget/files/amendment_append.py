"""An amendment appended to a run file: as text behind what stands there, whole or not at all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.outlier_tests import OutlierTest, cochran, dixon, grubbs
from ubudget.files.amended_run import documents_as_they_stand, schemas
from ubudget.files.amendment_effects import last_step
from ubudget.files.amendment_fields import Target, target_of
from ubudget.files.amendment_names import require_text
from ubudget.files.amendment_readings import bare_readings, raw_key, values_of
from ubudget.files.csv_text import CsvTable
from ubudget.files.one_at_a_time import replace_unchanged
from ubudget.files.reading import read_records, records_from_texts
from ubudget.files.toml_writing import toml_text
from ubudget.pages.amendment_list import Step, step_lines, test_lines
from ubudget.records.amendments import TESTS, Amendment
from ubudget.records.records import Records

LEVEL = 0.05
"""Level of significance where none is given."""


@dataclass(frozen=True)
class Appended:
    """What was appended, and what came of it."""

    records: Records
    """The run with the amendment."""
    text: str
    step: Step
    tests: tuple[OutlierTest, ...] = ()
    readings: tuple[float, ...] = ()
    cells: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        tests = test_lines(self.tests, self.readings, self.cells) if self.readings else ()
        return [*self.text.strip().split("\n"), "", *tests, *([""] if self.readings else []), *step_lines(self.step)]


def append_amendment(run: Path, wanted: Mapping[str, Any], *, write: bool = True) -> Appended:
    """Appends an amendment, given as the keys of its table without `from`, to the run file of a folder.

    `from` is taken from the record as it stands, the figures of an outlier test from its readings. Raises
    `UnusableInput` where the run would not be usable with it, `UbudgetError`, `NotWritable`; nothing is written then.
    """
    require_text(run)
    path = run / "run.toml" if run.is_dir() else run
    # Before the records: what is appended rests on no later state than this.
    data = path.read_bytes() if path.is_file() else b""
    records, findings = read_records(run)
    if records is None:
        raise UnusableInput(findings)
    if records.run is None:
        raise UbudgetError(f"{run}: found a method file alone; accepted: a run; amend the method by a new version")
    document = {key: value for key, value in wanted.items() if value not in (None, "")}
    tests, readings, cells = _tests(records, document)
    if document.get("rule") in TESTS:
        test = next((test for test in tests if test.name == document["rule"]), None)
        if test is None:
            found = f"no test of {document['rule']} for these {len(readings)} readings at level {_level(document):g}"
            raise UbudgetError(f"{run}: found {found}; accepted: a test that can be made; choose another rule")
        document |= {"level": test.level, "statistic": _digits(test.statistic), "critical": _digits(test.critical)}
    document = _with_from(records, document)
    text = toml_text({"amendment": [document]})
    after = _behind(data, text)
    source = next(source for source in records.texts if source.role == "run")
    now = after.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    texts = [replace(other, text=now) if other is source else other for other in records.texts]
    amended, findings = records_from_texts(texts)
    if amended is None:
        raise UnusableInput(findings)
    step = last_step(texts, amended)
    if write:
        replace_unchanged(path, data, after)
    return Appended(amended, text, step, tests, readings, cells)


def _behind(data: bytes, text: str) -> bytes:
    """The file with the text behind it, ended by the line ends that the file has."""
    ends = b"\r\n" if b"\r\n" in data else b"\n"
    between = b"" if data.endswith((b"\n", b"\r")) else ends
    return data + between + ends + text.encode("utf-8").replace(b"\n", ends)


def _digits(value: float) -> float:
    return float(f"{value:.6g}")


def _level(document: Mapping[str, Any]) -> float:
    return float(document.get("level", LEVEL))


def _with_from(records: Records, document: dict[str, Any]) -> dict[str, Any]:
    """The keys in the order in which they are read, with what stands in the record."""
    keys = (
        "act",
        "record",
        "entry",
        "field",
        "solution",
        "analyte",
        "line",
        "replicate",
        "position",
        "block",
        "undoes",
    )
    head = {key: document[key] for key in keys if key in document}
    rest = {key: value for key, value in document.items() if key not in keys}
    if document["act"] == "change":
        target = target_of(documents_as_they_stand(records.texts), _bare(document), schemas())
        head["from"] = target.text if isinstance(target, Target) else ""
    return head | rest


def _bare(document: Mapping[str, Any]) -> Amendment:
    """The amendment as far as it names its field."""
    keys = ("act", "record", "entry", "field", "solution", "analyte", "line", "position", "block")
    named = {key: document[key] for key in keys if key in document}
    return Amendment(**named, reason="-", who="-", when=dt.date.min)


def _tests(
    records: Records, document: Mapping[str, Any]
) -> tuple[tuple[OutlierTest, ...], tuple[float, ...], tuple[str, ...]]:
    """The outlier tests beside an exclusion, the readings tested, and the solutions of Cochran's test.

    Spreads are compared among the solutions read on the line: standards among standards, others among others."""
    table = documents_as_they_stand(records.texts).get("readings")
    if document["act"] != "exclude" or not isinstance(table, CsvTable):
        return (), (), ()
    single = raw_key(table, dict(document))
    if single is None:
        return (), (), ()
    assert records.run is not None
    out = {(m.solution, m.analyte, m.line, m.block, m.replicate) for m in records.run.file.exclusions}
    standards = {standard.label for standard in records.run.file.standards}
    of = bare_readings(table)[single[0]]
    sets: dict[int, tuple[float, ...]] = {}
    for reading in bare_readings(table):
        alike = (reading.solution in standards) == (of.solution in standards)
        if alike and (reading.analyte, reading.line, reading.block) == (of.analyte, of.line, of.block):
            names = (reading.solution, reading.analyte, reading.line, reading.block)
            values = values_of(table, reading.row)
            sets[reading.row] = tuple(value for number, value in values.items() if (*names, number) not in out)
    cells = tuple(bare_readings(table)[row].solution for row in sets)
    level, readings = _level(document), sets[single[0]]
    made: Sequence[OutlierTest | None] = (
        grubbs(readings, level),
        dixon(readings, level),
        cochran(list(sets.values()), level),
    )
    return tuple(test for test in made if test is not None), readings, cells
