"""Drawn formats: the same readings, written in any of the shapes, give the same records."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.importing.corpus import mapping_text
from tests.importing.import_runs import LINES, Key, write_calibrated
from tests.importing.test_corpus import rows_of
from ubudget.errors import UnusableInput
from ubudget.files.importing import Import, import_export

SOLUTIONS = ("S0", "S1", "S2", "S3", "BL-1", "1-2", "MAR1", "00123")
SIGNS = {"tab": "\t", ";": ";", ",": ",", "|": "|"}
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "cp1252")
DECLARED = {"cp1252": "windows-1252"}

readings = st.decimals(min_value=-9999, max_value=999999, places=3, allow_nan=False, allow_infinity=False)
data = st.lists(st.lists(readings, min_size=3, max_size=3), min_size=16, max_size=16).map(
    lambda rows: {
        (solution, analyte, line): tuple(rows[2 * at + turn])
        for at, solution in enumerate(SOLUTIONS)
        for turn, (analyte, line) in enumerate(LINES)
    }
)
formats = st.fixed_dictionaries(
    {
        "shape": st.sampled_from(["long", "side by side", "wide"]),
        "separator": st.sampled_from(sorted(SIGNS)),
        "decimal": st.sampled_from([".", ","]),
        "thousands": st.sampled_from([None, "'", " "]),
        "encoding": st.sampled_from(ENCODINGS),
        "line_end": st.sampled_from(["\n", "\r\n"]),
        "header": st.lists(st.sampled_from(["Report °C", "Date", "Opérateur: analyst 1", ""]), max_size=4),
        "repeat": st.booleans(),
        "blanks": st.booleans(),
        "padded": st.booleans(),
        "joined": st.sampled_from(["{a} {l}", "{a}{l}", "{a} {l} {{axial}}", "{a} {l} nm"]),
        "quoted": st.booleans(),
    }
)
Data = dict[Key, tuple[Decimal, ...]]


def spelled(number: Decimal, form: dict[str, Any]) -> str:
    text = f"{number:,}" if form["thousands"] else f"{number}"
    text = text.replace(",", "T").replace(".", form["decimal"]).replace("T", form["thousands"] or "")
    return f" {text}  " if form["padded"] else text


def table(values: Data, form: dict[str, Any]) -> tuple[list[list[str]], dict[str, Any]]:
    """Headings and rows, and the mapping of this shape."""
    joined = [form["joined"].format(a=analyte, l=line) for analyte, line in LINES]
    if form["shape"] == "wide":
        rows = [
            [solution, str(turn + 1), *(spelled(values[(solution, *line)][turn], form) for line in LINES)]
            for solution in SOLUTIONS
            for turn in range(3)
        ]
        columns: dict[str, Any] = {"solution": "Label", "replicate": "No of reading"}
        return [["Label", "No of reading", *joined], *rows], {"layout": "wide", "columns": columns}
    cells = {key: [spelled(number, form) for number in numbers] for key, numbers in values.items()}
    texts = dict(zip(LINES, joined, strict=True))
    columns = {"solution": "Label", "analyte_line": "Line"}
    if form["shape"] == "side by side":
        rows = [[key[0], texts[key[1], key[2]], *numbers] for key, numbers in cells.items()]
        columns["replicates"] = ["first", "second", "third"]
        return [["Label", "Line", "first", "second", "third"], *rows], {"layout": "long", "columns": columns}
    rows = [
        [key[0], texts[key[1], key[2]], str(turn), number]
        for key, numbers in cells.items()
        for turn, number in enumerate(numbers, start=1)
    ]
    columns |= {"replicate": "Turn", "value": "Reading"}
    return [["Label", "Line", "Turn", "Reading"], *rows], {"layout": "long", "columns": columns}


def written(values: Data, form: dict[str, Any]) -> tuple[bytes, dict[str, Any]]:
    (headings, *rows), mapping = table(values, form)
    stream = io.StringIO()
    quoting = csv.QUOTE_ALL if form["quoted"] else csv.QUOTE_MINIMAL
    writer = csv.writer(stream, delimiter=SIGNS[form["separator"]], lineterminator=form["line_end"], quoting=quoting)
    for text in form["header"]:
        stream.write(text + form["line_end"])
    for at, row in enumerate(rows):
        if at == 0 or (form["repeat"] and at % 6 == 0):
            writer.writerow(headings)
        writer.writerow(row)
        if form["blanks"] and at % 5 == 0:
            stream.write(form["line_end"])
    mapping |= {"unit": "c/s", "separator": form["separator"], "decimal": form["decimal"]}
    mapping |= {"thousands": form["thousands"]} if form["thousands"] else {}
    encoding = DECLARED.get(form["encoding"])
    mapping |= {"encoding": encoding} if encoding else {}
    return stream.getvalue().encode(form["encoding"]), mapping


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_calibrated(tmp_path_factory.mktemp("formats") / "run")


def imported(folder: Path, content: bytes, mapping: dict[str, Any]) -> Import:
    export = folder / "export.txt"
    export.write_bytes(content)
    (folder / "mapping.toml").write_text(mapping_text(mapping, "intensity"), encoding="utf-8")
    return import_export(export, folder)


@settings(max_examples=40, deadline=None)
@given(values=data, form=formats)
def test_any_format_gives_the_same_records(folder: Path, values: Data, form: dict[str, Any]) -> None:
    made = imported(folder, *written(values, form))
    found = {key: tuple(map(Decimal, numbers)) for key, numbers in rows_of(made.readings).items()}
    assert found == values
    assert (made.record.values_taken, made.record.values_set_aside) == (48, 0)
    assert made.record.rows == made.record.rows_taken


NOT_READ = ("---", "", "sat", "NaN", "<0,005", "<0.005", "> 10", "####")


@settings(max_examples=25, deadline=None)
@given(
    values=data,
    form=formats,
    struck=st.dictionaries(
        st.tuples(st.integers(0, 7), st.integers(0, 1), st.integers(0, 2)), st.sampled_from(NOT_READ), max_size=12
    ),
)
def test_what_was_not_read_is_never_zero(
    folder: Path, values: Data, form: dict[str, Any], struck: dict[tuple[int, int, int], str]
) -> None:
    """Texts in place of numbers are set aside, each one told; all other readings stay as they are."""
    texts: dict[Key, list[Any]] = {key: list(numbers) for key, numbers in values.items()}
    for (solution, line, turn), text in struck.items():
        texts[(SOLUTIONS[solution], *LINES[line])][turn] = Text(text)
    kept = {key: tuple(n for n in numbers if not isinstance(n, Text)) for key, numbers in texts.items()}
    made = imported(folder, *written({key: tuple(numbers) for key, numbers in texts.items()}, form))
    found = {key: tuple(map(Decimal, numbers)) for key, numbers in rows_of(made.readings).items()}
    assert found == {key: numbers for key, numbers in kept.items() if numbers}
    assert made.record.values_set_aside == len(struck) == len(made.aside)


class Text(str):
    """A text in place of a number, written as it is."""

    def __format__(self, spec: str) -> str:
        return str(self)


@settings(max_examples=25, deadline=None)
@given(
    values=data, form=formats, at=st.integers(0, 47), damage=st.sampled_from(["O.5", "1;2", "12..5", "x", "1e", "--5"])
)
def test_a_text_that_nobody_declared_stops(
    folder: Path, values: Data, form: dict[str, Any], at: int, damage: str
) -> None:
    texts: dict[Key, list[Any]] = {key: list(numbers) for key, numbers in values.items()}
    key = list(texts)[at // 3]
    texts[key][at % 3] = Text(damage)
    with pytest.raises(UnusableInput) as refused:
        imported(folder, *written({key: tuple(numbers) for key, numbers in texts.items()}, form))
    assert all(finding.file == "export.txt" for finding in refused.value.findings if finding.severity == "stop")
