"""A letterhead that cannot be used is told in one line each, with exit status 2, and nothing is written."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.commands.running import run
from tests.letterhead.own_workbooks import own_workbook, png, rewritten
from tests.workbooks.books import PUBLISHED

RUN = next(path for path in PUBLISHED if path.name == "gum_h1.toml")
BOOK, SHEET = "xl/workbook.xml", "xl/worksheets/sheet1.xml"


def part(path: Path, name: str) -> bytes:
    with zipfile.ZipFile(path) as archive:
        return archive.read(name)


def text_file(path: Path) -> None:
    path.write_text("no workbook", encoding="utf-8")


def large_file(path: Path) -> None:
    own_workbook(path)
    with path.open("ab") as file:
        file.truncate(11_000_000)


def bomb(path: Path) -> None:
    """A sheet that unpacks to a thousand times its size."""
    own_workbook(path)
    rewritten(path, {SHEET: part(path, SHEET) + b" " * 30_000_000})


def macros(path: Path) -> None:
    own_workbook(path)
    rewritten(path, {}, {"xl/vbaProject.bin": b"invented"})


def entities(path: Path) -> None:
    own_workbook(path)
    rewritten(path, {SHEET: b'<!DOCTYPE x [<!ENTITY a "aa">]><worksheet>&a;</worksheet>'})


def no_sheet(path: Path) -> None:
    own_workbook(path)
    before, _, rest = part(path, BOOK).partition(b"<sheets>")
    rewritten(path, {BOOK: before + b"<sheets/>" + rest.partition(b"</sheets>")[2]})


def chart_first(path: Path) -> None:
    own_workbook(path)
    place = "xl/_rels/workbook.xml.rels"
    rewritten(path, {place: part(path, place).replace(b"relationships/worksheet", b"relationships/chartsheet")})


def cut_short(path: Path) -> None:
    own_workbook(path)
    path.write_bytes(path.read_bytes()[:2000])


def broken_xml(path: Path) -> None:
    own_workbook(path)
    rewritten(path, {SHEET: part(path, SHEET)[:300]})


def our_own(path: Path) -> None:
    assert run("workbook", RUN, path, folder=path.parent).status == 0


CASES: dict[str, tuple[Callable[[Path], object], str]] = {
    "missing": (lambda path: None, "no such file"),
    "folder": (lambda path: path.mkdir(), "no such file"),
    "text": (text_file, "no readable workbook"),
    "cut short": (cut_short, "no readable workbook"),
    "broken XML": (broken_xml, "no readable workbook"),
    "entities": (entities, "declares a document type"),
    "large": (large_file, "a file of 11 MB"),
    "unpacks to much": (bomb, "unpacks to more than 250 times"),
    "macros": (macros, "macros"),
    "no sheet": (no_sheet, "no sheet"),
    "chart first": (chart_first, "a first sheet of the kind chartsheet"),
    "a workbook of ours": (our_own, "a workbook that ubudget wrote"),
    "paper": (lambda path: own_workbook(path, paper=70), "page size number 70"),
    "margins": (lambda path: own_workbook(path, side=3.0), "margins of 6.00 in across"),
    "font": (lambda path: own_workbook(path, font="A" * 40), "the font"),
    "four logos": (lambda path: own_workbook(path, logos=[png(n, n) for n in (2, 3, 4, 5)]), "4 of them"),
    "kind of picture": (lambda path: own_workbook(path, logos=[b"BM, an invented bitmap"]), "of another kind"),
    "large picture": (lambda path: own_workbook(path, logos=[png() + bytes(2_000_000)]), "2.0 MB"),
    "long header": (lambda path: own_workbook(path, right="x" * 200), "room for 'GUM-H1, version 1, approved'"),
}


@pytest.mark.parametrize("case", CASES)
def test_unusable(tmp_path: Path, case: str) -> None:
    make, expected = CASES[case]
    make(tmp_path / "own.xlsx")
    done = run("workbook", RUN, "out.xlsx", "--letterhead", "own.xlsx", folder=tmp_path)
    assert done.status == 2, done.err
    assert expected in done.err and "own.xlsx" in done.err and done.err.startswith("stop:")
    assert done.err.count("stop:") == 1
    assert not (tmp_path / "out.xlsx").exists()


def test_all_faults_at_once(tmp_path: Path) -> None:
    own_workbook(tmp_path / "own.xlsx", paper=70, font="A" * 40, logos=[b"BM"])
    done = run("workbook", RUN, "out.xlsx", "--letterhead", "own.xlsx", folder=tmp_path)
    assert done.status == 2 and done.err.count("stop:") == 3


def test_a_picture_in_the_printed_header_is_told(tmp_path: Path) -> None:
    own_workbook(tmp_path / "own.xlsx", header="&GExample")
    done = run("workbook", RUN, "out.xlsx", "--letterhead", "own.xlsx", folder=tmp_path)
    assert done.status == 0 and "note:" in done.err and "insert the logo into the sheet" in " ".join(done.err.split())
