"""Workbooks with the looks of a laboratory's own: what is taken, and that nothing else changes."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from openpyxl import load_workbook

from tests.commands.running import run
from tests.engines import libreoffice_pdf, libreoffice_resaved, pdf_page_texts, require_engine
from tests.letterhead.own_workbooks import CELL, FONT, FOOTER, NAME, RIGHT, own_workbook, png, rewritten
from tests.stored_cells import stored_sheets
from tests.workbooks.books import HARBOUR, PUBLISHED
from ubudget.files.letterhead_reading import read_letterhead
from ubudget.files.verbs import read_run
from ubudget.pages.layout import STATUS

RUN = next(path for path in PUBLISHED if path.name == "gum_h1.toml")
DOCUMENT = "version"
"""Stands in the header of every page: number, version and status of the method."""


@pytest.fixture
def own(tmp_path: Path) -> Path:
    return own_workbook(tmp_path / "own.xlsx")


def written(folder: Path, record: Path, own: Path | None, name: str = "out.xlsx") -> Path:
    more = [] if own is None else ["--letterhead", own]
    done = run("workbook", record, name, *more, folder=folder)
    assert done.status in (0, 1) and not done.faults, done.err
    return folder / name


def media(path: Path) -> list[bytes]:
    with zipfile.ZipFile(path) as archive:
        return [archive.read(name) for name in archive.namelist() if name.startswith("xl/media/")]


def test_looks_are_taken(tmp_path: Path, own: Path) -> None:
    book = load_workbook(written(tmp_path, RUN, own))
    document = load_workbook(written(tmp_path, RUN, None, "plain.xlsx"))[STATUS].HeaderFooter.oddHeader.left.text
    assert document and DOCUMENT in document
    for sheet in book.worksheets:
        assert NAME in sheet.HeaderFooter.oddHeader.left.text
        assert document.strip() in sheet.HeaderFooter.oddHeader.left.text
        assert RIGHT in sheet.HeaderFooter.oddHeader.right.text
        assert sheet.HeaderFooter.oddFooter.center.text == FOOTER
        assert "&P" in sheet.HeaderFooter.oddFooter.right.text
        assert (sheet.page_margins.left, sheet.page_margins.right) == (0.8, 0.8)
    assert book[STATUS]["A1"].font.name == FONT
    assert book["record"]["A30"].font.name != FONT  # fixed width
    assert media(tmp_path / "out.xlsx") == [png()]
    assert not any(CELL in str(cell.value) for row in book[STATUS].iter_rows() for cell in row)


def test_same_files_give_the_same_bytes(tmp_path: Path, own: Path) -> None:
    first, second = (written(tmp_path, RUN, own, f"{number}.xlsx").read_bytes() for number in (1, 2))
    assert first == second


def test_no_cell_depends_on_looks(tmp_path: Path, own: Path) -> None:
    plain, dressed = written(tmp_path, HARBOUR, None, "plain.xlsx"), written(tmp_path, HARBOUR, own)
    cells = stored_sheets(plain)
    assert sum(len(sheet.formulas) for sheet in cells.values()) > 10_000
    assert stored_sheets(dressed) == cells
    assert read_run(plain) == read_run(dressed)
    # Issued again from the workbook itself: the same bytes as from the records.
    again = written(tmp_path, dressed, own, "again.xlsx")
    assert again.read_bytes() == dressed.read_bytes()


def test_a_workbook_saved_by_libreoffice(tmp_path: Path, own: Path) -> None:
    require_engine("libreoffice")
    saved = libreoffice_resaved(own, tmp_path / "saved")
    looks = read_letterhead(saved)
    assert looks.font == FONT and NAME in looks.header.left and RIGHT in looks.header.right
    assert FOOTER in looks.footer.centre and looks.paper.left == pytest.approx(0.8, abs=0.01)
    # 60 by 30 pixels of 1/96 inch, in points.
    assert [(round(picture.width), round(picture.height)) for picture in looks.pictures] == [(45, 22)]
    assert media(written(tmp_path, RUN, saved)) == [png()]


def test_lines_stand_on_every_printed_page(tmp_path: Path, own: Path) -> None:
    require_engine("libreoffice")
    require_engine("poppler")
    pages = pdf_page_texts(libreoffice_pdf(written(tmp_path, RUN, own), tmp_path / "pdf"))
    number = read_run(RUN).method.document.id
    for page in pages:
        head = "\n".join(page.splitlines()[:6])
        assert NAME in head and RIGHT in head and number in head and DOCUMENT in head
        assert FOOTER in page


@pytest.mark.parametrize("how", ["convert", "start"])
def test_workbooks_to_fill_in(tmp_path: Path, own: Path, how: str) -> None:
    if how == "convert":
        done = run("convert", HARBOUR, "fill.xlsx", "--letterhead", own, folder=tmp_path)
        file, plain = tmp_path / "fill.xlsx", HARBOUR
    else:
        words = ("--pattern", "water-direct", "--workbook")
        done = run("start", "with", *words, "--letterhead", own, folder=tmp_path)
        assert run("start", "without", *words, folder=tmp_path).status == 0
        file, plain = (tmp_path / folder / "water-direct.xlsx" for folder in ("with", "without"))
    assert done.status == 0, done.err
    book = load_workbook(file)
    assert all(NAME in sheet.HeaderFooter.oddHeader.left.text for sheet in book.worksheets)
    assert media(file) == [png()]
    dressed, bare = read_run(file), read_run(plain)
    assert (dressed.method, dressed.register, dressed.run) == (bare.method, bare.register, bare.run)


def test_calibration_of_ware(tmp_path: Path, own: Path) -> None:
    record = HARBOUR.parent / "ware_calibration" / "flask.toml"
    done = run("ware", record, "--workbook", "flask.xlsx", "--letterhead", own, folder=tmp_path)
    assert done.status == 0, done.err
    assert media(tmp_path / "flask.xlsx") == [png()]


@pytest.mark.parametrize(("given", "code"), [(None, 9), ('orientation="landscape"', 1), ('paperSize="8"', 8)])
def test_paper(tmp_path: Path, own: Path, given: str | None, code: int) -> None:
    """ECMA-376 part 1, 18.3.1.63: a set-up without size means 1, letter; 8 is A3. Without set-up it stays A4."""
    with zipfile.ZipFile(own) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml").decode()
    old = '<pageSetup paperSize="9" />'
    assert old in sheet
    changed = sheet.replace(old, "" if given is None else f"<pageSetup {given} />")
    file = written(tmp_path, RUN, rewritten(own, {"xl/worksheets/sheet1.xml": changed.encode()}))
    pages = load_workbook(file).worksheets
    assert {int(sheet.page_setup.paperSize or 0) for sheet in pages} == {code}
    # Wide sheets lie across whatever the laboratory's own does.
    assert {sheet.page_setup.orientation for sheet in pages} == {"landscape", "portrait"}


def test_text_files_have_no_looks(tmp_path: Path, own: Path) -> None:
    for words in (("convert", HARBOUR, "texts"), ("start", "texts", "--pattern", "water-direct")):
        done = run(*words, "--letterhead", own, folder=tmp_path)
        assert done.status == 2 and "--letterhead" in done.err
    assert not (tmp_path / "texts").exists()


@pytest.mark.parametrize(
    ("text", "left", "centre", "right"),
    [
        # Codes: ECMA-376 part 1, 18.3.1.46 (oddHeader).
        ("plain words", "", "plain words", ""),
        ("&LLeft&CMiddle&RRight", "Left", "Middle", "Right"),
        ('&L&"Arial,Bold"&14A && B', '&"Arial,Bold"&14A && B', "", ""),
        ("&CPage &P of &N", "", "Page &P of &N", ""),
        ("&L&B&C&R", "", "", ""),
        ("&R2&RR", "", "", "2R"),
    ],
)
def test_parts_of_printed_lines(tmp_path: Path, text: str, left: str, centre: str, right: str) -> None:
    own = own_workbook(tmp_path / "own.xlsx", header="", right="")
    with zipfile.ZipFile(own) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml").decode()
    escaped = text.replace("&", "&amp;")
    assert "<oddHeader />" in sheet
    changed = sheet.replace("<oddHeader />", f"<oddHeader>{escaped}</oddHeader>")
    found = read_letterhead(rewritten(own, {"xl/worksheets/sheet1.xml": changed.encode()})).header
    assert (found.left, found.centre, found.right) == (left, centre, right)
