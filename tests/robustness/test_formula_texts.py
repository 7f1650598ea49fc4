"""Labels that spreadsheets or browsers would run stay text in every file that is written."""

from __future__ import annotations

import csv
import io
import json
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import openpyxl
import pytest

from tests.commands.running import run
from tests.workbooks.books import HARBOUR
from ubudget.files.reading import USUAL_NAMES

LABELS = {"SED-01": "=cmd|' /C calc'!A0", "SED-02": "@SUM(1;1)", "SED-03": "+1+1", "SED-04": "<script>x</script>"}
"""What stands in place of the labels of samples (OWASP, CSV injection; the way of tables into commands)."""


@cache
def hostile(home: Path) -> Path:
    for name in ("run.toml", *USUAL_NAMES.values()):
        text = (HARBOUR / name).read_text(encoding="utf-8")
        for label, meant in LABELS.items():
            text = re.sub(rf"(?<![\w-]){label}(?![\w-])", meant, text)
        (home / name).write_text(text, encoding="utf-8")
    return home


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return hostile(tmp_path_factory.mktemp("hostile"))


def written(folder: Path, *words: str) -> None:
    done = run(*words, folder=folder)
    assert done.status in (0, 1), done.err


def test_csv(folder: Path) -> None:
    written(folder, "evaluate", ".", "--csv", "a.csv", "--json", "a.json", "--covariance", "c.csv")
    written(folder, "statement", ".", "--csv", "s.csv")
    for name in ("a.csv", "s.csv", "c.csv"):
        cells = [cell for row in csv.reader(io.StringIO((folder / name).read_text("utf-8"))) for cell in row]
        for cell in cells:
            assert not cell.startswith(("=", "+", "@")) and (cell[:1] != "-" or float(cell) < 0), cell
        assert any(cell.startswith(f"'{LABELS['SED-01']}") for cell in cells)
    results = json.loads((folder / "a.json").read_text("utf-8"))["results"]
    assert set(LABELS.values()) & {each["sample"] for each in results} >= {LABELS["SED-01"], LABELS["SED-02"]}


@pytest.mark.parametrize("words", [("workbook", ".", "a.xlsx"), ("convert", ".", "f.xlsx")], ids=lambda words: words[0])
def test_workbooks(words: tuple[str, ...], folder: Path) -> None:
    written(folder, *words)
    book = openpyxl.load_workbook(folder / words[-1])
    seen = 0
    for cell in (cell for sheet in book for row in sheet.iter_rows() for cell in row):
        if isinstance(cell.value, str) and any(meant in cell.value for meant in LABELS.values()):
            # A formula may hold such a text in quotes; it is never the formula itself.
            bare = re.sub(r'"(?:[^"]|"")*"', "", cell.value) if cell.data_type == "f" else ""
            assert not any(meant.lstrip("=@+") in bare for meant in LABELS.values())
            assert cell.data_type != "f" or cell.value not in LABELS.values()
            if cell.data_type == "s" and cell.value in LABELS.values():
                seen += 1
                assert cell.quotePrefix or not cell.value.startswith(("=", "@", "+"))
    assert seen >= 4


class _Tags(HTMLParser):
    """Elements of a page, and its text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


def test_pages_and_pictures(folder: Path) -> None:
    label = LABELS["SED-04"]
    written(folder, "dossier", ".", "d.html")
    written(folder, "trace", ".", "--picture", "t.svg")
    page = _Tags()
    page.feed((folder / "d.html").read_text("utf-8"))
    assert "script" not in page.tags and label in page.text
    picture = ElementTree.fromstring((folder / "t.svg").read_text("utf-8"))
    assert not any(element.tag.endswith("script") for element in picture.iter())


def test_xml(folder: Path) -> None:
    written(folder, "statement", ".", "--xml", "s.xml")
    root = ElementTree.fromstring((folder / "s.xml").read_text("utf-8"))
    text = "".join(root.itertext())
    assert all(meant in text for meant in LABELS.values()) and not [e for e in root.iter() if e.tag.endswith("script")]
