"""Records become a workbook and a workbook becomes records: nothing is lost, nothing is added, in either direction.

What the documents hold is read by `tomllib` and `csv` of the standard library, not by code of ours.
"""

from __future__ import annotations

import csv
import datetime as dt
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engines import libreoffice_resaved, require_engine
from tests.fill_in.workbooks import ALL, FOLDERS, NAMES, records_of
from ubudget.files.converting import write_fill_in, write_folder
from ubudget.files.fill_in_reading import read_fill_in
from ubudget.files.fill_in_writing import fill_in_bytes
from ubudget.files.toml_writing import toml_text
from ubudget.pages.fill_in_cells import joined, number_shown, split
from ubudget.pages.fill_in_rows import documents_of, rows_of
from ubudget.records.records import Records


def bare(records: Records | None) -> Records:
    assert records is not None
    return replace(records, texts=(), findings=())


@pytest.mark.parametrize("path", ALL, ids=NAMES)
def test_documents_are_the_same_after_being_laid_out_in_rows(path: Path) -> None:
    texts = [text for text in records_of(path).texts if text.name.endswith(".toml")]
    assert texts
    for text in texts:
        document, role = tomllib.loads(text.text), text.role
        made = documents_of(rows_of({role: document}))
        assert made.documents == {role: document}
        assert list(made.documents[role].get("symbols", {})) == list(document.get("symbols", {})), (
            "the order of symbols"
        )
        assert (made.strays, made.repeated) == ([], [])


@pytest.mark.parametrize("path", ALL, ids=NAMES)
def test_records_are_the_same_by_way_of_a_workbook(path: Path, tmp_path: Path) -> None:
    records = records_of(path)
    write_fill_in(records, tmp_path / "filled.xlsx")
    again, findings = read_fill_in(tmp_path / "filled.xlsx")
    assert bare(again) == bare(records)
    assert {f.found for f in findings} == {f.found for f in records.findings}

    assert again is not None
    tables_are_kept_cell_by_cell(records, again)
    files = write_folder(again, tmp_path / "folder")
    back = records_of(tmp_path / "folder" if path.is_dir() else files[0])
    assert bare(back) == bare(records)
    write_fill_in(back, tmp_path / "second.xlsx")
    assert (tmp_path / "second.xlsx").read_bytes() == (tmp_path / "filled.xlsx").read_bytes()


def tables_are_kept_cell_by_cell(records: Records, again: Records) -> None:
    texts = {text.role: text.text for text in again.texts}
    written = {text.role: text.text for text in records.texts if text.name.endswith(".csv")}
    assert written or records.run is None
    for role, text in written.items():
        rows = [[cell.strip() for cell in row] for row in csv.reader(text.splitlines()) if any(row)]
        assert list(csv.reader(texts[role].splitlines())) == rows


@pytest.mark.parametrize("path", [FOLDERS[0], ALL[-1]], ids=lambda path: path.name)
def test_libreoffice_saves_it_and_it_says_the_same(path: Path, tmp_path: Path) -> None:
    require_engine("libreoffice")
    records = records_of(path)
    resaved = libreoffice_resaved(_written(records, tmp_path), tmp_path)
    again, findings = read_fill_in(resaved)
    assert bare(again) == bare(records), [finding.line() for finding in findings]


def test_the_same_records_give_the_same_bytes() -> None:
    assert fill_in_bytes(records_of(FOLDERS[0])) == fill_in_bytes(records_of(FOLDERS[0]))


def _written(records: Records, folder: Path) -> Path:
    path = folder / "filled.xlsx"
    path.write_bytes(fill_in_bytes(records))
    return path


# -- text that our own code writes, read by the standard library -------------------------------------------------------

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
SCALARS = (
    TEXTS
    | st.booleans()
    | st.integers(-(10**14), 10**14)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.dates(min_value=dt.date(1, 1, 1))
)
DOCUMENTS: st.SearchStrategy[dict[str, Any]] = st.dictionaries(
    TEXTS,
    st.recursive(
        SCALARS | st.lists(SCALARS, max_size=3),
        lambda inner: st.dictionaries(TEXTS, inner, max_size=3) | st.lists(st.dictionaries(TEXTS, inner, max_size=3)),
        max_leaves=12,
    ),
    max_size=4,
)


@given(DOCUMENTS)
def test_toml_is_read_back_by_the_standard_library(document: dict[str, Any]) -> None:
    assert tomllib.loads(toml_text(document)) == document


@given(st.lists(TEXTS.map(str.strip).filter(lambda text: "\r" not in text and "\0" not in text), min_size=2))
def test_entries_of_a_list_share_a_cell(entries: list[str]) -> None:
    assert split(joined(entries)) == entries


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("40.0000", (40.0, "0.0000")),
        ("12.5034", (12.5034, "General")),
        ("0.10", (0.1, "0.00")),
        ("7", (7, "General")),
        ("-3", (-3, "General")),
        ("007", ("007", "@")),
        ("+7", ("+7", "@")),
        ("1e-5", ("1e-5", "@")),
        ("-0", ("-0", "@")),
        (".5", (".5", "@")),
        ("1234567890.12345678", ("1234567890.12345678", "@")),
    ],
)
def test_a_number_keeps_the_digits_in_which_it_was_written(text: str, cell: tuple[object, str]) -> None:
    assert number_shown(text) == cell
